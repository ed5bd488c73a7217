/* Registers of the timers. */
#include "inside.h"

enum { GTCCR = 0x43, TSM = 0x80, PSRASY = 2, PSRSYNC = 1, TCCR1C = 0x82, TCNT1L = 0x84, ICR1L = 0x86, OCR1AL = 0x88, OCR1BL = 0x8A };

static timer *owner(chip *c, int address)
{
    int two = address >= 0xB0 || address == 0x70 || address == 0x37;
    int one = address >= 0x80 || address == 0x6F || address == 0x36;
    return &c->timers[two ? 2 : one ? 1 : 0];
}

/* ---- control */

static void write_control_a(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    timer_freeze(c, t, now);
    c->avr->data[address] = t->control_a = value;
    timer_set_top(c, t);
    timer_show(c, t, MATCH_A, now);
    timer_show(c, t, MATCH_B, now);
    timer_schedule(c, t, now);
}

/* FOC strobes act by COM as it stands and read as 0 (16.11.3). */
static void force(chip *c, timer *t, uint8_t value, uint64_t now)
{
    if (value & 0x80)
        timer_strike(c, t, MATCH_A, now);
    if (value & 0x40)
        timer_strike(c, t, MATCH_B, now);
}

static void write_control_b(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    timer_freeze(c, t, now);
    if (t->number != 1) {
        force(c, t, value, now);
        value &= 0x3F;
    }
    c->avr->data[address] = t->control_b = value;
    timer_set_top(c, t);
    timer_schedule(c, t, now);
}

static void write_control_c(chip *c, int address, uint8_t value, uint64_t now) { force(c, owner(c, address), value, now); }

/* 17.4.1: a prescaler starts anew; with TSM it is held there until TSM falls. */
static void write_prescalers(chip *c, int address, uint8_t value, uint64_t now)
{
    uint8_t anew = (uint8_t)((value & PSRSYNC ? 1 : 0) | (value & PSRASY ? 2 : 0));
    for (int i = 0; i < 3; i++)
        timer_freeze(c, &c->timers[i], now);
    for (int i = 0; i < 2; i++)
        if ((anew | c->prescaler_held) >> i & 1)
            c->prescaler_zero[i] = now;
    c->prescaler_held = value & TSM ? anew : 0;
    c->avr->data[address] = value & TSM ? value : 0;
    for (int i = 0; i < 3; i++)
        timer_schedule(c, &c->timers[i], now);
}

/* ---- flags and interrupts */

static uint8_t read_flags(chip *c, int address, uint64_t now)
{
    (void)now;
    return owner(c, address)->flags;
}

static void write_flags(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    timer *t = owner(c, address);
    t->flags &= (uint8_t)~written_ones(c, value);
    timer_wants(c, t);
}

static void write_mask(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = owner(c, address)->mask = value;
    timer_wants(c, owner(c, address));
}

/* ---- count and compare */

static void set_count(chip *c, timer *t, uint32_t value, uint64_t now)
{
    t->count = value;
    t->since = now;
    t->fresh = 1;
    timer_schedule(c, t, now);
}

static void set_compare(chip *c, timer *t, int channel, uint16_t value, uint64_t now)
{
    timer_freeze(c, t, now);
    t->compare[channel] = value;
    timer_set_top(c, t);
    timer_schedule(c, t, now);
}

static uint8_t read_count(chip *c, int address, uint64_t now) { return (uint8_t)timer_count(c, owner(c, address), now); }

static void write_count(chip *c, int address, uint8_t value, uint64_t now) { set_count(c, owner(c, address), value, now); }

static void write_compare(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = owner(c, address);
    c->avr->data[address] = value;
    set_compare(c, t, address == t->wires->compare_a ? MATCH_A : MATCH_B, value, now);
}

/* ---- those of 16 bits go through one shared byte (16.3); reading OCR1x needs it not */

static uint8_t read_high(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    return c->timers[1].high;
}

static void write_high(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address, (void)now;
    c->timers[1].high = value;
}

static uint8_t read_low(chip *c, int address, uint64_t now)
{
    timer *t = &c->timers[1];
    uint32_t value = address == TCNT1L ? timer_count(c, t, now) : t->compare[MATCH_ICR];
    t->high = (uint8_t)(value >> 8);
    return (uint8_t)value;
}

static void write_low(chip *c, int address, uint8_t value, uint64_t now)
{
    timer *t = &c->timers[1];
    uint16_t whole = (uint16_t)(t->high << 8 | value);
    if (address == TCNT1L)
        set_count(c, t, whole, now);
    else
        set_compare(c, t, address == OCR1AL ? MATCH_A : address == OCR1BL ? MATCH_B : MATCH_ICR, whole, now);
}

static uint8_t read_compare(chip *c, int address, uint64_t now)
{
    (void)now;
    uint16_t value = c->timers[1].compare[address < OCR1BL ? MATCH_A : MATCH_B];
    return (uint8_t)(address & 1 ? value >> 8 : value);
}

void timer_registers_init(chip *c)
{
    for (int i = 0; i < 3; i++) {
        const timer_wiring *w = c->timers[i].wires;
        io_hook(c, w->control_a, NULL, write_control_a);
        io_hook(c, w->control_a + 1, NULL, write_control_b);
        io_hook(c, w->flags, read_flags, write_flags);
        io_hook(c, w->mask, NULL, write_mask);
        if (i == 1)
            continue;
        io_hook(c, w->count, read_count, write_count);
        io_hook(c, w->compare_a, NULL, write_compare);
        io_hook(c, w->compare_b, NULL, write_compare);
    }
    io_hook(c, TCCR1C, NULL, write_control_c);
    for (int low = TCNT1L; low <= ICR1L; low += 2) {
        io_hook(c, low, read_low, write_low);
        io_hook(c, low + 1, read_high, write_high);
    }
    for (int low = OCR1AL; low <= OCR1BL; low += 2) {
        io_hook(c, low, read_compare, write_low);
        io_hook(c, low + 1, read_compare, write_high);
    }
    io_hook(c, GTCCR, NULL, write_prescalers);
}
