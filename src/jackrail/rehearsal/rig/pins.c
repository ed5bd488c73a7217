/* Ports B, C and D: what the chip puts out, told to the log and the observer as it changes, and what it sees. */
#include "inside.h"
#include <string.h>

enum { PUD = 0x10 };
static const int first_pin[PORTS] = {8, 14, 0};
static const uint8_t real_pins[PORTS] = {0x3F, 0x3F, 0xFF}; /* PB6, PB7 carry the crystal, PC6 is reset */

static int port_of(int pin) { return pin < 8 ? PORT_D : pin < 14 ? PORT_B : PORT_C; }

static uint8_t outputs(const port *p) { return p->direction | p->forced; }

static uint8_t levels(const port *p) { return (uint8_t)((p->data & ~p->taken) | (p->wave & p->taken)); }

void pin_tell(chip *c, int pin, int level, uint64_t now)
{
    *(chip_edge *)list_add(&c->edges, sizeof(chip_edge)) = (chip_edge){now, pin, level};
    if (c->observer)
        c->observer(c->observer_context, pin, level, now);
    if (level == 1 && pin == c->spi.latch_pin)
        shift_latch(c, now);
    if (level == 1 && pin == 13)
        shift_clock(c);
}

/* 14.2.4: the synchroniser shows a change one cycle late, so the level before it is kept. A let go input follows its pull-up. */
static void see(chip *c, int which, uint64_t now)
{
    port *p = &c->ports[which];
    uint8_t out = outputs(p);
    uint8_t pulled = c->avr->data[MCUCR] & PUD ? 0 : p->data;
    uint8_t world = (uint8_t)((p->outside & p->driven) | (pulled & ~p->driven));
    uint8_t input = (uint8_t)(((levels(p) & out) | (world & ~out)) & real_pins[which]);
    uint8_t changed = input ^ p->input;
    if (!changed)
        return;
    p->input_before = p->input;
    p->input = input;
    p->changed = now;
    external_changed(c, which, changed);
}

void pins_show(chip *c, int which, uint64_t now)
{
    port *p = &c->ports[which];
    uint8_t out = outputs(p), level = levels(p);
    uint8_t changed = ((out ^ p->shown_out) | ((level ^ p->shown) & out)) & real_pins[which];
    p->shown_out = out;
    p->shown = level;
    see(c, which, now);
    for (int bit = 0; changed; bit++, changed >>= 1)
        if (changed & 1)
            pin_tell(c, first_pin[which] + bit, out >> bit & 1 ? level >> bit & 1 : 2, now);
}

/* A peripheral takes a pin at a level (-1: the one it has), or gives it back to the port; TXD alone needs no DDR bit. */
void pin_take(chip *c, int pin, int taken, int level, uint64_t now)
{
    int which = port_of(pin);
    port *p = &c->ports[which];
    uint8_t bit = (uint8_t)(1 << (pin - first_pin[which]));
    p->taken = taken ? p->taken | bit : p->taken & (uint8_t)~bit;
    if (level >= 0)
        p->wave = level ? p->wave | bit : p->wave & (uint8_t)~bit;
    if (pin == 1)
        p->forced = p->taken & bit;
    pins_show(c, which, now);
}

/* ---- PINx, DDRx, PORTx */

static port *owner(chip *c, int address) { return &c->ports[(address - 0x23) / 3]; }

static uint8_t read_pin(chip *c, int address, uint64_t now)
{
    const port *p = owner(c, address);
    return p->changed >= now ? p->input_before : p->input;
}

static void write_pin(chip *c, int address, uint8_t value, uint64_t now)
{
    port *p = owner(c, address);
    p->data ^= written_ones(c, value); /* 14.2.2: writing ones toggles PORTx */
    c->avr->data[address + 2] = p->data;
    pins_show(c, (address - 0x23) / 3, now);
}

static void write_direction(chip *c, int address, uint8_t value, uint64_t now)
{
    c->avr->data[address] = owner(c, address)->direction = value;
    pins_show(c, (address - 0x23) / 3, now);
}

static void write_data(chip *c, int address, uint8_t value, uint64_t now)
{
    c->avr->data[address] = owner(c, address)->data = value;
    pins_show(c, (address - 0x23) / 3, now);
}

static void write_mcucr(chip *c, int address, uint8_t value, uint64_t now)
{
    c->avr->data[address] = value;
    for (int i = 0; i < PORTS; i++)
        see(c, i, now);
}

void pins_init(chip *c)
{
    for (int i = 0; i < PORTS; i++) {
        io_hook(c, 0x23 + 3 * i, read_pin, write_pin);
        io_hook(c, 0x24 + 3 * i, NULL, write_direction);
        io_hook(c, 0x25 + 3 * i, NULL, write_data);
    }
    io_hook(c, MCUCR, NULL, write_mcucr);
}

void pins_reset(chip *c, uint64_t now)
{
    for (int i = 0; i < PORTS; i++) {
        port *p = &c->ports[i];
        p->direction = p->data = p->taken = p->forced = p->wave = 0;
        pins_show(c, i, now);
    }
}

/* ---- the world's side */

void chip_drive(chip *c, int pin, int level)
{
    int which = port_of(pin);
    port *p = &c->ports[which];
    uint8_t bit = (uint8_t)(1 << (pin - first_pin[which]));
    p->driven = level >= 0 ? p->driven | bit : p->driven & (uint8_t)~bit;
    p->outside = level == 1 ? p->outside | bit : p->outside & (uint8_t)~bit;
    *(chip_edge *)list_add(&c->inputs, sizeof(chip_edge)) = (chip_edge){c->now, pin, level < 0 ? 2 : level};
    see(c, which, c->now);
}

/* Drives to come stand in the order of their cycles; those of one cycle in the order they were asked for. */
void chip_drive_at(chip *c, int pin, int level, uint64_t cycle)
{
    list_add(&c->drives, sizeof(chip_edge));
    chip_edge *all = c->drives.items;
    uint64_t at = c->drives.count - 1;
    for (; at > c->next_drive && all[at - 1].cycle > cycle; at--)
        all[at] = all[at - 1];
    all[at] = (chip_edge){cycle, pin, level};
    due_at(c, DUE_DRIVE, all[c->next_drive].cycle);
}

void pins_drive_due(chip *c, uint64_t now)
{
    chip_edge *all = c->drives.items;
    while (c->next_drive < c->drives.count && all[c->next_drive].cycle <= now) {
        chip_drive(c, all[c->next_drive].pin, all[c->next_drive].level);
        c->next_drive++;
    }
    due_at(c, DUE_DRIVE, c->next_drive < c->drives.count ? all[c->next_drive].cycle : CHIP_NEVER);
}

int chip_level(const chip *c, int pin)
{
    if (pin >= 32)
        return c->spi.known ? (int)(c->spi.outputs >> (pin - 32) & 1) : 2;
    int which = port_of(pin), bit = pin - first_pin[which];
    const port *p = &c->ports[which];
    return p->shown_out >> bit & 1 ? p->shown >> bit & 1 : 2;
}

void chip_observe(chip *c, chip_observer observer, void *context)
{
    c->observer = observer;
    c->observer_context = context;
}
