/* What the board remembers, in one place.
 *
 * The program is one translation unit, and register Y points to this struct all the time: what lies in its first 64 bytes is
 * reached by instructions of two bytes instead of four. It costs that no function may have variables on the stack. Register
 * pair r2 holds the axis that is being dealt with, so that it is not handed from function to function.
 */
#ifndef BOARD_H
#define BOARD_H
#include <stdbool.h>
#include <stdint.h>

#include "format.h"
#include "link_format.h"

#define TICKS_A_MS 2000
#define TICKS_A_US 2
#define BEATS(ms) ((uint16_t)((ms) * 125UL / 128)) /* of 1.024 ms, for all that need not be exact */
#define STREAM_BYTES 160
#define REGISTER(address) (*(volatile uint8_t *)(uint16_t)(address))

/* A switch as it is read: its PIN register, 0 for none; it is pressed when (register & mask) is not `open`. */
typedef struct {
    uint8_t at;
    uint8_t mask;
    uint8_t open;
} sense_t;

/* What the run that is prepared is; the one that is made comes before it in this order. */
enum phase { AT_REST, RISING, TOP, CRUISING, FALLING };

/* One axis. A move is a row of runs: `run` steps of one interval each. The run after the one that is made lies ready, so that the
 * step interrupt only has to take it. Positions are steps above the lowest, so that 16 bits are enough. */
typedef struct {
    /* what the step interrupt reads */
    uint16_t interval;       /* ticks between two steps of this run */
    volatile uint16_t run;   /* steps left of it, the one now awaited included */
    uint16_t ahead_interval;
    uint16_t ahead_run;      /* 0: the move ends behind this run */
    uint8_t set, force, enable; /* its bits in TCCR1A, TCCR1C and TIMSK1; 0 for a software axis */
    /* the move */
    volatile uint8_t phase;
    uint8_t entry;           /* ramp entries climbed so far */
    uint8_t top;             /* ramp entries this move may climb */
    uint16_t level;          /* steps that are as fast as this entry, or faster */
    uint16_t cruise;         /* interval once the ramp is climbed */
    bool forward;
    volatile uint16_t position; /* at the end of this run */
    volatile uint16_t wait;  /* of a software axis: ticks to its next step; 0: it stands */
    uint16_t record;         /* flash address of the axis record */
    uint16_t planned;        /* where it is after all records read */
    /* its switches */
    sense_t home, confirm;   /* confirm: detent or index */
    volatile uint8_t moves;  /* counts moves begun */
    volatile bool closed;    /* the confirming switch was closed when the last move ended, or since */
    uint8_t watched;         /* count of the move that is watched */
    uint8_t known;           /* of it */
    uint8_t missed;          /* moves in a row that were not confirmed */
    uint16_t ended;          /* beat at which it was last seen to move */
} axis_t;

typedef struct node {
    uint32_t due;
    struct node *next;
    uint16_t steps;
    volatile uint8_t command; /* 0 once carried out */
} node_t;

struct board {
    /* as STATUS tells it */
    uint8_t state, reason, where, tune;
    volatile uint8_t late;   /* commands carried out more than 2 ms late */
    uint8_t index_missed, detent_missed, rehomed, bad_frames;
    volatile uint8_t overruns;
    uint8_t axes;
    uint8_t block;           /* why the machine block is refused, 0: it is not */
    /* time */
    volatile uint8_t woken;  /* set by interrupts after which the main loop has work to look for */
    union {
        uint32_t now;
        struct {
            uint16_t low, high;
        };
    };
    /* the step interrupts */
    axis_t *channel[2];      /* the axes on D9 and D10 */
    volatile uint8_t missed; /* compares found already past and caught */
    /* the line */
    volatile uint8_t in_head, in_tail, out_head, out_tail, errors;
    /* the queue */
    node_t *volatile head;
    volatile uint8_t used;   /* nodes that are not free */
    volatile uint8_t ended;  /* END was carried out */
    volatile uint8_t busy;   /* 1 + number of an axis that was told to move before it was done, else 0 */
    /* the roll */
    bool roll_ended, streaming;
    bool awaits_cues;        /* from the host */
    uint8_t repeat_left;
    uint8_t stream_head, stream_fill;
    uint16_t at, resume;     /* next byte in flash; where to go on behind a REPEAT, 0 outside one */
    uint32_t time;           /* sounding time of the last record, ticks */
    /* the player */
    bool homed, confirming;
    uint8_t stage, home_stage;
    uint16_t since;
    /* frames */
    uint8_t out_fill, in_fill;
    uint16_t crc;
};

register struct board *board asm("r28");
register axis_t *axis asm("r2");

#endif
