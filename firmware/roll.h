/* Records into commands: from a roll in flash, or from the stream that the host sends. SPEC-roll.md says what each means. */
#ifndef ROLL_H
#define ROLL_H
#include <stdbool.h>
#include <stdint.h>

#define STREAM_BYTES 160

extern bool roll_ended;                  /* END was read */

void roll_open(uint16_t payload);        /* a roll in flash */
void stream_open(uint16_t horizon_ms);
void roll_begin(uint32_t zero);          /* its time zero */
uint8_t roll_poll(void);                 /* queue what must be known by now; 0 or the reason to stop */

uint8_t stream_room(void);
void stream_put(const uint8_t *bytes, uint8_t count);

#endif
