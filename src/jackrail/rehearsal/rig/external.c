/* External interrupts INT0, INT1 and the pin change interrupts (section 13). */
#include "inside.h"
#include <string.h>

enum { EICRA = 0x69, EIMSK = 0x3D, EIFR = 0x3C, PCICR = 0x68, PCIFR = 0x3B, PCMSK0 = 0x6B };

static void wants(chip *c)
{
    for (int i = 0; i < 2; i++)
        want(c, 1 + i, c->edge_flags & c->edge_mask & 1 << i);
    for (int i = 0; i < 3; i++)
        want(c, 3 + i, c->pin_flags & c->pin_control & 1 << i);
}

/* 13.2.1: 1 any change, 2 falling, 3 rising; 0, the low level, is not modelled. INT0 is PD2, INT1 is PD3. */
static int is_edge(const chip *c, int which, int level)
{
    int sense = c->edge_control >> (2 * which) & 3;
    return sense == 1 || sense == (level ? 3 : 2);
}

void external_changed(chip *c, int which, uint8_t changed)
{
    if (changed & c->pin_masks[which])
        c->pin_flags |= (uint8_t)(1 << which);
    for (int i = 0; i < 2 && which == PORT_D; i++)
        if (changed >> (2 + i) & 1 && is_edge(c, i, c->ports[PORT_D].input >> (2 + i) & 1))
            c->edge_flags |= (uint8_t)(1 << i);
    wants(c);
}

void external_taken(chip *c, int vector)
{
    if (vector < 3)
        c->edge_flags &= (uint8_t)~(1 << (vector - 1));
    else
        c->pin_flags &= (uint8_t)~(1 << (vector - 3));
    wants(c);
}

static uint8_t read_flags(chip *c, int address, uint64_t now)
{
    (void)now;
    return address == EIFR ? c->edge_flags : c->pin_flags;
}

static void write_flags(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    *(address == EIFR ? &c->edge_flags : &c->pin_flags) &= (uint8_t)~written_ones(c, value);
    wants(c);
}

static void write_control(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = value;
    *(address == EICRA ? &c->edge_control : address == EIMSK ? &c->edge_mask : &c->pin_control) = value;
    for (int i = 0; i < 2; i++)
        if (c->edge_mask >> i & 1 && !(c->edge_control >> (2 * i) & 3))
            in_trouble(c, "the rig has no level-triggered INT0 and INT1");
    wants(c);
}

static void write_mask(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = c->pin_masks[address - PCMSK0] = value;
}

void external_init(chip *c)
{
    io_hook(c, EIFR, read_flags, write_flags);
    io_hook(c, PCIFR, read_flags, write_flags);
    io_hook(c, EICRA, NULL, write_control);
    io_hook(c, EIMSK, NULL, write_control);
    io_hook(c, PCICR, NULL, write_control);
    for (int i = 0; i < 3; i++)
        io_hook(c, PCMSK0 + i, NULL, write_mask);
}

void external_reset(chip *c)
{
    c->edge_control = c->edge_mask = c->edge_flags = c->pin_control = c->pin_flags = 0;
    memset(c->pin_masks, 0, sizeof c->pin_masks);
}
