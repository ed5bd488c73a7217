#include "queue.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "axis.h"
#include "clock.h"
#include "output.h"

#define NODES (QUEUE_COMMANDS + 6)
#define HOP 200                  /* counts of timer 0 between two looks, 0.8 ms: it also wakes the main loop */
#define NEAR 1800                /* ticks: nearer than this the compare register can wait, as 255 counts are 2040 ticks */
#define EARLY 8                  /* ticks: a count of timer 0 */
#define LATE (2 * TICKS_A_MS)
#define TOO_LATE (10L * TICKS_A_MS) /* so late when it is added: the cues did not come in time */
#define MARK_START 0x50

/* The main program alone takes free nodes, so a node it looks at never changes its owner. */
typedef struct node {
    uint32_t due;
    uint16_t steps;
    uint8_t device;
    volatile uint8_t kind; /* COMMAND_FREE once carried out */
    struct node *next;
} node_t;
static node_t nodes[NODES];
static node_t *volatile head;
static volatile uint8_t used; /* nodes that are not free */

volatile uint8_t queue_ended;
volatile uint8_t queue_late;
volatile uint8_t queue_busy_axis;

static int32_t time_to(const node_t *node) { return (int32_t)(node->due - now()); }

/* Set the compare register for the head, or for a hop when that is far or there is none. Interrupts are off. */
static __attribute__((noinline)) void aim(void) {
    uint8_t target = TCNT0 + HOP;
    if (head) {
        int32_t away = time_to(head);
        if (away < EARLY)
            target = TCNT0 + 1;
        else if (away < NEAR)
            target = (uint16_t)head->due >> 3;
    }
    OCR0A = target;
}

static void carry_out(const node_t *node) {
    switch (node->kind) {
    case COMMAND_COIL_ON:
    case COMMAND_COIL_OFF:
        output_coil(node->device, node->kind == COMMAND_COIL_ON);
        break;
    case COMMAND_FORWARD:
    case COMMAND_BACKWARD:
        if (!axis_begin(axis_of(node->device), node->kind == COMMAND_FORWARD, node->steps, node->due))
            queue_busy_axis = node->device + 1;
        break;
    case COMMAND_START:
        GPIOR0 = MARK_START;
        break;
    default:
        queue_ended = 1;
    }
}

/* Step edges and serial bytes may interrupt this one: it can be long, and nothing it touches is theirs. */
ISR(TIMER0_COMPA_vect) {
    TIMSK0 = 0; /* not itself */
    sei();
    clock_woken = 1;
    while (head) {
        int32_t away = time_to(head);
        if (away > EARLY)
            break;
        carry_out(head);
        if (away < -LATE && queue_late < 255)
            queue_late++;
        head->kind = COMMAND_FREE;
        used--;
        head = head->next;
    }
    cli();
    aim();
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
        if (head == node)
            aim();
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
