/* What the board is doing: finding home, ready, playing, stopping. Every stop has a reason. */
#include "firmware.h"

#define BEGIN (30UL * TICKS_A_MS) /* from ready to play to time zero: the first records are read meanwhile */
#define STILL BEATS(60)           /* carriages that went back to their start stand still after so long */
#define GATHER BEATS(200)         /* a stream begins so long after its first cues, or when the buffer is half full */
#define BUTTON BEATS(30)
#define TEST_PULSE_MS 60          /* of a coil that has no pulse of its own */
#define SLOW_MS 2000              /* of homing at a rest: its slow part, beside the way there and back */

enum { RETURN, SETTLE_DOWN, RUN, HOME_AGAIN };

static uint32_t zero;
static bool play_after_home;
static uint16_t back_to;          /* where an axis goes back to that was homed at a rest */

static NOINLINE void enter(uint8_t state) {
    board->state = state;
    GPIOR2 = state;
}

static NOINLINE void note_reason(uint8_t reason, uint8_t where) {
    board->reason = reason;
    board->where = where;
    GPIOR1 = reason;
}

static NOINLINE void enter_idle(void) { enter(board->block ? STATE_REFUSED : board->homed ? STATE_READY : STATE_NOT_HOMED); }

static uint32_t player_time(void) { /* ticks since play began */
    int32_t time = now() - zero;
    return time < 0 ? 0 : time;
}

/* ---- stopping ---- */

/* Reasons after which an axis may stand elsewhere than it is believed to. */
static bool loses_home(uint8_t reason) { return reason >= REASON_NOT_HOMED && reason <= REASON_BUSY && reason != REASON_COIL_ON_TOO_LONG; }

static NOINLINE void player_stop(uint8_t reason, uint8_t where) {
    if (board->state >= STATE_STOPPING)
        return;
    queue_clear();
    outputs_off();
    for (axis = axes; axis < &axes[MOST_AXES]; axis++)
        axis_brake();
    guard_confirm(false);
    if (board->state == STATE_HOMING || board->stage == HOME_AGAIN || loses_home(reason))
        board->homed = false;
    board->awaits_cues = false;
    play_after_home = false;
    board->stage = RETURN;
    note_reason(reason, where);
    enter(STATE_STOPPING);
    link_news(NEWS_STOPPED, reason, where);
}

/* ---- playing ---- */

static NOINLINE void begin_play(void) {
    board->late = board->index_missed = board->detent_missed = board->rehomed = home_wanted = 0;
    for (uint8_t number = 0; number != board->axes; number++) {
        axis_select(number);
        if (!is_pick())
            axis_go_to(axis_zero()); /* a roll starts with every carriage at home */
    }
    board->stage = RETURN;
    note_reason(REASON_NONE, 0);
    enter(STATE_PLAYING);
}

static uint8_t play(uint8_t tune) {
    uint8_t refused = roll_find(tune);
    if (refused)
        return refused;
    board->tune = tune;
    roll_open();
    begin_play();
    return REASON_NONE;
}

/* Why something new cannot begin; even before home is found. */
static NOINLINE uint8_t refusal(void) {
    uint8_t state = board->state;
    if (board->block)
        return board->block;
    return state == STATE_PLAYING || state == STATE_HOMING || state == STATE_STOPPING || !axes_rest() ? REASON_BUSY : REASON_NONE;
}

static NOINLINE uint8_t not_ready(void) {
    uint8_t refused = refusal();
    return refused || board->homed ? refused : REASON_NOT_HOMED;
}

static uint8_t player_stream(uint32_t machine_id, uint16_t horizon_ms) {
    uint8_t refused = not_ready();
    if (refused)
        return refused;
    if (machine_id != flash_u32(PAYLOAD))
        return REASON_ROLL_OF_ANOTHER_MACHINE;
    board->tune = 0;
    board->awaits_cues = true;
    stream_open(horizon_ms);
    begin_play();
    return REASON_NONE;
}

static void run(void) {
    zero = now() + BEGIN;
    board->time = zero;
    queue_add(zero, COMMAND_START);
    guard_confirm(true);
    board->stage = RUN;
    link_news(NEWS_PLAYING, REASON_NONE, 0);
}

/* Time enough for the axis to go home, find it slowly and come back before anything is due. */
static bool can_home(void) {
    uint32_t needed;
    if (!is_pick()) { /* there at a quarter of the speed, back at full speed */
        uint16_t away = axis->position - axis_zero();
        needed = 5 * axis_travel((int16_t)away < 0 ? -away : away);
    } else { /* two slow turns and one quick one at most */
        needed = 2UL * axis_u16(AXIS_TURN_STEPS) * axis_u16(AXIS_HOME_TICKS);
    }
    const node_t *next;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { next = board->head; } /* a node that is carried out meanwhile keeps its due time */
    return !axis->phase && (!next || until(next->due) > (int32_t)(needed + (uint32_t)SLOW_MS * TICKS_A_MS));
}

static void begin_home_again(void) {
    for (uint8_t number = 0; number != board->axes; number++) {
        uint8_t mask = bit(number);
        axis_select(number);
        if (home_wanted & mask && can_home()) {
            guard_confirm(false);
            axis_select(number);
            home_wanted ^= mask;
            back_to = axis->position;
            board->stage = HOME_AGAIN;
            home_begin(mask);
            return;
        }
    }
}

