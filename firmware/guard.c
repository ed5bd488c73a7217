#include "guard.h"

#include "axis.h"
#include "clock.h"
#include "link.h"
#include "output.h"
#include "player.h"

#define LOOK 2           /* beats between two looks at the coils */
#define SLACK 2          /* beats: a coil that is switched off in time is never caught by a late look */
#define MOST_MISSED 3    /* in a row: then it is no slip that homing again could mend */
#define SETTLE BEATS(8)  /* after a move ends its switch may bounce so long before it counts as missed */

uint8_t guard_index_missed, guard_detent_missed;
bool guard_confirming;

/* ---- coils: heat grows by (100 - duty) a beat on and falls by duty a beat off ---- */

static __uint24 heat[MOST_COILS];
static uint8_t looked_at;

static void look_at_coil(uint8_t coil) {
    __uint24 warmth = heat[coil];
    bool on = output_is_on(coil);
    if (!on && !warmth)
        return;
    uint16_t at = coil_at(coil);
    uint8_t duty = flash_u8(at + COIL_MAX_DUTY), rest = 100 - duty;
    if (on) {
        warmth += (uint16_t)rest * LOOK;
        uint16_t limit = flash_u16(at + COIL_MAX_ON_MS);
        limit -= limit >> 6; /* from milliseconds to beats, near enough: 1/64 and 1/128 less */
        limit -= limit >> 7;
        if (warmth > (__uint24)(limit + SLACK) * rest)
            player_stop(REASON_COIL_ON_TOO_LONG, coil);
    } else {
        uint16_t cooled = duty * LOOK;
        warmth = warmth > cooled ? warmth - cooled : 0;
    }
    heat[coil] = warmth;
}

/* ---- moves: the confirming switch must open during a move and be closed after it ---- */

enum { PENDING = 1, OPENED = 2, ENDED = 4 }; /* what is known of the watched move, in axis->known; 0: it is judged */

static void judge(axis_t *axis, uint8_t number) {
    bool right = axis->closed && axis->known & OPENED;
    axis->known = 0;
    axis->missed = right ? 0 : axis->missed + 1;
    if (right)
        return;
    bool is_pick = axis_u8(axis, AXIS_IS_PICK);
    uint8_t *missed = is_pick ? &guard_index_missed : &guard_detent_missed;
    if (*missed < 255)
        ++*missed;
    link_news(is_pick ? NEWS_INDEX_MISSED : NEWS_DETENT_MISSED, REASON_NONE, number);
    uint8_t policy = block_head(MACHINE_HEAD_POLICY);
    if (policy == POLICY_STOP || (policy == POLICY_HOME_AGAIN && axis->missed >= MOST_MISSED))
        player_stop(is_pick ? REASON_INDEX_MISSED : REASON_DETENT_MISSED, number);
    else if (policy == POLICY_HOME_AGAIN)
        player_home_later(number);
}

static void watch(axis_t *axis, uint8_t number) {
    if (axis->moves != axis->watched) { /* a new move has begun */
        if (axis->known)
            judge(axis, number);
        axis->watched = axis->moves;
        axis->known = PENDING;
    }
    if (!axis->known)
        return;
    bool pressed = is_pressed(&axis->confirm);
    if (axis->phase != AT_REST) {
        if (!pressed)
            axis->known |= OPENED;
        return;
    }
    if (pressed)
        axis->closed = true;
    if (!(axis->known & ENDED)) {
        axis->known |= ENDED;
        axis->ended = beat();
    } else if ((uint16_t)(beat() - axis->ended) > SETTLE) {
        judge(axis, number);
    }
}

void guard_confirm(bool on) {
    guard_confirming = on;
    for (axis_t *axis = axes; axis < &axes[MOST_AXES]; axis++) {
        axis->watched = axis->moves;
        axis->known = 0;
        axis->missed = 0;
    }
}

void guard_poll(void) {
    if (guard_confirming)
        for (uint8_t number = 0; number < axis_count; number++)
            if (axis_of(number)->confirm.at)
                watch(axis_of(number), number);
    while ((uint8_t)((uint8_t)beat() - looked_at) >= LOOK) {
        looked_at += LOOK;
        for (uint8_t coil = 0; coil < block_head(MACHINE_HEAD_COILS); coil++)
            look_at_coil(coil);
    }
}
