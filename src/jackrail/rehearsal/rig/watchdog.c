/* The watchdog (section 11.8). Its oscillator is taken as 128 kHz exactly; a real one is off by up to 10 %. */
#include "inside.h"

enum { WDTCSR = 0x60, WDIF = 0x80, WDIE = 0x40, WDCE = 0x10, WDE = 0x08, WDRF = 0x08, CYCLES_PER_TICK = 125 };

static uint64_t timeout(uint8_t control)
{
    int scale = (control & 7) | (control >> 2 & 8);
    return (uint64_t)CYCLES_PER_TICK << (11 + (scale > 9 ? 9 : scale)); /* table 11-2: 2K ticks and up */
}

/* WDRF holds WDE on: after a reset by the watchdog it runs on, at its shortest, until WDRF and then WDE are cleared (11.9.2). */
static uint8_t held_on(const chip *c) { return c->avr->data[MCUSR] & WDRF ? WDE : 0; }

static void rearm(chip *c)
{
    uint8_t control = c->watchdog;
    due_at(c, DUE_WATCHDOG, control & (WDE | WDIE) ? c->watchdog_zero + timeout(control) : CHIP_NEVER);
    want(c, VECTOR_WATCHDOG, (control & WDIF) && (control & WDIE));
}

void watchdog_kick(chip *c)
{
    c->watchdog_zero = c->avr->cycle + 1;
    rearm(c);
}

/* Interrupt first when WDIE is set, else reset. */
void watchdog_due(chip *c, uint64_t now)
{
    c->watchdog_zero = now;
    if (c->watchdog & WDIE) {
        c->watchdog |= WDIF;
        rearm(c);
    } else {
        chip_reset(c, CHIP_WATCHDOG);
    }
}

void watchdog_taken(chip *c)
{
    c->watchdog &= (uint8_t)~(c->watchdog & WDE ? WDIF | WDIE : WDIF);
    rearm(c);
}

static uint8_t read_control(chip *c, int address, uint64_t now)
{
    (void)address;
    return (uint8_t)(c->watchdog | (now < c->watchdog_armed ? WDCE : 0));
}

/* WDE falls and the time changes only within four cycles after WDCE and WDE were written together. */
static void write_control(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address;
    uint8_t flag = c->watchdog & WDIF & (uint8_t)~value;
    int armed = now < c->watchdog_armed;
    if (armed && !(value & WDCE))
        c->watchdog = (uint8_t)(value & ~(WDIF | WDCE));
    else
        c->watchdog = (uint8_t)((c->watchdog & 0x27) | (value & WDIE) | ((c->watchdog | value) & WDE));
    c->watchdog |= flag | held_on(c);
    c->watchdog_armed = (value & (WDCE | WDE)) == (WDCE | WDE) ? now + 5 : 0;
    rearm(c);
}

void watchdog_init(chip *c) { io_hook(c, WDTCSR, read_control, write_control); }

void watchdog_reset(chip *c, uint64_t now)
{
    c->watchdog = held_on(c);
    c->watchdog_armed = 0;
    c->watchdog_zero = now;
    rearm(c);
}
