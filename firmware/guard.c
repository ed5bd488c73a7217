/* What watches over the instrument, whatever the host says: coils on too long, picks and stops that were not confirmed. */
#include "firmware.h"

#define LOOK 2           /* beats between two looks at the coils */
#define SLACK 2          /* looks: a coil that is switched off in time is never caught by a late look */
#define MOST_MISSED 3    /* in a row: then it is no slip that homing again could mend */
#define SETTLE BEATS(8)  /* after a move ends its switch may bounce so long before it counts as missed */

static uint8_t home_wanted;  /* axes to be homed again at the next rest that is long enough: a bit each */

/* ---- coils: heat grows by (100 - duty) a look on and falls by duty a look off ---- */

static __uint24 heat[MOST_COILS];
static uint8_t looked_at;

static void look_at_coil(uint8_t coil) {
    __uint24 *at = &heat[coil], warmth = *at;
    uint16_t record = coil_at(coil);
    uint8_t duty = flash_u8(record + COIL_MAX_DUTY);
    if (output_is_on(coil)) {
        uint8_t rest = 100 - duty;
        uint16_t looks = (uint16_t)((__uint24)flash_u16(record + COIL_MAX_ON_MS) * 125 >> 8) + SLACK;
        warmth += rest;
        if (warmth > (__uint24)looks * rest)
            player_stop(REASON_COIL_ON_TOO_LONG, coil);
    } else {
        warmth = warmth > duty ? warmth - duty : 0;
    }
    *at = warmth;
}

/* ---- moves: the confirming switch must open during a move and be closed after it ---- */

enum { JUDGED, PENDING, OPENED }; /* what is known of the watched move */

static NOINLINE void judge(uint8_t number) {
    bool right = axis->closed && axis->known == OPENED;
    axis->known = JUDGED;
    if (right) {
        axis->missed = 0;
        return;
    }
    uint8_t pick = is_pick(), policy = block_head(MACHINE_HEAD_POLICY);
    uint8_t *missed = pick ? &board->index_missed : &board->detent_missed;
    if (*missed < 255)
        ++*missed;
    link_news(NEWS_DETENT_MISSED - pick, REASON_NONE, number);
    if (policy != POLICY_GO_ON) {
        if (policy == POLICY_STOP || ++axis->missed >= MOST_MISSED)
            player_stop(REASON_DETENT_MISSED - pick, number);
        else
            home_wanted |= bit(number);
    }
}

static void watch(uint8_t number) {
    if (axis->moves != axis->watched) { /* a new move has begun */
        if (axis->known)
            judge(number);
        axis->watched = axis->moves;
        axis->known = PENDING;
        axis->ended = beat();
    }
    if (!axis->known)
        return;
    bool pressed = is_pressed(&axis->confirm);
    if (axis->phase) {
        axis->ended = beat();
        if (!pressed)
            axis->known = OPENED;
    } else {
        if (pressed)
            axis->closed = true;
        if (beats_since(axis->ended) > SETTLE)
            judge(number);
    }
}

/* Whether moves are to be confirmed by their switches from now on. */
static NOINLINE void guard_confirm(bool on) {
    board->confirming = on;
    for (axis = axes; axis < &axes[MOST_AXES]; axis++) {
        axis->watched = axis->moves;
        axis->known = JUDGED;
        axis->missed = 0;
    }
}

static void guard_poll(void) {
    for (uint8_t number = 0; number != board->axes; number++) {
        axis_select(number);
        if (board->confirming && axis->confirm.at)
            watch(number);
    }
    if ((uint8_t)((uint8_t)beat() - looked_at) < LOOK)
        return;
    looked_at += LOOK;
    for (uint8_t coil = block_head(MACHINE_HEAD_COILS); coil--;)
        look_at_coil(coil);
}
