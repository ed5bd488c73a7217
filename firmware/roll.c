#include "roll.h"

#include "axis.h"
#include "clock.h"
#include "queue.h"

#define MOST_AT_ONCE 3               /* commands that one record can make */

static bool streaming;
static uint8_t waits, repeat_left;
static uint16_t first, at, table;    /* flash addresses: first record, next byte, wait table */
static uint16_t resume;              /* where to go on behind a REPEAT, 0 outside one */
static uint32_t time;                /* sounding time of the last record, ticks */
static uint32_t horizon;             /* ticks */
bool roll_ended;

static uint8_t stream[STREAM_BYTES];
static uint8_t stream_head, stream_fill;

uint8_t stream_room(void) { return STREAM_BYTES - stream_fill; }

void stream_put(const uint8_t *bytes, uint8_t count) {
    while (count--) {
        uint16_t tail = stream_head + stream_fill++;
        stream[tail < STREAM_BYTES ? tail : tail - STREAM_BYTES] = *bytes++;
    }
}

static uint8_t next_byte(void) {
    if (!streaming)
        return flash_u8(at++);
    if (!stream_fill)
        return 0; /* a record cut short reads as END */
    uint8_t byte = stream[stream_head];
    stream_fill--;
    if (++stream_head == STREAM_BYTES)
        stream_head = 0;
    return byte;
}

void stream_open(uint16_t horizon_ms) {
    streaming = true;
    roll_ended = false;
    resume = 0;
    waits = 0;
    stream_fill = 0;
    horizon = (horizon_ms + (uint32_t)READ_AHEAD_MS) * TICKS_A_MS;
    for (uint8_t number = 0; number < axis_count; number++)
        axis_of(number)->planned = axis_zero(axis_of(number));
}

void roll_open(uint16_t payload) {
    stream_open(flash_u16(payload + ROLL_HEAD_HORIZON_MS));
    streaming = false;
    waits = flash_u8(payload + ROLL_HEAD_WAITS);
    table = payload + ROLL_HEAD_SIZE + flash_u8(payload + ROLL_HEAD_TITLE_BYTES);
    first = table + 3 * waits;
    at = first;
}

void roll_begin(uint32_t zero) { time = zero; }

/* ---- one record ---- */

static bool read_wait(void) {
    uint8_t wait = next_byte();
    union {
        uint8_t bytes[4];
        uint32_t us;
    } read;
    if (wait == EXPLICIT_WAIT) {
        for (uint8_t n = 0; n < 3; n++)
            read.bytes[n] = next_byte();
    } else if (wait < waits) {
        read.us = flash_u32(table + 3 * wait);
    } else {
        return false;
    }
    read.bytes[3] = 0;
    time += read.us * TICKS_A_US;
    return true;
}

/* The moment of a sound, less a lead in a record in flash. */
static uint32_t before(uint16_t lead_at) { return time - flash_u32(lead_at) * TICKS_A_US; }

/* A PULSE of a number beyond the coils is a touch, whose record holds pulse and lead where that of a coil does. */
_Static_assert(TOUCH_PULSE_US == COIL_PULSE_US && TOUCH_LEAD_US == COIL_LEAD_US, "a touch is read as a coil");

static uint8_t switch_coil(uint8_t coil, uint8_t op) {
    uint16_t record = coil_at(coil);
    uint8_t coils = block_head(MACHINE_HEAD_COILS);
    if (coil >= coils && op == OP_PULSE) {
        uint8_t touch = coil - coils;
        record = block_touches + touch * TOUCH_SIZE;
        if (touch < block_head(MACHINE_HEAD_TOUCHES))
            coil = flash_u8(record + TOUCH_COIL);
    }
    if (coil >= coils)
        return REASON_BAD_RECORD;
    if (op == OP_RELEASE)
        return queue_add(time, COMMAND_COIL_OFF, coil, 0);
    uint32_t due = before(record + COIL_LEAD_US);
    uint8_t refused = queue_add(due, COMMAND_COIL_ON, coil, 0);
    if (refused || op == OP_HOLD)
        return refused;
    return queue_add(due + flash_u32(record + COIL_PULSE_US) * TICKS_A_US, COMMAND_COIL_OFF, coil, 0);
}

static uint8_t turn(uint8_t number) {
    if (number >= axis_count)
        return REASON_BAD_RECORD;
    uint16_t record = axis_of(number)->record;
    return queue_add(before(record + AXIS_LEAD_US), COMMAND_FORWARD, number, flash_u16(record + AXIS_TURN_STEPS));
}

static uint8_t travel(uint8_t stop, bool is_note) {
    uint16_t record = block_stops + stop * STOP_SIZE;
    uint8_t number = flash_u8(record + STOP_AXIS);
    if (stop >= block_head(MACHINE_HEAD_STOPS) || number >= axis_count)
        return REASON_BAD_RECORD;
    axis_t *axis = axis_of(number);
    uint32_t above = flash_u32(record + STOP_STEPS) - axis_u32(axis, AXIS_LOWEST);
    if (above > axis_range(axis))
        return REASON_BEYOND_LIMITS;
    uint16_t target = above, steps = target - axis->planned;
    uint8_t refused = REASON_NONE;
    if (steps) {
        bool forward = target > axis->planned;
        if (!forward)
            steps = -steps;
        axis->planned = target;
        refused = queue_add(is_note ? before(axis->record + AXIS_LEAD_US) - axis_travel(axis, steps) : time,
                            forward ? COMMAND_FORWARD : COMMAND_BACKWARD, number, steps);
    }
    if (refused || !is_note)
        return refused;
    uint8_t striker = axis_u8(axis, AXIS_STRIKER);
    return striker < FIRST_STRIKER_COIL ? turn(striker) : switch_coil(striker - FIRST_STRIKER_COIL, OP_PULSE);
}

static uint8_t begin_repeat(void) {
    uint16_t from = next_byte();
    from |= (uint16_t)next_byte() << 8;
    from += first;
    repeat_left = next_byte();
    if (resume || !repeat_left || from < first || from >= at)
        return REASON_BAD_RECORD;
    resume = at;
    at = from;
    return REASON_NONE;
}

static uint8_t read_record(void) {
    uint8_t byte = next_byte();
    uint8_t op = byte >> 5, argument = byte & EXTENDED_ARGUMENT;
    if (op == OP_REPEAT)
        return streaming ? REASON_BAD_RECORD : begin_repeat();
    if (argument == EXTENDED_ARGUMENT)
        argument = next_byte();
    if (!read_wait())
        return REASON_BAD_RECORD;
    if (resume && !--repeat_left) {
        at = resume;
        resume = 0;
    }
    if (op == OP_END) {
        roll_ended = true;
        return queue_add(time, COMMAND_END, 0, 0);
    }
    if (op <= OP_MOVE)
        return travel(argument, op == OP_NOTE);
    return op == OP_TURN ? turn(argument) : switch_coil(argument, op);
}

/* One record a pass: the line must not wait while many are read. */
uint8_t roll_poll(void) {
    if (roll_ended || (streaming && !stream_fill) || queue_room() < MOST_AT_ONCE || (int32_t)(time - now() - horizon) >= 0)
        return REASON_NONE;
    clock_woken = 1; /* there may be another */
    return read_record();
}
