/* Timers 0, 1 and 2 in normal and CTC mode (sections 15, 16, 18). A timer is a count at one cycle and a rate: the count at any
   later cycle, and the cycle of each match to come, follow by arithmetic, so nothing runs between them. */
#include "inside.h"
#include <string.h>

enum { GTCCR = 0x43, TSM = 0x80, PSRASY = 2, PSRSYNC = 1 };
enum { A, B, CAPTURE };
enum { TOV = 1 };

typedef struct {
    uint32_t most;                        /* MAX */
    int control, count, compare[2], mask, flags; /* addresses; control is TCCRnA, TCCRnB is the next */
    int first_vector;                     /* of compare A; compare B and overflow follow */
    int pins[2];
    uint16_t dividers[8];                 /* by CS2:0; 0 stopped, 1 without the prescaler, UNKNOWN: not modelled */
    int prescaler;
} wiring;

enum { UNKNOWN = 0xFFFF };
static const wiring wires[3] = {
    {0xFF, 0x44, 0x46, {0x47, 0x48}, 0x6E, 0x35, 14, {6, 5}, {0, 1, 8, 64, 256, 1024, UNKNOWN, UNKNOWN}, 0},
    {0xFFFF, 0x80, 0x84, {0x88, 0x8A}, 0x6F, 0x36, 11, {9, 10}, {0, 1, 8, 64, 256, 1024, UNKNOWN, UNKNOWN}, 0},
    {0xFF, 0xB0, 0xB2, {0xB3, 0xB4}, 0x70, 0x37, 7, {11, 3}, {0, 1, 8, 32, 64, 128, 256, 1024}, 1},
};
static const uint8_t match_flag[3] = {0x02, 0x04, 0x20};

static int which_of(const chip *c, const timer *t) { return (int)(t - c->timers); }

/* ---- arithmetic of counting */

/* WGM bits: 0 normal, 2 CTC by OCRA; timer 1: 4 CTC by OCRA, 12 CTC by ICR. -1: a mode not modelled. */
static int top_register(const timer *t, int wide)
{
    int mode = (t->control_b >> 1 & (wide ? 12 : 4)) | (t->control_a & 3);
    if (mode == 0)
        return 3;
    if (mode == (wide ? 4 : 2))
        return A;
    return wide && mode == 12 ? CAPTURE : -1;
}

static uint32_t divider_of(const chip *c, const timer *t)
{
    const wiring *w = &wires[which_of(c, t)];
    uint32_t divider = w->dividers[t->control_b & 7];
    int held = c->prescaler_held >> w->prescaler & 1; /* 17.2: TSM stops what the prescaler feeds */
    return divider == UNKNOWN || (held && divider > 1) ? 0 : divider;
}

static uint64_t ticks_between(const chip *c, const timer *t, uint64_t from, uint64_t to)
{
    uint32_t divider = divider_of(c, t);
    uint64_t zero = c->prescaler_zero[wires[which_of(c, t)].prescaler];
    return divider ? (to - zero) / divider - (from - zero) / divider : 0;
}

static uint64_t cycle_of_tick(const chip *c, const timer *t, uint64_t now, uint64_t ticks)
{
    uint32_t divider = divider_of(c, t);
    uint64_t zero = c->prescaler_zero[wires[which_of(c, t)].prescaler];
    return divider ? zero + ((now - zero) / divider + ticks) * divider : CHIP_NEVER;
}

static uint32_t count_at(const chip *c, const timer *t, uint64_t now)
{
    uint64_t ticks = ticks_between(c, t, t->since, now);
    uint32_t most = wires[which_of(c, t)].most;
    if (t->count <= t->top)
        return (uint32_t)((t->count + ticks) % (t->top + 1u));
    if (ticks <= most - t->count) /* the top was moved below the count: on to MAX and round (15.7.2) */
        return t->count + (uint32_t)ticks;
    return (uint32_t)((ticks - (most + 1u - t->count)) % (t->top + 1u));
}

/* Ticks until the count has been at `value` for a whole tick, which is when its flag rises (figures 16-10, 16-11). */
static uint64_t ticks_past(const chip *c, const timer *t, uint32_t count, uint32_t value)
{
    uint32_t most = wires[which_of(c, t)].most;
    if (count > t->top && value >= count)
        return value - count + 1u;
    if (value > t->top)
        return 0;
    if (count > t->top)
        return most + 1u - count + value + 1u;
    return value >= count ? value - count + 1u : t->top + 1u - count + value + 1u;
}

