/* The step axes. Two make their edges by the compare hardware of timer 1 on D9 and D10; two more by software, coarser. */
#ifndef AXIS_H
#define AXIS_H
#include <stdbool.h>
#include <stdint.h>

#include "block.h"
#include "pins.h"

/* A switch as it is read. at: its PIN register, 0 for none; it is pressed when (register & mask) is not `open`. */
typedef struct {
    uint8_t at;
    uint8_t mask;
    uint8_t open;
} sense_t;

/* What the run that lies ready is; the one being made comes before it in this order. */
enum phase { AT_REST, RISING, TOP, CRUISING, FALLING };

/* One axis, first what the step interrupt reads. A move is a row of runs: `run` steps of one interval each. The run behind the one
 * being made lies ready, so that the interrupt only has to take it. Positions are steps above the lowest: 16 bits are enough. */
typedef struct {
    uint16_t interval;       /* ticks between two steps of this run */
    volatile uint16_t run;   /* steps left of it, the one now awaited included; 0 at rest */
    uint16_t ahead_interval; /* of the run that lies ready */
    uint16_t ahead_run;      /* its steps; 0: the move ends behind this run */
    volatile uint8_t ready;  /* whether it lies ready, see axis.c */
    volatile uint8_t phase;
    uint8_t entry;           /* ramp entries climbed so far */
    uint8_t top;             /* ramp entries this move may climb */
    bool forward;
    uint16_t level;          /* steps that are made no slower than the entry above */
    uint16_t cruise;         /* interval once the ramp is climbed */
    volatile uint16_t position; /* at the end of this run */
    uint16_t record;        /* flash address of the axis record */
    uint16_t left;           /* of a software axis: ticks to its next step */
    uint16_t planned;       /* where it is after all records read */
    pin_t step, direction;
    sense_t home, confirm;  /* confirm: detent or index */
    volatile uint8_t moves; /* counts moves begun */
    volatile bool closed;   /* the confirming switch was closed when the last move ended, or since */
    uint8_t watched;        /* count of the move that is watched */
    uint8_t known;          /* of it */
    uint8_t missed;         /* moves in a row that were not confirmed */
    uint16_t ended;         /* beat at which it was seen to have ended */
} axis_t;

extern axis_t axes[MOST_AXES];
extern uint8_t axis_count;
extern volatile uint8_t axis_filling; /* axes whose next run is being laid ready: it cannot wait long */
extern volatile uint8_t axis_missed; /* compares found already past and caught */

void axes_start(void);                        /* from the machine block */
void axes_enable(bool on);                    /* the drivers, where they have an enable line (low: on) */
bool axes_rest(void);

axis_t *axis_of(uint8_t number);              /* by its number in the machine block */
uint8_t axis_u8(const axis_t *axis, uint8_t field);
uint16_t axis_u16(const axis_t *axis, uint8_t field);
uint32_t axis_u32(const axis_t *axis, uint8_t field);
uint16_t axis_range(const axis_t *axis);      /* highest position */
uint16_t axis_zero(const axis_t *axis);       /* position of home */

bool axis_begin(axis_t *axis, bool forward, uint16_t steps, uint32_t due);  /* false: it still moves */
void axis_go_to(axis_t *axis, uint16_t position);                           /* now */
void axis_approach(axis_t *axis, bool forward, uint16_t steps);             /* at a quarter of full speed, now */
void axis_creep(axis_t *axis, bool forward, uint16_t steps);                /* at the interval of the slow approach, now */
void axis_brake(axis_t *axis);                /* end the move by the ramp; a creeping one at once */
uint16_t axis_position(const axis_t *axis);   /* also during a move */
int32_t axis_steps(const axis_t *axis);       /* the same in steps from home; 0 for a pick */
uint32_t axis_travel(const axis_t *axis, uint16_t steps); /* ticks of a move */
bool is_pressed(const sense_t *sense);

#endif
