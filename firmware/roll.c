/* Records into commands: from a roll in flash, or from the stream that the host sends. SPEC-roll.md says what each means. */
#include "firmware.h"

#define MOST_AT_ONCE 3               /* commands that one record can make */

static uint8_t waits;
static uint16_t first, table;        /* flash addresses: first record, wait table */
static uint32_t horizon;             /* ticks */
static uint8_t stream[STREAM_BYTES];

static uint8_t stream_room(void) { return STREAM_BYTES - board->stream_fill; }

static void stream_put(uint8_t byte) {
    uint8_t tail = board->stream_head + board->stream_fill++;
    if (tail >= STREAM_BYTES || tail < board->stream_head)
        tail -= STREAM_BYTES;
    stream[tail] = byte;
}

static NOINLINE uint8_t next_byte(void) {
    if (!board->streaming)
        return flash_u8(board->at++);
    if (!board->stream_fill)
        return 0; /* a record cut short reads as END */
    board->stream_fill--;
    uint8_t byte = stream[board->stream_head];
    if (++board->stream_head == STREAM_BYTES)
        board->stream_head = 0;
    return byte;
}

static NOINLINE void stream_open(uint16_t horizon_ms) {
    board->streaming = true;
    board->roll_ended = false;
    board->resume = 0;
    board->stream_fill = 0;
    waits = 0;
    horizon = (horizon_ms + (uint32_t)READ_AHEAD_MS) * TICKS_A_MS;
    for (axis = axes; axis < &axes[board->axes]; axis++)
        axis->planned = axis_zero();
}

/* A roll in flash. */
static void roll_open(void) {
    stream_open(flash_u16(roll_at + ROLL_HEAD_HORIZON_MS));
    board->streaming = false;
    waits = flash_u8(roll_at + ROLL_HEAD_WAITS);
    table = roll_at + ROLL_HEAD_SIZE + flash_u8(roll_at + ROLL_HEAD_TITLE_BYTES);
    board->at = first = table + 3 * waits;
}

/* ---- one record ---- */

/* Ticks of some microseconds in flash. */
static NOINLINE uint32_t ticks_at(uint16_t at) { return flash_u32(at) * TICKS_A_US; }

static bool read_wait(void) {
    uint8_t wait = next_byte();
    union {
        uint8_t bytes[4];
        uint32_t us;
    } read;
    if (wait == EXPLICIT_WAIT) {
        read.bytes[0] = next_byte();
        read.bytes[1] = next_byte();
        read.bytes[2] = next_byte();
    } else if (wait < waits) {
        read.us = flash_u32(table + 3 * wait);
    } else {
        return false;
    }
    read.bytes[3] = 0;
    board->time += read.us * TICKS_A_US;
    return true;
}

static NOINLINE uint8_t switch_coil(uint8_t coil, uint8_t op) {
    uint16_t record = coil_at(coil);
    if (coil >= block_head(MACHINE_HEAD_COILS))
        return REASON_BAD_RECORD;
    uint32_t due = board->time;
    if (op != OP_RELEASE) {
        due -= ticks_at(record + COIL_LEAD_US);
        uint8_t refused = queue_add(due, COMMAND_COIL | COMMAND_ON | coil);
        if (refused || op == OP_HOLD)
            return refused;
        due += ticks_at(record + COIL_PULSE_US);
    }
    return queue_add(due, COMMAND_COIL | coil);
}

static uint32_t axis_before(void) { return board->time - ticks_at(axis->record + AXIS_LEAD_US); }

static NOINLINE uint8_t turn_pick(uint8_t number) {
    if (number >= board->axes)
        return REASON_BAD_RECORD;
    axis_select(number);
    queue_steps = axis_u16(AXIS_TURN_STEPS);
    return queue_add(axis_before(), COMMAND_AXIS | COMMAND_FORWARD | number);
}

static uint8_t travel(uint8_t stop, bool is_note) {
    uint16_t record = block_stops + stop * STOP_SIZE;
    uint8_t number = flash_u8(record + STOP_AXIS);
    if (stop >= block_head(MACHINE_HEAD_STOPS) || number >= board->axes)
        return REASON_BAD_RECORD;
    axis_select(number);
    uint16_t target = flash_u16(record + STOP_STEPS) + axis_zero(), steps = target - axis->planned;
    if (target > axis_range())
        return REASON_BEYOND_LIMITS;
    if (steps) {
        number |= COMMAND_AXIS;
        if (target > axis->planned)
            number |= COMMAND_FORWARD;
        else
            steps = -steps;
        axis->planned = target;
        queue_steps = steps;
        uint32_t due = board->time;
        if (is_note)
            due = axis_before() - axis_travel(steps);
        uint8_t refused = queue_add(due, number);
        if (refused)
            return refused;
    }
    if (!is_note)
        return REASON_NONE;
    uint8_t striker = axis_u8(AXIS_STRIKER);
    return striker < FIRST_STRIKER_COIL ? turn_pick(striker) : switch_coil(striker - FIRST_STRIKER_COIL, OP_PULSE);
}

static uint8_t begin_repeat(void) {
    uint16_t from = next_byte();
    from |= next_byte() << 8;
    from += first;
    board->repeat_left = next_byte();
    if (board->streaming || board->resume || !board->repeat_left || from < first || from >= board->at)
        return REASON_BAD_RECORD;
    board->resume = board->at;
    board->at = from;
    return REASON_NONE;
}

static uint8_t read_record(void) {
    uint8_t byte = next_byte();
    uint8_t op = byte >> 5, argument = byte & EXTENDED_ARGUMENT;
    if (op == OP_REPEAT)
        return begin_repeat();
    if (argument == EXTENDED_ARGUMENT)
        argument = next_byte();
    if (!read_wait())
        return REASON_BAD_RECORD;
    if (board->resume && !--board->repeat_left) {
        board->at = board->resume;
        board->resume = 0;
    }
    if (op == OP_END) {
        board->roll_ended = true;
        board->awaits_cues = false;
        return queue_add(board->time, COMMAND_END);
    }
    if (op <= OP_MOVE)
        return travel(argument, op == OP_NOTE);
    return op == OP_TURN ? turn_pick(argument) : switch_coil(argument, op);
}

/* Queue what must be known by now; 0 or the reason to stop. One record a pass: the line must not wait while many are read. */
static uint8_t roll_poll(void) {
    if (board->roll_ended || (board->streaming && !board->stream_fill) || board->used > NODES - MOST_AT_ONCE ||
        until(board->time) >= (int32_t)horizon)
        return REASON_NONE;
    board->woken = 1; /* there may be another */
    return read_record();
}
