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

/* How many bits slower than the clock it counts, -1 when it stands. All prescalers divide by powers of two. */
static int shift_of(const chip *c, const timer *t)
{
    int shift = t->wires->shifts[t->control_b & 7];
    int held = c->prescaler_held >> t->wires->prescaler & 1; /* 17.4.1: TSM stops what the prescaler feeds */
    return shift >= STOPPED || (held && shift) ? -1 : shift;
}

static uint64_t ticks_between(const chip *c, const timer *t, uint64_t from, uint64_t to)
{
    int shift = shift_of(c, t);
    uint64_t zero = c->prescaler_zero[t->wires->prescaler];
    return shift < 0 ? 0 : ((to - zero) >> shift) - ((from - zero) >> shift);
}

static uint64_t cycle_of_tick(const chip *c, const timer *t, uint64_t now, uint64_t ticks)
{
    int shift = shift_of(c, t);
    uint64_t zero = c->prescaler_zero[t->wires->prescaler];
    return shift < 0 ? CHIP_NEVER : zero + ((((now - zero) >> shift) + ticks) << shift);
}

uint32_t timer_count(const chip *c, const timer *t, uint64_t now)
{
    uint64_t ticks = ticks_between(c, t, t->since, now);
    uint32_t most = t->wires->most;
    if (t->count + ticks <= t->top)
        return t->count + (uint32_t)ticks;
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

uint64_t timer_cycle_past(const chip *c, const timer *t, uint64_t now, uint32_t count, uint32_t value, int is_match)
{
    uint64_t ticks = ticks_past(t, count, value);
    if (is_match && t->fresh && ticks == 1 && !ticks_between(c, t, t->since, now))
        ticks += t->top + 1u; /* blocked */
    return ticks ? cycle_of_tick(c, t, now, ticks) : CHIP_NEVER;
}

void timer_freeze(const chip *c, timer *t, uint64_t now)
{
    if (ticks_between(c, t, t->since, now))
        t->fresh = 0;
    t->count = timer_count(c, t, now);
    t->since = now;
}