/* Homing, at first or at a rest. Returns whether it is done. */
static NOINLINE bool found_home(void) {
    uint8_t result = home_poll();
    if (result != HOME_BUSY && result != REASON_NONE)
        player_stop(result, home_axis);
    return result == REASON_NONE;
}

static NOINLINE void poll_running(void) {
    uint8_t reason = roll_poll(), where = 0;
    if (board->busy) {
        reason = REASON_BUSY;
        where = board->busy - 1;
    } else if (board->ended) {
        reason = REASON_FINISHED;
    }
    if (reason)
        player_stop(reason, where);
}

static void poll_playing(void) {
    switch (board->stage) {
    case RETURN:
        board->since = beat();
        if (axes_rest())
            board->stage = SETTLE_DOWN;
        break;
    case SETTLE_DOWN: {
        uint16_t waited = beats_since(board->since);
        if (waited < STILL)
            break;
        if (!board->awaits_cues || board->stream_fill > STREAM_BYTES / 2 || waited >= STILL + GATHER)
            run();
        else if (!board->stream_fill)
            board->since = beat() - STILL; /* gathering is counted from the first cues */
        break;
    }
    case HOME_AGAIN:
        poll_running();
        if (board->stage == HOME_AGAIN && found_home()) {
            axis_select(home_axis);
            if (!is_pick())
                axis_go_to(back_to);
            board->rehomed++;
            board->stage = RUN;
        }
        break;
    default:
        poll_running();
        if (home_wanted)
            begin_home_again();
        else if (!board->confirming && axes_rest())
            guard_confirm(board->state == STATE_PLAYING); /* back where it was after homing at a rest */
    }
}

/* ---- what a host or a person asks ---- */

static uint8_t jog(int16_t steps) {
    uint16_t position = axis->position, room = axis_range() - position, way = steps;
    if (steps < 0) {
        way = -steps;
        room = position;
    }
    if (way > room)
        return REASON_BEYOND_LIMITS;
    axis_go_to(position + steps);
    return REASON_NONE;
}

static uint8_t pulse(uint8_t coil) {
    if (coil >= block_head(MACHINE_HEAD_COILS))
        return REASON_BEYOND_LIMITS;
    uint32_t pulse = ticks_at(coil_at(coil) + COIL_PULSE_US), due = now() + TICKS_A_MS;
    if (!pulse)
        pulse = TEST_PULSE_MS * (uint32_t)TICKS_A_MS;
    queue_add(due, COMMAND_COIL | COMMAND_ON | coil);
    return queue_add(due + pulse, COMMAND_COIL | coil);
}

/* Carry out a verb of the link; which: tune, axis or coil. Returns 0, or the reason why it is refused. */
static NOINLINE uint8_t player_do(uint8_t verb, uint8_t which, int16_t steps) {
    if (verb == VERB_STOP && !board->block) {
        player_stop(REASON_ASKED, 0);
        return REASON_ASKED;
    }
    uint8_t refused = verb == VERB_HOME ? refusal() : not_ready();
    if (refused)
        return refused;
    if (verb == VERB_HOME) {
        board->homed = false;
        axes_enable(true);
        home_begin(bit(board->axes) - 1);
        enter(STATE_HOMING);
        return REASON_NONE;
    }
    if (verb == VERB_PLAY)
        return play(which);
    if (verb == VERB_PULSE)
        return pulse(which);
    if (verb != VERB_JOG && verb != VERB_TURN)
        return REASON_BAD_RECORD;
    if (which >= board->axes)
        return REASON_BEYOND_LIMITS;
    axis_select(which);
    if (is_pick() != (verb == VERB_TURN))
        return REASON_BEYOND_LIMITS;
    if (verb == VERB_JOG)
        return jog(steps);
    axis_begin(true, axis_u16(AXIS_TURN_STEPS), now());
    return REASON_NONE;
}

/* Plays the next tune, or stops; finds home first where needed. */
static void poll_button(void) {
    static uint16_t up_since;
    static bool taken;
    if (!button.at || !is_pressed(&button)) {
        up_since = beat();
        taken = false;
    } else if (!taken && beats_since(up_since) >= BUTTON) {
        taken = true;
        if (board->state == STATE_PLAYING) {
            player_stop(REASON_ASKED, 0);
        } else if (!board->homed) {
            play_after_home = !player_do(VERB_HOME, 0, 0);
        } else if (player_do(VERB_PLAY, board->tune + 1, 0) == REASON_NO_SUCH_TUNE) {
            player_do(VERB_PLAY, 1, 0);
        }
    }
}

/* ---- */

static void player_start(uint8_t reset_reason) {
    block_open();
    note_reason(board->block ? board->block : reset_reason, 0);
    axes_start();
    outputs_start();
    home_switches();
    axes_enable(false);
    enter_idle();
}

static void player_poll(void) {
    uint8_t state = board->state;
    if (state == STATE_HOMING) {
        if (found_home()) {
            board->homed = true;
            enter_idle();
            link_news(NEWS_HOMED, REASON_NONE, 0);
            if (play_after_home)
                player_do(VERB_PLAY, 1, 0);
            play_after_home = false;
        }
    } else if (state == STATE_PLAYING) {
        poll_playing();
    } else if (state == STATE_STOPPING && axes_rest()) {
        enter_idle();
    }
}
