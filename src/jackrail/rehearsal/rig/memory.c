/* The EEPROM (section 8.4) and what the world may look at in memory. */
#include "inside.h"

enum { EECR = 0x3F, EEDR, EEARL, EEARH };
enum { EERE = 1, EEPE = 2, EEMPE = 4, EERIE = 8 };
enum { ATOMIC_CYCLES = 54400, HALF_CYCLES = 28800 }; /* table 8-1: 3.4 ms to erase and write, 1.8 ms for either, at 16 MHz */

static void wants(chip *c) { want(c, VECTOR_EEPROM, c->eeprom_control & EERIE && !(c->eeprom_control & EEPE)); }

void eeprom_due(chip *c, uint64_t now)
{
    (void)now;
    c->eeprom_control &= (uint8_t)~EEPE;
    wants(c);
}

/* 8.6.3: mode 0 erases and writes, 1 erases, 2 writes, which only clears bits. */
static void program(chip *c, uint64_t now)
{
    int mode = c->eeprom_control >> 4 & 3;
    uint8_t *cell = &c->eeprom[c->eeprom_address % EEPROM_BYTES];
    if (mode != 2)
        *cell = 0xFF;
    if (mode != 1)
        *cell &= c->eeprom_data;
    c->eeprom_control |= EEPE;
    c->avr->cycle += 2; /* the core halts while it starts */
    due_at(c, DUE_EEPROM, now + (mode ? HALF_CYCLES : ATOMIC_CYCLES));
}

static uint8_t read_control(chip *c, int address, uint64_t now)
{
    (void)address;
    return (uint8_t)(c->eeprom_control | (now < c->eeprom_armed ? EEMPE : 0));
}

static void write_control(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address;
    int busy = c->eeprom_control & EEPE, armed = now < c->eeprom_armed;
    c->eeprom_control = (uint8_t)((c->eeprom_control & EEPE) | (value & (busy ? EERIE : EERIE | 0x30)));
    if (value & EEPE && armed && !busy)
        program(c, now);
    else if (value & EERE && !busy) {
        c->eeprom_data = c->eeprom[c->eeprom_address % EEPROM_BYTES];
        c->avr->cycle += 4; /* the core halts for four cycles */
    }
    if (value & EEMPE && !armed && !(value & EEPE))
        c->eeprom_armed = now + 4; /* EEPE counts within four cycles */
    wants(c);
}

static uint8_t read_data(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    return c->eeprom_data;
}

static void write_data(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address, (void)now;
    c->eeprom_data = value;
}

static void write_address(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = value;
    c->eeprom_address = (uint16_t)(c->avr->data[EEARL] | (c->avr->data[EEARH] & 3) << 8);
}

void eeprom_init(chip *c)
{
    io_hook(c, EECR, read_control, write_control);
    io_hook(c, EEDR, read_data, write_data);
    io_hook(c, EEARL, NULL, write_address);
    io_hook(c, EEARH, NULL, write_address);
}

void eeprom_reset(chip *c)
{
    c->eeprom_control = c->eeprom_data = 0;
    c->eeprom_address = 0;
    c->eeprom_armed = 0;
    due_at(c, DUE_EEPROM, CHIP_NEVER);
}

uint8_t *chip_eeprom(chip *c) { return c->eeprom; }

uint8_t *chip_memory(chip *c) { return c->avr->data; }