static uint64_t cycle_past(const chip *c, const timer *t, uint64_t now, uint32_t value, int is_compare)
{
    uint64_t ticks = ticks_past(c, t, count_at(c, t, now), value);
    int blocked = is_compare && t->fresh && ticks == 1 && !ticks_between(c, t, t->since, now);
    if (blocked)
        ticks += t->top + 1u;
    return ticks ? cycle_of_tick(c, t, now, ticks) : CHIP_NEVER;
}

/* ---- state that follows from the registers */

static void schedule(chip *c, timer *t, uint64_t now)
{
    int which = which_of(c, t), wide = which == 1;
    uint64_t first;
    t->match[A] = cycle_past(c, t, now, t->compare[A], 1);
    t->match[B] = cycle_past(c, t, now, t->compare[B], 1);
    t->match[CAPTURE] = wide && top_register(t, 1) == CAPTURE ? cycle_past(c, t, now, t->compare[CAPTURE], 1) : CHIP_NEVER;
    first = t->overflow = cycle_past(c, t, now, wires[which].most, 0);
    for (int i = 0; i < 3; i++)
        if (t->match[i] < first)
            first = t->match[i];
    due_at(c, DUE_TIMER0 + which, first);
}

/* Before a change of rate or top: keep the count. */
static void freeze(const chip *c, timer *t, uint64_t now)
{
    if (ticks_between(c, t, t->since, now))
        t->fresh = 0;
    t->count = count_at(c, t, now);
    t->since = now;
}

static void set_top(chip *c, timer *t)
{
    int which = which_of(c, t), by = top_register(t, which == 1);
    t->top = (uint16_t)(by == A || by == CAPTURE ? t->compare[by] : wires[which].most);
    if (by < 0 && t->control_b & 7)
        in_trouble(c, "the rig knows timers in normal and CTC mode only");
    if (wires[which].dividers[t->control_b & 7] == UNKNOWN)
        in_trouble(c, "the rig has no external clock of timers");
}

static void wants(chip *c, const timer *t)
{
    int which = which_of(c, t), first = wires[which].first_vector;
    uint8_t both = t->flags & t->mask;
    want(c, first, both & match_flag[A]);
    want(c, first + 1, both & match_flag[B]);
    want(c, first + 2, both & TOV);
    if (which == 1)
        want(c, first - 1, both & match_flag[CAPTURE]);
}

/* ---- compare pins: COM 0 the port's, 1 toggle, 2 clear, 3 set */

static int com(const timer *t, int channel) { return t->control_a >> (channel == A ? 6 : 4) & 3; }

static void show_wave(chip *c, const timer *t, int channel, uint64_t now)
{
    pin_take(c, wires[which_of(c, t)].pins[channel], com(t, channel) != 0, t->wave >> channel & 1, now);
}

static void act(chip *c, timer *t, int channel, uint64_t now)
{
    int how = com(t, channel);
    if (!how)
        return;
    int level = how == 1 ? !(t->wave >> channel & 1) : how == 3;
    t->wave = (uint8_t)((t->wave & ~(1 << channel)) | level << channel);
    show_wave(c, t, channel, now);
}

void timer_due(chip *c, int which, uint64_t now)
{
    timer *t = &c->timers[which];
    for (int i = 0; i < 3; i++)
        if (t->match[i] == now) {
            t->flags |= match_flag[i];
            if (i != CAPTURE)
                act(c, t, i, now);
        }
    if (t->overflow == now)
        t->flags |= TOV;
    wants(c, t);
    schedule(c, t, now);
}

void timer_taken(chip *c, int vector)
{
    for (int i = 0; i < 3; i++) {
        int place = vector - wires[i].first_vector;
        if (place >= (i == 1 ? -1 : 0) && place < 3) {
            c->timers[i].flags &= (uint8_t)~(place < 0 ? match_flag[CAPTURE] : place == 2 ? TOV : match_flag[place]);
            wants(c, &c->timers[i]);
            return;
        }
    }
}

/* ---- registers; those of 16 bits go through one shared byte (16.3) */

static timer *owner(chip *c, int address)
{
    return &c->timers[address >= 0xB0 || address == 0x70 || address == 0x37 ? 2
                      : address >= 0x80 || address == 0x6F || address == 0x36 ? 1 : 0];
}

static void write_control_a(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    freeze(c, t, now);
    c->avr->data[address] = t->control_a = value;
    set_top(c, t);
    show_wave(c, t, A, now);
    show_wave(c, t, B, now);
    schedule(c, t, now);
}

static void force(chip *c, timer *t, uint8_t value, uint64_t now)
{
    if (value & 0x80)
        act(c, t, A, now);
    if (value & 0x40)
        act(c, t, B, now);
}

static void write_control_b(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    freeze(c, t, now);
    if (which_of(c, t) != 1) {
        force(c, t, value, now);
        value &= 0x3F; /* the strobes read as 0 */
    }
    c->avr->data[address] = t->control_b = value;
    set_top(c, t);
    schedule(c, t, now);
}

