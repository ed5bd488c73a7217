/* Commands waiting for their moment, earliest first, and the interrupt that carries them out. */
#include "firmware.h"

#define NODES (QUEUE_COMMANDS + 6)
#define HOP 200                  /* counts of timer 0 between two looks, 0.8 ms: it also wakes the main loop */
#define NEAR 1800                /* ticks: nearer than this the compare register can wait, as 255 counts are 2040 ticks */
#define EARLY 8                  /* ticks: a count of timer 0 */
#define LATE (2 * TICKS_A_MS)
#define TOO_LATE (10L * TICKS_A_MS) /* so late when it is added: the cues did not come in time */
#define MARK_START 0x50

/* A command is one byte: a coil or an axis, and what it is to do. */
enum { COMMAND_NONE, COMMAND_START, COMMAND_END, COMMAND_AXIS = 0x40, COMMAND_COIL = 0x80, COMMAND_ON = 0x20, DEVICE = 0x1F };
#define COMMAND_FORWARD COMMAND_ON

static node_t nodes[NODES];
static uint16_t queue_steps; /* of the move that is added next */

/* Set the compare register for the head, or for a hop when that is far or there is none. Interrupts are off. */
static NOINLINE void aim_cue(void) {
    uint8_t target = TCNT0 + HOP;
    if (board->head) {
        int32_t away = until(board->head->due);
        if (away < EARLY)
            target = TCNT0 + 1;
        else if (away < NEAR)
            target = (uint16_t)board->head->due >> 3;
    }
    OCR0A = target;
}

static void carry_out(const node_t *node) {
    uint8_t command = node->command, device = command & DEVICE;
    bool on = command & COMMAND_ON;
    if (command & COMMAND_COIL) {
        output_coil(device, on);
    } else if (command & COMMAND_AXIS) {
        axis_select(device);
        if (axis->phase)
            board->busy = device + 1;
        else
            axis_begin(on, node->steps, node->due);
    } else if (command == COMMAND_START) {
        GPIOR0 = MARK_START;
    } else {
        board->ended = 1;
    }
}

/* Step edges and serial bytes may interrupt this one: it can be long, and nothing it touches is theirs. */
void cues(void) __attribute__((used));
void cues(void) {
    node_t *node;
    TIMSK0 = 0; /* not itself */
    sei();
    board->woken = 1;
    while ((node = board->head)) {
        int32_t away = until(node->due);
        if (away > EARLY)
            break;
        carry_out(node);
        if (away < -LATE && board->late < 255)
            board->late++;
        node->command = COMMAND_NONE;
        board->used--;
        board->head = node->next;
    }
    cli();
    aim_cue();
    TIMSK0 = _BV(OCIE0A);
}

static void queue_clear(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        for (node_t *node = nodes; node < &nodes[NODES]; node++)
            node->command = COMMAND_NONE;
        board->head = 0;
        board->used = board->ended = board->busy = 0;
    }
}

/* Only the main program adds. Returns 0, or REASON_STARVED when it is too late or there is no room. */
static NOINLINE uint8_t queue_add(uint32_t due, uint8_t command) {
    node_t *node = nodes, *before = 0, *at;
    if (board->used == NODES || until(due) < -TOO_LATE)
        return REASON_STARVED;
    while (node->command)
        node++;
    node->due = due;
    node->steps = queue_steps;
    /* The walk is safe while the interrupt takes nodes from the front: a node it took keeps its link until we reuse it. */
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { at = board->head; } /* two bytes */
    for (; at && (int32_t)(at->due - due) <= 0; at = at->next)
        before = at;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        node_t *volatile *link = before && before->command ? (node_t *volatile *)&before->next : &board->head;
        node->next = *link;
        *link = node;
        node->command = command;
        board->used++;
        aim_cue();
    }
    return REASON_NONE;
}
