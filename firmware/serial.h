/* Bytes in and out of the serial line. */
#ifndef SERIAL_H
#define SERIAL_H
#include <stdbool.h>
#include <stdint.h>

extern volatile uint8_t serial_overruns;

void serial_start(void);
bool serial_take(uint8_t *byte);
uint8_t serial_room(void);          /* bytes that can be sent without waiting */
void serial_put(uint8_t byte);      /* waits for room */
void serial_poll(bool may_change);  /* try the other rate when this one brings errors only */

#endif
