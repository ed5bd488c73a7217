#include "home.h"

#include <avr/pgmspace.h>

#include "axis.h"
#include "clock.h"

#define CLEAR_STEPS 16     /* beyond the opening of the switch, so that the slow approach starts from an open one */
#define MARGIN_STEPS 256

/* Each stage is one motion until the switch has been so for a while, then the braking. Where it first was so is kept. */
enum motion { APPROACH, BACK, CLEAR, SEEK, FORWARD };
typedef struct {
    uint8_t motion;
    uint8_t until;      /* the switch: OPEN, CLOSED, or REST for the end of the motion */
    uint8_t steady;     /* beats it must be so: longer than it bounces */
    uint8_t reason;     /* when the motion ends before */
} stage_t;
enum { OPEN, CLOSED, REST };

static const stage_t stages[] PROGMEM = {
    /* a carriage: fast to find the switch at all, back, then slowly to its edge */
    {APPROACH, CLOSED, 0, REASON_HOME_NEVER_CLOSED},
    {BACK, OPEN, 0, REASON_HOME_NEVER_OPENED},
    {CLEAR, REST, 0, 0},
    {SEEK, CLOSED, 32, REASON_HOME_NEVER_CLOSED},
    /* a pick: over both edges of its switch */
    {FORWARD, OPEN, 0, REASON_INDEX_MISSED},
    {FORWARD, CLOSED, 4, REASON_INDEX_MISSED},
    {FORWARD, OPEN, 4, REASON_INDEX_MISSED},
};
enum { AFTER_CARRIAGE = 4, FIRST_OF_PICK = 4, AFTER_PICK = 7, TO_HOME, NEXT };

static sense_t button;
static uint8_t stage, wanted, number;
static bool moving, met;
static uint16_t since, edge, edge_before;

void home_switches(void) {
    uint16_t at = block_switches;
    for (uint8_t n = block_head(MACHINE_HEAD_SWITCHES); n; n--, at += SWITCH_SIZE) {
        uint8_t role = flash_u8(at + SWITCH_ROLE), of = flash_u8(at + SWITCH_AXIS);
        bool closed_high = flash_u8(at + SWITCH_CLOSED_HIGH);
        /* An open switch that closes to ground needs the pull-up. */
        pin_t pin = pin_make_input(flash_u8(at + SWITCH_PIN), !closed_high);
        sense_t *sense = &button;
        if (role != ROLE_PLAY_BUTTON) {
            if (of >= axis_count)
                continue;
            sense = role == ROLE_HOME ? &axis_of(of)->home : &axis_of(of)->confirm;
        }
        sense->at = pin.at - 2;
        sense->mask = pin.mask;
        sense->open = closed_high ? 0 : pin.mask;
    }
}

bool home_has_button(void) { return button.at; }

bool home_button(void) { return is_pressed(&button); }

static bool is_carriage(const axis_t *axis) { return axis->home.at; }

static void set_off(axis_t *axis, uint8_t motion) {
    uint16_t range = axis_range(axis), near = (range >> 3) + MARGIN_STEPS, zero = axis_zero(axis);
    bool toward = zero > range >> 1 && zero <= range; /* home is at the nearer end */
    switch (motion) {
    case APPROACH:
        range += range >> 2;
        axis_approach(axis, toward, range < 0x4000 ? range + MARGIN_STEPS : 0xFFFF);
        break;
    case BACK:
        axis_creep(axis, !toward, near);
        break;
    case CLEAR:
        axis_creep(axis, !toward, CLEAR_STEPS);
        break;
    case SEEK:
        axis_creep(axis, toward, near);
        break;
    default:
        axis_creep(axis, true, axis_u16(axis, AXIS_TURN_STEPS) + MARGIN_STEPS);
    }
}

static void be_home(axis_t *axis) {
    axis->position = is_carriage(axis) ? axis_zero(axis) : 0;
    wanted &= ~(1 << number);
    stage = NEXT;
}

static void begin_next(void) {
    for (number = 0; !(wanted & 1 << number); number++)
        ;
    axis_t *axis = axis_of(number);
    moving = false;
    if (is_carriage(axis))
        stage = is_pressed(&axis->home) ? 1 : 0;
    else if (axis->confirm.at)
        stage = FIRST_OF_PICK;
    else
        be_home(axis); /* nothing can tell: it is taken to be at rest */
}

/* A carriage goes back to the edge of its switch. A pick has passed both edges: one turn ends in the middle between them,
 * where it rests. */
static void go_home(axis_t *axis, bool carriage) {
    uint16_t beyond = axis->position - edge;
    if (!carriage) {
        beyond += (uint16_t)(edge - edge_before) / 2;
        axis_begin(axis, true, axis_u16(axis, AXIS_TURN_STEPS) - beyond, now());
    } else {
        bool forward = axis->forward;
        axis_begin(axis, !forward, forward ? beyond : -beyond, now());
    }
    stage = TO_HOME;
}

static uint8_t run_stage(axis_t *axis) {
    stage_t it;
    memcpy_P(&it, &stages[stage], sizeof it);
    if (!moving) {
        set_off(axis, it.motion);
        moving = true;
        met = false;
        return HOME_BUSY;
    }
    bool closed = is_pressed(is_carriage(axis) ? &axis->home : &axis->confirm);
    if (it.until == REST) {
        met = true;
    } else if (closed != it.until) {
        met = false;
    } else {
        if (!met) {
            met = true;
            edge_before = edge;
            edge = axis_position(axis);
            since = beat();
        }
        if ((uint16_t)(beat() - since) >= it.steady)
            axis_brake(axis);
    }
    if (axis->phase != AT_REST)
        return HOME_BUSY;
    moving = false;
    stage++;
    if (!met)
        return it.reason;
    if (stage == (is_carriage(axis) ? AFTER_CARRIAGE : AFTER_PICK))
        go_home(axis, is_carriage(axis));
    return HOME_BUSY;
}

void home_begin(uint8_t axes_wanted) {
    wanted = axes_wanted;
    stage = NEXT;
}

uint8_t home_poll(uint8_t *where) {
    *where = number;
    axis_t *axis = axis_of(number);
    if (stage < TO_HOME)
        return run_stage(axis);
    if (stage == TO_HOME) {
        if (axis->phase == AT_REST)
            be_home(axis);
    } else if (wanted) {
        begin_next();
    } else {
        return REASON_NONE;
    }
    return HOME_BUSY;
}
