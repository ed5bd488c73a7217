/* Finding home: carriages at the closing edge of their home switch, picks in the middle of their index switch. */
#include "firmware.h"

#define HOME_BUSY 0xFF
#define CLEAR_STEPS 16     /* beyond the opening of the switch, so that the slow approach starts from an open one */
#define MARGIN_STEPS 256

/* Each stage is one motion until the switch has been so for a while, then the braking. Where it first was so is kept. */
enum { AWAY = 1, FAST = 2, CLEAR = 4, PICK = 8, CLOSED = 16 };
typedef struct {
    uint8_t how;
    uint8_t steady;     /* beats the switch must be so: longer than it bounces */
    uint8_t reason;     /* when the motion ends before */
} home_stage_t;

static const home_stage_t home_stages[] PROGMEM = {
    /* a carriage: fast to find the switch at all, back, then slowly to its edge */
    {FAST | CLOSED, 0, REASON_HOME_NEVER_CLOSED},
    {AWAY, 0, REASON_HOME_NEVER_OPENED},
    {AWAY | CLEAR, 0, REASON_HOME_NEVER_OPENED},
    {CLOSED, 32, REASON_HOME_NEVER_CLOSED},
    /* a pick: over both edges of its switch */
    {PICK, 0, REASON_INDEX_MISSED},
    {PICK | CLOSED, 4, REASON_INDEX_MISSED},
    {PICK, 4, REASON_INDEX_MISSED},
};
enum { AFTER_CARRIAGE = 4, FIRST_OF_PICK = 4, AFTER_PICK = 7, TO_HOME, NEXT };

static sense_t button;
static uint8_t homing;             /* axes still to be homed: a bit each */
static uint8_t home_axis;          /* number of the one that is */
static bool moving, met;
static uint16_t met_at, edge, edge_before;

static void home_switches(void) {
    uint16_t at = block_switches;
    for (uint8_t n = block_head(MACHINE_HEAD_SWITCHES); n--; at += SWITCH_SIZE) {
        uint8_t role = flash_u8(at + SWITCH_ROLE), closed_high = flash_u8(at + SWITCH_CLOSED_HIGH);
        axis_select(flash_u8(at + SWITCH_AXIS));
        sense_t *sense = role == ROLE_PLAY_BUTTON ? &button : role == ROLE_HOME ? &axis->home : &axis->confirm;
        uint8_t pin = flash_u8(at + SWITCH_PIN);
        uint32_t place = pin_place(pin);
        sense->at = (uint8_t)place - 2;
        sense->mask = MASK(place);
        if (!closed_high) { /* a switch that closes to ground needs the pull-up */
            sense->open = MASK(place);
            pin_write(pin, true);
        }
    }
}

static const sense_t *home_sense(void) { return is_pick() ? &axis->confirm : &axis->home; }

static void set_off(uint8_t how) {
    uint16_t range = axis_range(), zero = axis_zero();
    uint16_t steps = (range >> 3) + MARGIN_STEPS;
    bool forward = zero > range >> 1 && zero <= range; /* home is at the nearer end */
    if (how & AWAY)
        forward = !forward;
    if (how & CLEAR)
        steps = CLEAR_STEPS;
    if (how & PICK) {
        forward = true;
        steps = axis_u16(AXIS_TURN_STEPS) + MARGIN_STEPS;
    }
    if (how & FAST)
        axis_approach(forward, range < 0x4000 ? 10 * steps : 0xFFFF);
    else
        axis_creep(forward, steps);
}

static void be_home(void) {
    axis->position = is_pick() ? 0 : axis_zero();
    homing ^= bit(home_axis);
    board->home_stage = NEXT;
}

static void begin_next(void) {
    home_axis = 0;
    while (!(homing & bit(home_axis)))
        home_axis++;
    axis_select(home_axis);
    const sense_t *sense = home_sense();
    moving = false;
    if (!sense->at)
        be_home(); /* nothing can tell: it is taken to be at rest */
    else
        board->home_stage = is_pick() ? FIRST_OF_PICK : is_pressed(sense);
}

/* A carriage goes back to the edge of its switch. A pick has passed both edges: one turn ends in the middle between them,
 * where it rests. */
static void go_home(void) {
    uint16_t target = edge;
    if (is_pick())
        target += axis_u16(AXIS_TURN_STEPS) - (uint16_t)(edge - edge_before) / 2;
    board->home_stage = TO_HOME;
    axis_go_to(target);
}

static uint8_t run_home_stage(void) {
    uint16_t at = (uint16_t)home_stages + board->home_stage * sizeof(home_stage_t);
    uint8_t how = flash_u8(at);
    if (!moving) {
        set_off(how);
        moving = true;
        met = how & CLEAR;
        return HOME_BUSY;
    }
    bool closed = is_pressed(home_sense());
    if (how & CLEAR) {
    } else if (closed != !!(how & CLOSED)) {
        met = false;
    } else {
        if (!met) {
            met = true;
            edge_before = edge;
            edge = axis_position();
            met_at = beat();
        }
        if (beats_since(met_at) >= flash_u8(at + 1))
            axis_brake();
    }
    if (axis->phase)
        return HOME_BUSY;
    moving = false;
    if (!met)
        return flash_u8(at + 2);
    uint8_t stage = ++board->home_stage;
    if (stage == (is_pick() ? AFTER_PICK : AFTER_CARRIAGE))
        go_home();
    return HOME_BUSY;
}

static void home_begin(uint8_t wanted) {
    homing = wanted;
    board->home_stage = NEXT;
}

/* HOME_BUSY, REASON_NONE when all are home, or why the axis could not find it. */
static NOINLINE uint8_t home_poll(void) {
    axis_select(home_axis);
    if (board->home_stage < TO_HOME)
        return run_home_stage();
    if (board->home_stage == TO_HOME) {
        if (!axis->phase)
            be_home();
    } else if (homing) {
        begin_next();
    } else {
        return REASON_NONE;
    }
    return HOME_BUSY;
}
