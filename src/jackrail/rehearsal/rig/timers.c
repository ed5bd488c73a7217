/* What timers do: matches and overflows at their cycle, flags, interrupts, compare pins. */
#include "inside.h"
#include <string.h>

enum { TOV = 1 };
static const uint8_t match_flag[MATCHES] = {0x02, 0x04, 0x20};
static const timer_wiring all_wires[3] = {
    {0xFF, 0x44, 0x46, 0x47, 0x48, 0x6E, 0x35, 14, {6, 5}, {STOPPED, 0, 3, 6, 8, 10, UNKNOWN_CLOCK, UNKNOWN_CLOCK}, 0},
    {0xFFFF, 0x80, 0x84, 0x88, 0x8A, 0x6F, 0x36, 11, {9, 10}, {STOPPED, 0, 3, 6, 8, 10, UNKNOWN_CLOCK, UNKNOWN_CLOCK}, 0},
    {0xFF, 0xB0, 0xB2, 0xB3, 0xB4, 0x70, 0x37, 7, {11, 3}, {STOPPED, 0, 3, 5, 6, 7, 8, 10}, 1},
};

void timer_schedule(chip *c, timer *t, uint64_t now)
{
    uint32_t count = timer_count(c, t, now);
    t->match[MATCH_A] = timer_cycle_past(c, t, now, count, t->compare[MATCH_A], 1);
    t->match[MATCH_B] = timer_cycle_past(c, t, now, count, t->compare[MATCH_B], 1);
    t->match[MATCH_ICR] = timer_top_by(t) == MATCH_ICR ? timer_cycle_past(c, t, now, count, t->compare[MATCH_ICR], 1) : CHIP_NEVER;
    uint64_t first = t->overflow = timer_cycle_past(c, t, now, count, t->wires->most, 0);
    for (int i = 0; i < MATCHES; i++)
        if (t->match[i] < first)
            first = t->match[i];
    due_at(c, DUE_TIMER0 + t->number, first);
}

void timer_set_top(chip *c, timer *t)
{
    int by = timer_top_by(t), clock = t->control_b & 7;
    t->top = (uint16_t)(by == MATCH_A || by == MATCH_ICR ? t->compare[by] : t->wires->most);
    if (by < 0 && clock)
        in_trouble(c, "the rig knows timers in normal and CTC mode only");
    if (t->wires->shifts[clock] == UNKNOWN_CLOCK)
        in_trouble(c, "the rig has no external clock of timers");
}

void timer_wants(chip *c, const timer *t)
{
    int first = t->wires->first_vector;
    uint8_t both = t->flags & t->mask;
    want(c, first, both & match_flag[MATCH_A]);
    want(c, first + 1, both & match_flag[MATCH_B]);
    want(c, first + 2, both & TOV);
    if (t->number == 1)
        want(c, first - 1, both & match_flag[MATCH_ICR]);
}

void timer_taken(chip *c, int vector)
{
    timer *t = &c->timers[vector < 10 ? 2 : vector < 14 ? 1 : 0];
    int place = vector - t->wires->first_vector;
    t->flags &= (uint8_t)~(place < 0 ? match_flag[MATCH_ICR] : place == 2 ? TOV : match_flag[place]);
    timer_wants(c, t);
}

/* ---- compare pins, by COM (tables 15-2, 16-1, 18-2): 0 the port's, 1 toggle, 2 clear, 3 set */

static int com(const timer *t, int channel) { return t->control_a >> (channel == MATCH_A ? 6 : 4) & 3; }

void timer_show(chip *c, const timer *t, int channel, uint64_t now)
{
    pin_take(c, t->wires->pins[channel], com(t, channel) != 0, t->wave >> channel & 1, now);
}

void timer_strike(chip *c, timer *t, int channel, uint64_t now)
{
    int how = com(t, channel);
    if (!how)
        return;
    int level = how == 1 ? !(t->wave >> channel & 1) : how == 3;
    t->wave = (uint8_t)((t->wave & ~(1 << channel)) | level << channel);
    timer_show(c, t, channel, now);
}

void timer_due(chip *c, int number, uint64_t now)
{
    timer *t = &c->timers[number];
    for (int i = 0; i < MATCHES; i++)
        if (t->match[i] == now) {
            t->flags |= match_flag[i];
            if (i != MATCH_ICR)
                timer_strike(c, t, i, now);
        }
    if (t->overflow == now)
        t->flags |= TOV;
    timer_wants(c, t);
    timer_schedule(c, t, now);
}

void timers_reset(chip *c, uint64_t now)
{
    memset(c->timers, 0, sizeof c->timers);
    c->prescaler_held = 0;
    for (int i = 0; i < 2; i++)
        c->prescaler_zero[i] = now;
    for (int i = 0; i < 3; i++) {
        timer *t = &c->timers[i];
        t->wires = &all_wires[i];
        t->number = i;
        t->since = now;
        timer_set_top(c, t);
        timer_schedule(c, t, now);
    }
}

void timers_init(chip *c)
{
    timers_reset(c, 0);
    timer_registers_init(c);
}
