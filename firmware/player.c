#include "player.h"

#include <avr/io.h>

#include "axis.h"
#include "clock.h"
#include "guard.h"
#include "home.h"
#include "link.h"
#include "output.h"
#include "queue.h"
#include "roll.h"

#define BEGIN (30UL * TICKS_A_MS) /* from ready to play to time zero: the first records are read meanwhile */
#define STILL BEATS(60)           /* carriages that went back to their start stand still after so long */
#define GATHER BEATS(200)         /* a stream begins so long after its first cues, or when the buffer is half full */
#define BUTTON BEATS(30)
#define TEST_PULSE_MS 60          /* of a coil that has no pulse of its own */
#define SLOW_MS 2000              /* of homing at a rest: its slow part, beside the way there and back */

enum stage { RETURN, SETTLE, RUN, HOME_AGAIN };

uint8_t player_state, player_reason, player_where, player_tune, player_rehomed, player_block;
bool player_awaits_cues;
static bool homed;
static enum stage stage;
static uint16_t since;
static uint32_t played_ms, counted_to; /* since time zero; the moment up to which they are counted */
static bool play_after_home;
static uint8_t tunes;             /* in flash, counted once */
static uint8_t home_wanted;       /* axes to be homed again at a rest */
static uint16_t back_to;          /* and where it then goes back to */

static void enter(uint8_t state) {
    player_state = state;
    GPIOR2 = state;
}

static void note_reason(uint8_t reason, uint8_t where) {
    player_reason = reason;
    player_where = where;
    GPIOR1 = reason;
}

static void enter_idle(void) { enter(player_block ? STATE_REFUSED : homed ? STATE_READY : STATE_NOT_HOMED); }

static bool waited(uint16_t beats) { return (uint16_t)(beat() - since) >= beats; }

static bool is_carriage(const axis_t *axis) { return !axis_u8(axis, AXIS_IS_PICK); }

uint32_t player_time_ms(void) { return played_ms; }

/* Ticks go round in 36 minutes, so milliseconds are counted as they pass. */
static void count_time(void) {
    for (; (int32_t)(now() - counted_to) >= TICKS_A_MS; counted_to += TICKS_A_MS)
        played_ms++;
}

/* ---- stopping ---- */

/* Reasons after which every axis still stands where it is believed to. */
static bool keeps_home(uint8_t reason) { return reason <= REASON_STARVED || reason == REASON_COIL_ON_TOO_LONG || reason > REASON_BUSY; }

void player_stop(uint8_t reason, uint8_t where) {
    if (player_state == STATE_STOPPING || player_state == STATE_REFUSED)
        return;
    queue_clear();
    outputs_off();
    for (axis_t *axis = axes; axis < &axes[MOST_AXES]; axis++)
        axis_brake(axis);
    guard_confirm(false);
    homed = homed && keeps_home(reason) && player_state != STATE_HOMING && stage != HOME_AGAIN;
    player_awaits_cues = false;
    play_after_home = false;
    stage = RETURN;
    note_reason(reason, where);
    enter(STATE_STOPPING);
    link_news(NEWS_STOPPED, reason, where);
}

/* ---- playing ---- */

static void begin(void) {
    guard_index_missed = guard_detent_missed = player_rehomed = queue_late = home_wanted = 0;
    for (uint8_t number = 0; number < axis_count; number++)
        if (is_carriage(axis_of(number)))
            axis_go_to(axis_of(number), axis_zero(axis_of(number))); /* a roll starts with every carriage at home */
    stage = RETURN;
    played_ms = 0;
    note_reason(REASON_NONE, 0);
    enter(STATE_PLAYING);
}

static uint8_t play(uint8_t tune) {
    uint16_t payload;
    uint8_t refused = roll_find(tune, &payload);
    if (refused)
        return refused;
    player_tune = tune;
    roll_open(payload);
    begin();
    return REASON_NONE;
}