static void write_control_c(chip *c, int address, uint8_t value, uint64_t now) { force(c, owner(c, address), value, now); }

static uint8_t read_flags(chip *c, int address, uint64_t now)
{
    (void)now;
    return owner(c, address)->flags;
}

static void write_flags(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    timer *t = owner(c, address);
    t->flags &= (uint8_t)~(by_sbi(c) ? 1 << (c->avr->flash[c->avr->pc] & 7) : value);
    wants(c, t);
}

static void write_mask(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = owner(c, address)->mask = value;
    wants(c, owner(c, address));
}

static void set_count(chip *c, timer *t, uint32_t value, uint64_t now)
{
    t->count = value;
    t->since = now;
    t->fresh = 1;
    schedule(c, t, now);
}

static void set_compare(chip *c, timer *t, int channel, uint16_t value, uint64_t now)
{
    freeze(c, t, now);
    t->compare[channel] = value;
    set_top(c, t);
    schedule(c, t, now);
}

static uint8_t read_count(chip *c, int address, uint64_t now) { return (uint8_t)count_at(c, owner(c, address), now); }

static void write_count(chip *c, int address, uint8_t value, uint64_t now) { set_count(c, owner(c, address), value, now); }

static void write_compare(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    c->avr->data[address] = value;
    set_compare(c, t, address == wires[which_of(c, t)].compare[A] ? A : B, value, now);
}

static uint8_t read_high(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    return (uint8_t)c->timers[1].high;
}

static void write_high(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address, (void)now;
    c->timers[1].high = value;
}

static uint8_t read_wide(chip *c, int address, uint64_t now)
{
    timer *t = &c->timers[1];
    uint32_t value = address == 0x84 ? count_at(c, t, now) : t->compare[CAPTURE];
    t->high = (uint16_t)(value >> 8);
    return (uint8_t)value;
}

static void write_wide(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = &c->timers[1];
    uint16_t whole = (uint16_t)(t->high << 8 | value);
    if (address == 0x84)
        set_count(c, t, whole, now);
    else
        set_compare(c, t, address == 0x88 ? A : address == 0x8A ? B : CAPTURE, whole, now);
}

static uint8_t read_compare_wide(chip *c, int address, uint64_t now)
{
    (void)now;
    uint16_t value = c->timers[1].compare[address >= 0x8A];
    return (uint8_t)(address & 1 ? value >> 8 : value);
}

/* 17.4: a prescaler starts anew; with TSM it is held there until TSM falls. */
static void write_prescalers(chip *c, int address, uint8_t value, uint64_t now)
{
    uint8_t anew = (uint8_t)((value & PSRSYNC ? 1 : 0) | (value & PSRASY ? 2 : 0));
    for (int i = 0; i < 3; i++)
        freeze(c, &c->timers[i], now);
    for (int i = 0; i < 2; i++)
        if ((anew | c->prescaler_held) >> i & 1)
            c->prescaler_zero[i] = now;
    c->prescaler_held = value & TSM ? anew : 0;
    c->avr->data[address] = value & TSM ? value : 0;
    for (int i = 0; i < 3; i++)
        schedule(c, &c->timers[i], now);
}

void timers_init(chip *c)
{
    for (int i = 0; i < 3; i++) {
        const wiring *w = &wires[i];
        io_hook(c, w->control, NULL, write_control_a);
        io_hook(c, w->control + 1, NULL, write_control_b);
        io_hook(c, w->flags, read_flags, write_flags);
        io_hook(c, w->mask, NULL, write_mask);
        if (i == 1)
            continue;
        io_hook(c, w->count, read_count, write_count);
        io_hook(c, w->compare[A], NULL, write_compare);
        io_hook(c, w->compare[B], NULL, write_compare);
    }
    io_hook(c, 0x82, NULL, write_control_c);
    for (int address = 0x84; address < 0x88; address += 2) {
        io_hook(c, address, read_wide, write_wide);
        io_hook(c, address + 1, read_high, write_high);
    }
    for (int address = 0x88; address < 0x8C; address += 2) {
        io_hook(c, address, read_compare_wide, write_wide);
        io_hook(c, address + 1, read_compare_wide, write_high);
    }
    io_hook(c, GTCCR, NULL, write_prescalers);
}

void timers_reset(chip *c, uint64_t now)
{
    memset(c->timers, 0, sizeof c->timers);
    c->prescaler_held = 0;
    for (int i = 0; i < 3; i++) {
        c->timers[i].since = now;
        c->prescaler_zero[i % 2] = now;
        set_top(c, &c->timers[i]);
        schedule(c, &c->timers[i], now);
    }
}
