/* Finding home: carriages at the closing edge of their home switch, picks in the middle of their index switch. */
#ifndef HOME_H
#define HOME_H
#include <stdbool.h>
#include <stdint.h>

#define HOME_BUSY 0xFF

void home_switches(void);                 /* read which switch serves which axis */
bool home_has_button(void);
bool home_button(void);                   /* whether the play button is down */
void home_begin(uint8_t axes_wanted);     /* a bit for each axis, by number */
uint8_t home_poll(uint8_t *where);        /* HOME_BUSY, REASON_NONE when all are home, or why it failed and which axis */

#endif
