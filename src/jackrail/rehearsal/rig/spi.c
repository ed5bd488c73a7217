/* The SPI as master (section 19), and the chain of 74HC595 shift registers on it: MOSI (D11) shifts in on each rising SCK
   (D13), the latch pin shows the chain on its outputs. A chain knows no reset: it keeps its outputs when the chip restarts. */
#include "inside.h"

enum { SPCR = 0x4C, SPSR, SPDR };
enum { SPIE = 0x80, SPE = 0x40, DORD = 0x20, MSTR = 0x10, SPIF = 0x80, WCOL = 0x40, SPI2X = 1 };
enum { MOSI = 11, MISO_BIT = 4, SCK = 13, SS_BIT = 2 };

static void wants(chip *c) { want(c, VECTOR_SPI, c->spi.control & SPIE && c->spi.status & SPIF); }

static uint32_t bit_cycles(const spi *s)
{
    static const uint8_t dividers[4] = {4, 16, 64, 128};
    return dividers[s->control & 3] >> (s->status & SPI2X);
}

/* Bits go out the highest first, or the lowest first with DORD; each is in the chain from the middle of its time on. */
static void shift_until(spi *s, uint64_t now)
{
    uint32_t bit = bit_cycles(s);
    int due = (int)((now - s->start + bit / 2) / bit);
    for (; s->busy && s->shifted < 8 && s->shifted < due; s->shifted++)
        s->chain = s->chain << 1 | (s->data >> (s->control & DORD ? s->shifted : 7 - s->shifted) & 1);
}

void spi_due(chip *c, uint64_t now)
{
    spi *s = &c->spi;
    shift_until(s, now);
    s->busy = 0;
    s->status |= SPIF;
    s->looked = 0;
    s->data = c->ports[PORT_B].input >> MISO_BIT & 1 ? 0xFF : 0;
    wants(c);
}

void shift_latch(chip *c, uint64_t now)
{
    spi *s = &c->spi;
    shift_until(s, now);
    uint32_t changed = s->known ? s->outputs ^ s->chain : 0xFFFFFFFF;
    s->outputs = s->chain;
    s->known = 1;
    for (int i = 0; i < 32; i++)
        if (changed >> i & 1)
            pin_tell(c, 32 + i, s->outputs >> i & 1, now);
}

void spi_taken(chip *c)
{
    c->spi.status &= (uint8_t)~SPIF;
    wants(c);
}

/* 19.3.2: a low SS that is an input turns a master into a slave. */
static int is_master(chip *c)
{
    spi *s = &c->spi;
    int low = !(c->ports[PORT_B].direction >> SS_BIT & 1) && !(c->ports[PORT_B].input >> SS_BIT & 1);
    if (low && s->control & MSTR && s->control & SPE) {
        s->control &= (uint8_t)~MSTR;
        s->status |= SPIF;
        wants(c);
    }
    return s->control & SPE && s->control & MSTR;
}

static uint8_t read_control(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    return c->spi.control;
}

static void write_control(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address;
    c->spi.control = value;
    int takes = is_master(c);
    pin_take(c, MOSI, takes, -1, now);
    pin_take(c, SCK, takes, value >> 3 & 1, now);
    wants(c);
}

static uint8_t read_status(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    c->spi.looked = c->spi.status & SPIF;
    return c->spi.status;
}

static void write_status(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address, (void)now;
    c->spi.status = (uint8_t)((c->spi.status & ~SPI2X) | (value & SPI2X));
}

/* 19.5.2: reading SPSR with its flags up and then touching SPDR clears them. */
static void touch_data(chip *c)
{
    if (c->spi.looked)
        c->spi.status &= SPI2X;
    c->spi.looked = 0;
    wants(c);
}

static uint8_t read_data(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    touch_data(c);
    return c->spi.data;
}

static void write_data(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address;
    spi *s = &c->spi;
    touch_data(c);
    if (!is_master(c))
        return;
    if (s->busy) {
        s->status |= WCOL;
        return;
    }
    s->data = value;
    s->busy = 1;
    s->shifted = 0;
    s->start = now;
    due_at(c, DUE_SPI, now + 8 * bit_cycles(s));
}

void spi_init(chip *c)
{
    io_hook(c, SPCR, read_control, write_control);
    io_hook(c, SPSR, read_status, write_status);
    io_hook(c, SPDR, read_data, write_data);
}

void spi_reset(chip *c)
{
    c->spi.control = c->spi.status = 0;
    c->spi.busy = 0;
    due_at(c, DUE_SPI, CHIP_NEVER);
}

/* Clocked by software: a rising D13 takes the level of D11. */
void shift_clock(chip *c)
{
    c->spi.chain = c->spi.chain << 1 | (c->ports[PORT_B].input >> (MOSI - 8) & 1);
}

void chip_shift(chip *c, int latch_pin) { c->spi.latch_pin = latch_pin; }
