/* The arithmetic of counting. */
#include "inside.h"

/* WGM bits: 0 normal, 2 CTC by OCRnA; timer 1: 4 CTC by OCR1A, 12 CTC by ICR1 (tables 15-8, 16-4, 18-8). */
int timer_top_by(const timer *t)
{
    int wide = t->number == 1;
    int mode = (t->control_b >> 1 & (wide ? 12 : 4)) | (t->control_a & 3);
    if (mode == 0)
        return MATCHES;
    if (mode == (wide ? 4 : 2))
        return MATCH_A;
    return wide && mode == 12 ? MATCH_ICR : -1;
}

static uint32_t divider_of(const chip *c, const timer *t)
{
    uint32_t divider = t->wires->dividers[t->control_b & 7];
    int held = c->prescaler_held >> t->wires->prescaler & 1; /* 17.4.1: TSM stops what the prescaler feeds */
    return divider == UNKNOWN_CLOCK || (held && divider > 1) ? 0 : divider;
}

static uint64_t ticks_between(const chip *c, const timer *t, uint64_t from, uint64_t to)
{
    uint32_t divider = divider_of(c, t);
    uint64_t zero = c->prescaler_zero[t->wires->prescaler];
    return divider ? (to - zero) / divider - (from - zero) / divider : 0;
}

static uint64_t cycle_of_tick(const chip *c, const timer *t, uint64_t now, uint64_t ticks)
{
    uint32_t divider = divider_of(c, t);
    uint64_t zero = c->prescaler_zero[t->wires->prescaler];
    return divider ? zero + ((now - zero) / divider + ticks) * divider : CHIP_NEVER;
}

uint32_t timer_count(const chip *c, const timer *t, uint64_t now)
{
    uint64_t ticks = ticks_between(c, t, t->since, now);
    uint32_t most = t->wires->most;
    if (t->count <= t->top)
        return (uint32_t)((t->count + ticks) % (t->top + 1u));
    if (ticks <= most - t->count) /* the top was moved below the count: on to MAX and round (16.9.2) */
        return t->count + (uint32_t)ticks;
    return (uint32_t)((ticks - (most + 1u - t->count)) % (t->top + 1u));
}

/* Ticks until the count has been at `value` for a whole tick, which is when its flag rises (figures 16-10, 16-11); 0 never. */
static uint64_t ticks_past(const timer *t, uint32_t count, uint32_t value)
{
    uint32_t most = t->wires->most;
    if (count > t->top && value >= count)
        return value - count + 1u;
    if (value > t->top)
        return 0;
    if (count > t->top)
        return most + 1u - count + value + 1u;
    return value >= count ? value - count + 1u : t->top + 1u - count + value + 1u;
}

uint64_t timer_cycle_past(const chip *c, const timer *t, uint64_t now, uint32_t value, int is_match)
{
    uint64_t ticks = ticks_past(t, timer_count(c, t, now), value);
    int blocked = is_match && t->fresh && ticks == 1 && !ticks_between(c, t, t->since, now);
    if (blocked)
        ticks += t->top + 1u;
    return ticks ? cycle_of_tick(c, t, now, ticks) : CHIP_NEVER;
}

void timer_freeze(const chip *c, timer *t, uint64_t now)
{
    if (ticks_between(c, t, t->since, now))
        t->fresh = 0;
    t->count = timer_count(c, t, now);
    t->since = now;
}
