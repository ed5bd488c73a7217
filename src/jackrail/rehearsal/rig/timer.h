/* Timers 0, 1 and 2 of the emulated chip (sections 15, 16, 18). A timer is a count at one cycle and a rate: the count at any
   later cycle, and the cycle of each match to come, follow by arithmetic (counting.c), so nothing runs between them. */
#ifndef TIMER_H
#define TIMER_H

#include "chip.h"

enum { MATCH_A, MATCH_B, MATCH_ICR, MATCHES };
enum { STOPPED = 0xFE, UNKNOWN_CLOCK };

typedef struct {
    uint32_t most;                                  /* MAX */
    int control_a, count, compare_a, compare_b, mask, flags; /* addresses; TCCRnB stands behind TCCRnA */
    int first_vector;                               /* of compare A; compare B and overflow follow, capture is before */
    int pins[2];                                    /* OCnA, OCnB */
    uint8_t shifts[8];                              /* by CS2:0: a tick is 2 to this many cycles; or one of the above */
    int prescaler;
} timer_wiring;

typedef struct {
    const timer_wiring *wires;
    int number;
    uint8_t control_a, control_b, flags, mask, wave; /* wave: the level of each OC register */
    uint8_t high;                                    /* the shared byte of 16-bit accesses (16.3) */
    uint16_t compare[MATCHES], top;                  /* OCRnA, OCRnB, ICR1 */
    uint32_t count;                                  /* TCNTn at the cycle `since` */
    uint64_t since;
    int fresh;                                       /* TCNTn was written at `since`: the next tick makes no match (16.7.2) */
    uint64_t match[MATCHES], overflow;               /* when each comes next */
} timer;

/* counting.c */
int timer_top_by(const timer *);                     /* the match that ends the count, MATCHES in normal mode, -1 unknown */
uint32_t timer_count(const chip *, const timer *, uint64_t now);
uint64_t timer_cycle_past(const chip *, const timer *, uint64_t now, uint32_t count, uint32_t value, int is_match);
void timer_freeze(const chip *, timer *, uint64_t now); /* before a change of rate or top: keeps the count */

/* timers.c */
void timer_schedule(chip *, timer *, uint64_t now);
void timer_set_top(chip *, timer *);
void timer_wants(chip *, const timer *);
void timer_strike(chip *, timer *, int channel, uint64_t now); /* a match, or a forced one, on the pin */
void timer_show(chip *, const timer *, int channel, uint64_t now);

/* timer_registers.c */
void timer_registers_init(chip *);

#endif
