/* Commands waiting for their moment, earliest first, and the interrupt that carries them out. */
#ifndef QUEUE_H
#define QUEUE_H
#include <stdbool.h>
#include <stdint.h>

/* Coils come before, moves behind what is neither. */
enum command { COMMAND_FREE, COMMAND_COIL_ON, COMMAND_COIL_OFF, COMMAND_START, COMMAND_END, COMMAND_FORWARD, COMMAND_BACKWARD };

extern volatile uint8_t queue_ended;     /* END was carried out */
extern volatile uint8_t queue_late;      /* commands carried out more than 2 ms late */
extern volatile uint8_t queue_busy_axis; /* 1 + number of an axis that was told to move before it was done, else 0 */

void queue_start(void);
void queue_clear(void);
uint8_t queue_room(void);
bool queue_next(uint32_t *due);          /* when the next command is due; false when there is none */

/* steps: of a move. Only the main program adds. Returns 0, or REASON_STARVED when it is too late or there is no room. */
uint8_t queue_add(uint32_t due, enum command kind, uint8_t device, uint16_t steps);

#endif
