/* Axes: what comes next in a move, how a move begins and how it is ended before its time. */
#include "firmware.h"

#define AWAKE 8   /* ticks: a compare nearer than this could be past before it is set */
#define STEP_PIN_A 9
#define STEP_PIN_B 10

static axis_t axes[MOST_AXES];

static uint8_t axis_u8(uint8_t field) { return flash_u8(axis->record + field); }
static NOINLINE uint16_t axis_u16(uint8_t field) { return flash_u16(axis->record + field); }

static NOINLINE void axis_select(uint8_t number) { axis = &axes[number]; }

static NOINLINE bool is_pick(void) { return axis_u8(AXIS_IS_PICK); }
static NOINLINE uint16_t axis_zero(void) { return -axis_u16(AXIS_LOWEST); } /* position of home */
static NOINLINE uint16_t axis_range(void) { return axis_u16(AXIS_HIGHEST) + axis_zero(); }
static NOINLINE uint16_t entry_at(uint8_t entry) { return axis->record + AXIS_SIZE + entry * RAMP_ENTRY_SIZE; }

static NOINLINE bool is_pressed(const sense_t *sense) { return (REGISTER(sense->at) & sense->mask) != sense->open; }

static NOINLINE uint16_t with_sign(uint16_t steps) { return axis->forward ? steps : -steps; }

/* ---- what comes next ---- */

/* Prepare the run behind the one that is made. While rising, each entry is climbed and will be descended, as long as more steps
 * are left than both; the rest, at the top, is one run. */
static NOINLINE void plan_next(void) {
    uint8_t entry = axis->entry, phase = axis->phase;
    uint16_t interval = axis->cruise, steps = axis->level;
    if (phase != RISING) {
        if (phase != FALLING)
            axis->phase = phase + 1;
        steps = 0;
        if (!entry--)
            goto take;
    } else if (entry == axis->top) {
        axis->phase = TOP;
        goto take;
    }
    uint16_t at = entry_at(entry);
    interval = flash_u16(at + RAMP_ENTRY_INTERVAL);
    uint8_t count = flash_u8(at + RAMP_ENTRY_COUNT);
    if (phase == RISING) {
        if (steps <= 2 * count) {
            axis->phase = TOP;
            goto take;
        }
        axis->level = steps - 2 * count;
        entry++;
    }
    axis->entry = entry;
    steps = count;
take:
    axis->ahead_interval = interval;
    axis->ahead_run = steps;
}

static NOINLINE void take_next(void) {
    axis->interval = axis->ahead_interval;
    axis->run = axis->ahead_run;
}

/* A run was taken: book it and prepare the one behind it. At the end of the move look at the confirming switch. */
static NOINLINE void follow(void) {
    if (!axis->run) {
        axis->closed = is_pressed(&axis->confirm);
        axis->phase = AT_REST;
        return;
    }
    axis->position += with_sign(axis->run);
    plan_next();
}

/* ---- beginning ---- */

/* The first step comes one interval after `due`, or just ahead of the counter when that is past. */
static void go(uint16_t due) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint16_t interval = axis->interval;
        uint8_t enable = axis->enable;
        if (enable) {
            due += interval;
            uint16_t soonest = TCNT1 + AWAKE;
            if ((uint16_t)(due - soonest) > interval)
                due = soonest;
            *(enable == _BV(OCIE1A) ? &OCR1A : &OCR1B) = due;
            TIFR1 = enable; /* the flag stands at the same bit */
            TCCR1A |= axis->set | axis->set << 1;
            TIMSK1 |= enable;
        } else {
            axis->wait = interval;
            TIMSK2 = _BV(OCIE2A);
        }
    }
}

/* Cruise interval and top are set; the axis is at rest. */
static NOINLINE void set_out(bool forward, uint16_t steps, uint16_t due) {
    if (!steps)
        return;
    axis->forward = forward;
    pin_write(axis_u8(AXIS_DIRECTION_PIN), forward != axis_u8(AXIS_REVERSED));
    axis->phase = RISING;
    axis->entry = 0;
    axis->level = steps;
    plan_next();
    take_next();
    follow();
    axis->moves++;
    go(due);
}