uint8_t player_busy(void) {
    if (player_block)
        return player_block;
    return player_state == STATE_PLAYING || player_state == STATE_HOMING || player_state == STATE_STOPPING || !axes_rest()
               ? REASON_BUSY
               : REASON_NONE;
}

static uint8_t not_ready(void) {
    uint8_t refused = player_busy();
    return refused || homed ? refused : REASON_NOT_HOMED;
}

uint8_t player_stream(uint32_t machine_id, uint16_t horizon_ms) {
    uint8_t refused = not_ready();
    if (refused)
        return refused;
    if (machine_id != block_machine_id())
        return REASON_ROLL_OF_ANOTHER_MACHINE;
    player_tune = 0;
    player_awaits_cues = true;
    stream_open(horizon_ms);
    begin();
    return REASON_NONE;
}

static void run(void) {
    uint32_t zero = now() + BEGIN;
    counted_to = zero;
    roll_begin(zero);
    queue_add(zero, COMMAND_START, 0, 0);
    guard_confirm(true);
    stage = RUN;
    link_news(NEWS_PLAYING, REASON_NONE, 0);
}

/* Time enough for an axis to go home, find it slowly and come back before anything is due. */
static bool can_home(const axis_t *axis) {
    uint32_t due, needed = (uint32_t)SLOW_MS * TICKS_A_MS;
    if (is_carriage(axis)) { /* there at a quarter of the speed, back at full speed */
        uint16_t away = axis->position - axis_zero(axis);
        needed += 5 * axis_travel(axis, axis->position > axis_zero(axis) ? away : -away);
    } else { /* two slow turns and one quick one at most */
        needed += 2UL * axis_u16(axis, AXIS_TURN_STEPS) * axis_u16(axis, AXIS_HOME_TICKS);
    }
    return axis->phase == AT_REST && (!queue_next(&due) || (int32_t)(due - now() - needed) > 0);
}

static void begin_home_again(void) {
    for (uint8_t number = 0; number < axis_count; number++) {
        axis_t *axis = axis_of(number);
        if (home_wanted & 1 << number && can_home(axis)) {
            guard_confirm(false);
            home_wanted ^= 1 << number;
            back_to = axis->position;
            stage = HOME_AGAIN;
            home_begin(1 << number);
            return;
        }
    }
}

void player_home_later(uint8_t axis) { home_wanted |= 1 << axis; }

/* Homing, at first or at a rest. Returns whether it is done. */
static bool found_home(uint8_t *where) {
    uint8_t result = home_poll(where);
    if (result == HOME_BUSY)
        return false;
    if (result != REASON_NONE)
        player_stop(result, *where);
    return result == REASON_NONE;
}

static void poll_running(void) {
    count_time();
    uint8_t reason = roll_poll();
    if (roll_ended)
        player_awaits_cues = false;
    if (queue_busy_axis)
        player_stop(REASON_BUSY, queue_busy_axis - 1);
    else if (reason)
        player_stop(reason, 0);
    else if (queue_ended)
        player_stop(REASON_FINISHED, 0);
}

static void poll_playing(void) {
    uint8_t where;
    switch (stage) {
    case RETURN:
        since = beat();
        if (axes_rest())
            stage = SETTLE;
        break;
    case SETTLE:
        if (!waited(STILL))
            break;
        if (!player_awaits_cues || stream_room() < STREAM_BYTES / 2 || waited(STILL + GATHER))
            run();
        else if (stream_room() == STREAM_BYTES)
            since = beat() - STILL; /* gathering is counted from the first cues */
        break;
    case HOME_AGAIN:
        poll_running();
        if (stage == HOME_AGAIN && found_home(&where)) {
            axis_t *axis = axis_of(where);
            if (is_carriage(axis))
                axis_go_to(axis, back_to);
            player_rehomed++;
            stage = RUN;
        }
        break;
    case RUN:
        poll_running();
        if (home_wanted)
            begin_home_again();
        else if (!guard_confirming && axes_rest())
            guard_confirm(player_state == STATE_PLAYING); /* back where it was after homing at a rest */
    }
}

