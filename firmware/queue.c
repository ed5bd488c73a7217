#include "queue.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "axis.h"
#include "clock.h"
#include "output.h"

#define NODES (QUEUE_COMMANDS + 6)
#define HOP 235                  /* counts of timer 0 between two looks, 0.94 ms: it also wakes the main loop */
#define NEAR 2000                /* ticks: nearer than this the compare register can wait (255 counts are 2040); more than a hop */
#define SOON 2                   /* counts: the interrupt comes 4 to 12 us from now */
#define EARLY 8                  /* ticks: a count of timer 0 */
#define LATE (2 * TICKS_A_MS)
#define TOO_LATE (10L * TICKS_A_MS) /* so late when it is added: the cues did not come in time */
#define MARK_START 0x50

/* The main program alone takes free nodes, so a node it looks at never changes its owner. */
typedef struct node {
    uint32_t due;
    union {
        uint16_t steps; /* of a move */
        pin_t pin;      /* of a coil */
    };
    uint8_t device;
    volatile uint8_t kind; /* COMMAND_FREE once carried out */
    struct node *next;
} node_t;
static node_t nodes[NODES];
static node_t *volatile head;
static volatile uint8_t used; /* nodes that are not free */
static volatile bool aimed;   /* the compare stands for the moment of the head, not for a hop */

volatile uint8_t queue_ended;
volatile uint8_t queue_late;
volatile uint8_t queue_busy_axis;

static int32_t time_to(const node_t *node) { return (int32_t)(node->due - now()); }


static void carry_out(const node_t *node) {
    if (node->kind == COMMAND_START)
        GPIOR0 = MARK_START;
    else if (node->kind == COMMAND_END)
        queue_ended = 1;
    else
        output_coil(node->device, node->kind == COMMAND_COIL_ON);
}

static void pop(void) {
    head->kind = COMMAND_FREE;
    used--;
    head = head->next;
}

/* To begin a move takes as long as other commands may not wait, and its first step is far: the next commands may come meanwhile. */
static void begin_move(void) {
    uint8_t device = head->device;
    bool forward = head->kind == COMMAND_FORWARD;
    uint16_t steps = head->steps;
    uint32_t due = head->due;
    pop();
    OCR0A = TCNT0 + SOON;
    TIMSK0 = _BV(OCIE0A);
    if (!axis_begin(axis_of(device), forward, steps, due))
        queue_busy_axis = device + 1;
    TIMSK0 = 0;
    aimed = false;
}

/* A coil on a pin of the chip is switched first, when this is its moment: it is what others are measured by. All else is done with
 * interrupts on: step edges and serial bytes may come in between, as nothing here is theirs. */
ISR(TIMER0_COMPA_vect) {
    const node_t *first = aimed && head->pin.at && head->kind <= COMMAND_COIL_OFF ? head : 0;
    if (first) {
        uint8_t level = REGISTER(first->pin.at) | first->pin.mask;
        REGISTER(first->pin.at) = first->kind == COMMAND_COIL_ON ? level : level ^ first->pin.mask;
    }
    TIMSK0 = 0; /* not itself */
    sei();
    if (first)
        pop();
    clock_woken = 1;
    aimed = false;
    OCR0A = TCNT0 + HOP;
    while (head) {
        int32_t away = time_to(head);
        if (away > EARLY) {
            if (away > NEAR)
                break;
            OCR0A = (uint16_t)head->due >> 3;
            aimed = true;
            if (time_to(head) > EARLY) /* still: so the match is to come, whatever interrupts us now */
                break;
            aimed = false;
        }
        if (away < -LATE && queue_late < 255)
            queue_late++;
        if (head->kind >= COMMAND_FORWARD) {
            if (axis_filling) { /* we came in between: that is shorter, and the first step of a move is far */
                OCR0A = TCNT0 + SOON;
                break;
            }
            begin_move();
        } else {
            carry_out(head);
            pop();
        }
    }
    cli();
    TIMSK0 = _BV(OCIE0A);
}

void queue_start(void) {
    OCR0A = HOP;
    TIMSK0 = _BV(OCIE0A);
}

void queue_clear(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        for (; head; head = head->next)
            head->kind = COMMAND_FREE;
        used = 0;
        aimed = false;
        queue_ended = 0;
        queue_busy_axis = 0;
    }
}

/* Searched from where the last one was found: commands are done nearly in the order in which they came. */
static node_t *free_node(void) {
    static uint8_t last;
    for (uint8_t tries = NODES; tries; tries--) {
        if (++last >= NODES)
            last = 0;
        if (nodes[last].kind == COMMAND_FREE)
            return &nodes[last];
    }
    return 0;
}

uint8_t queue_room(void) { return NODES - used; }

uint8_t queue_add(uint32_t due, enum command kind, uint8_t device, uint16_t steps) {
    node_t *node = free_node();
    if (!node || (int32_t)(due - now()) < -TOO_LATE)
        return REASON_STARVED;
    node->due = due;
    node->device = device;
    if (kind <= COMMAND_COIL_OFF)
        node->pin = output_pin(device);
    else
        node->steps = steps;
    /* The walk is safe while the interrupt takes nodes from the front: a node it took keeps its link until we reuse it. */
    node_t *before = 0, *first;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { first = head; } /* two bytes */
    for (node_t *at = first; at && (int32_t)(at->due - due) <= 0; at = at->next)
        before = at;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        node_t *volatile *link = before && before->kind != COMMAND_FREE ? (node_t *volatile *)&before->next : &head;
        node->next = *link;
        *link = node;
        node->kind = kind;
        used++;
        if (head == node) {
            OCR0A = TCNT0 + SOON; /* have the interrupt look at it */
            aimed = false;
        }
    }
    return REASON_NONE;
}

bool queue_next(uint32_t *due) {
    bool any;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        any = head;
        if (any)
            *due = head->due;
    }
    return any;
}
