/* What watches over the instrument, whatever the host says: coils on too long, picks and stops that were not confirmed. */
#ifndef GUARD_H
#define GUARD_H
#include <stdbool.h>
#include <stdint.h>

extern uint8_t guard_index_missed, guard_detent_missed;
extern bool guard_confirming;    /* read it; guard_confirm sets it */

void guard_confirm(bool on);     /* whether moves are to be confirmed by their switches from now on */
void guard_poll(void);

#endif
