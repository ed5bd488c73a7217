/* What the board is doing: finding home, ready, playing, stopping. Every stop has a reason. */
#ifndef PLAYER_H
#define PLAYER_H
#include <stdbool.h>
#include <stdint.h>

extern uint8_t player_state, player_reason, player_where, player_tune, player_rehomed, player_block;
extern bool player_awaits_cues;           /* from the host */

void player_start(uint8_t reset_reason);
void player_poll(void);

/* Carry out a verb of the link; which: tune, axis or coil. Returns 0, or the reason why it is refused. */
uint8_t player_do(uint8_t verb, uint8_t which, int16_t steps);
uint8_t player_stream(uint32_t machine_id, uint16_t horizon_ms);

uint8_t player_busy(void);               /* why nothing can begin now; 0 when something can, homed or not */
void player_stop(uint8_t reason, uint8_t where);
void player_home_later(uint8_t axis);    /* at the next rest that is long enough */
uint32_t player_time_ms(void);           /* since play began */

#endif