/* ---- what a host or a person asks ---- */

static uint8_t jog(uint8_t number, int16_t steps) {
    if (number >= axis_count || !is_carriage(axis_of(number)))
        return REASON_BEYOND_LIMITS;
    axis_t *axis = axis_of(number);
    int32_t target = (int32_t)axis->position + steps;
    if (target < 0 || target > axis_range(axis))
        return REASON_BEYOND_LIMITS;
    axis_go_to(axis, target);
    return REASON_NONE;
}

static uint8_t turn(uint8_t number) {
    if (number >= axis_count || is_carriage(axis_of(number)))
        return REASON_BEYOND_LIMITS;
    axis_begin(axis_of(number), true, axis_u16(axis_of(number), AXIS_TURN_STEPS), now());
    return REASON_NONE;
}

static uint8_t pulse(uint8_t coil) {
    if (coil >= block_head(MACHINE_HEAD_COILS))
        return REASON_BEYOND_LIMITS;
    uint32_t pulse_us = flash_u32(coil_at(coil) + COIL_PULSE_US), due = now() + TICKS_A_MS;
    if (!pulse_us)
        pulse_us = TEST_PULSE_MS * 1000UL;
    queue_add(due, COMMAND_COIL_ON, coil, 0);
    return queue_add(due + pulse_us * TICKS_A_US, COMMAND_COIL_OFF, coil, 0);
}

static uint8_t carry_out(uint8_t verb, uint8_t which, int16_t steps) {
    if (verb == VERB_STOP && !player_block) {
        player_stop(REASON_ASKED, 0);
        return REASON_ASKED;
    }
    uint8_t refused = verb == VERB_HOME ? player_busy() : not_ready();
    if (refused)
        return refused;
    switch (verb) {
    case VERB_HOME:
        homed = false;
        axes_enable(true);
        home_begin((1 << axis_count) - 1);
        enter(STATE_HOMING);
        return REASON_NONE;
    case VERB_PLAY:
        return play(which);
    case VERB_JOG:
        return jog(which, steps);
    case VERB_TURN:
        return turn(which);
    case VERB_PULSE:
        return pulse(which);
    default:
        return REASON_BAD_RECORD;
    }
}

uint8_t player_do(uint8_t verb, uint8_t which, int16_t steps) { return player_reason = carry_out(verb, which, steps); }

/* Plays the next tune, or stops; finds home first where needed. A button that is closed from the start is broken: it must be seen
 * open before it counts. */
static void poll_button(void) {
    static uint16_t up_since;
    static uint8_t asked; /* tune */
    static bool armed;
    if (!home_has_button())
        return;
    if (!home_button()) {
        up_since = beat();
        armed = true;
    } else if (armed && (uint16_t)(beat() - up_since) >= BUTTON) {
        armed = false;
        if (player_state == STATE_PLAYING || player_state == STATE_HOMING) {
            player_stop(REASON_ASKED, 0);
        } else if (homed) {
            asked = asked < tunes ? asked + 1 : 1;
            player_do(VERB_PLAY, asked, 0);
        } else {
            asked = 1;
            play_after_home = !player_do(VERB_HOME, 0, 0);
        }
    }
}

/* ---- */

void player_start(uint8_t reset_reason) {
    player_block = block_open();
    tunes = roll_count();
    note_reason(player_block ? player_block : reset_reason, 0);
    axes_start();
    outputs_start();
    home_switches();
    axes_enable(false);
    enter_idle();
}

void player_poll(void) {
    uint8_t where;
    poll_button();
    guard_poll();
    if (player_state == STATE_HOMING && found_home(&where)) {
        homed = true;
        enter_idle();
        link_news(NEWS_HOMED, REASON_NONE, 0);
        if (play_after_home)
            player_do(VERB_PLAY, 1, 0);
        play_after_home = false;
    } else if (player_state == STATE_PLAYING) {
        poll_playing();
    } else if (player_state == STATE_STOPPING && axes_rest()) {
        enter_idle();
    }
}