static NOINLINE void axis_begin(bool forward, uint16_t steps, uint16_t due) {
    axis->cruise = axis_u16(AXIS_CRUISE_TICKS);
    axis->top = axis_u8(AXIS_ENTRIES);
    set_out(forward, steps, due);
}

/* Now. */
static NOINLINE void axis_go_to(uint16_t position) {
    bool forward = position > axis->position;
    position -= axis->position;
    if (!forward)
        position = -position;
    axis_begin(forward, position, now());
}

/* Now, at a quarter of full speed. */
static void axis_approach(bool forward, uint16_t steps) {
    uint16_t cruise = axis_u16(AXIS_CRUISE_TICKS), interval = cruise;
    uint8_t top = 0;
    for (; top != axis_u8(AXIS_ENTRIES); top++) {
        interval = flash_u16(entry_at(top) + RAMP_ENTRY_INTERVAL);
        if (interval >> 2 <= cruise)
            break;
    }
    axis->cruise = interval;
    axis->top = top;
    set_out(forward, steps, now());
}

/* Now, at the interval of the slow approach. */
static void axis_creep(bool forward, uint16_t steps) {
    axis->cruise = axis_u16(AXIS_HOME_TICKS);
    axis->top = 0;
    set_out(forward, steps, now());
}

/* End the move by the ramp; a creeping one at once. What is prepared is given up when it would not brake. */
static NOINLINE void axis_brake(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t phase = axis->phase;
        if (phase == CRUISING) { /* cut the run at the step now awaited */
            axis->position -= with_sign(axis->run - 1);
            axis->run = 1;
            axis->phase = FALLING;
        } else if (phase == RISING || phase == TOP) {
            if (phase == RISING)
                axis->entry--; /* the prepared run would have climbed it */
            axis->phase = FALLING;
            plan_next();
        }
    }
}

static NOINLINE bool axes_rest(void) {
    uint8_t moving = 0;
    for (const axis_t *each = axes; each < &axes[MOST_AXES]; each++)
        moving |= each->phase;
    return !moving;
}

/* Also during a move. */
static NOINLINE uint16_t axis_position(void) {
    uint16_t position;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { position = axis->position - with_sign(axis->run); }
    return position;
}

/* Ticks of a move, by the same rule as plan_next. */
static NOINLINE uint32_t axis_travel(uint16_t steps) {
    uint32_t ticks = 0;
    uint16_t at = entry_at(0), interval = 0;
    for (uint8_t n = axis_u8(AXIS_ENTRIES);; n--, at += RAMP_ENTRY_SIZE) {
        interval = n ? flash_u16(at + RAMP_ENTRY_INTERVAL) : axis_u16(AXIS_CRUISE_TICKS);
        uint16_t both = 2 * flash_u8(at + RAMP_ENTRY_COUNT);
        bool last = !n || both >= steps;
        if (last)
            both = steps;
        ticks += (uint32_t)interval * both;
        steps -= both;
        if (last)
            return ticks;
    }
}

/* ---- set-up ---- */

static void axes_start(void) {
    uint16_t record = block_axes;
    axis = axes;
    for (board->axes = 0; board->axes != block_head(MACHINE_HEAD_AXES); board->axes++) {
        axis->record = record;
        uint8_t step_pin = axis_u8(AXIS_STEP_PIN);
        pin_make_output(step_pin, false);
        pin_make_output(axis_u8(AXIS_DIRECTION_PIN), false);
        if (step_pin == STEP_PIN_A) {
            board->channel[0] = axis;
            axis->set = _BV(COM1A0);
            axis->force = _BV(FOC1A);
            axis->enable = _BV(OCIE1A);
        } else if (step_pin == STEP_PIN_B) {
            board->channel[1] = axis;
            axis->set = _BV(COM1B0);
            axis->force = _BV(FOC1B);
            axis->enable = _BV(OCIE1B);
        }
        record = entry_at(axis_u8(AXIS_ENTRIES));
        axis++;
    }
}

/* The drivers, where they have an enable line (low: on). */
static NOINLINE void axes_enable(bool on) {
    for (uint8_t number = 0; number != board->axes; number++) {
        axis_select(number);
        pin_make_output(axis_u8(AXIS_ENABLE_PIN), !on);
    }
}
