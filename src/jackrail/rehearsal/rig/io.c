/* Each access to an I/O register, with the cycle in which the hardware makes it, after all that was due up to then. */
#include "inside.h"

static unsigned opcode(const chip *c) { return c->avr->flash[c->avr->pc] | (unsigned)c->avr->flash[c->avr->pc + 1] << 8; }

uint8_t written_ones(const chip *c, uint8_t value)
{
    unsigned op = opcode(c);
    return (op & 0xFF00) == 0x9A00 ? (uint8_t)(1 << (op & 7)) : value;
}

/* IN, OUT, SBIC and SBIS reach a register in their first cycle, all others in their second. */
static unsigned is_late(const chip *c)
{
    unsigned op = opcode(c);
    return (op & 0xF000) != 0xB000 && (op & 0xFD00) != 0x9900;
}

static uint8_t on_read(avr_t *avr, avr_io_addr_t address, void *context)
{
    chip *c = context;
    uint64_t now = avr->cycle + is_late(c);
    catch_up(c, now);
    return c->read[address](c, address, now);
}

static void on_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *context)
{
    chip *c = context;
    uint64_t now = avr->cycle + is_late(c) + 1; /* the register holds it from the end of that cycle on */
    catch_up(c, now);
    if (c->reset_cause < 0) /* else a reset came in the middle of the instruction */
        c->write[address](c, address, value, now);
}

void io_hook(chip *c, int address, io_reader read, io_writer write)
{
    c->read[address] = read;
    c->write[address] = write;
    if (read) {
        c->avr->io[AVR_DATA_TO_IO(address)].r.c = on_read;
        c->avr->io[AVR_DATA_TO_IO(address)].r.param = c;
    }
    if (write) {
        c->avr->io[AVR_DATA_TO_IO(address)].w.c = on_write;
        c->avr->io[AVR_DATA_TO_IO(address)].w.param = c;
    }
}

/* ---- registers that belong to no peripheral */

enum { GPIOR0 = 0x3E, GPIOR1 = 0x4A, GPIOR2 = 0x4B, SPMCSR = 0x57, CLKPR = 0x61, ADCSRA = 0x7A, TWCR = 0xBC };

static void write_mark(chip *c, int address, uint8_t value, uint64_t now)
{
    c->avr->data[address] = value;
    *(chip_mark *)list_add(&c->marks, sizeof(chip_mark)) = (chip_mark){now, address == GPIOR0 ? 0 : address - GPIOR1 + 1, value};
}

static void write_mcusr(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] &= value; /* the flags can be cleared only */
}

/* What is not modelled must not seem to work. */
static void write_unknown(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = value;
    if (address == CLKPR && value & 0x0F)
        in_trouble(c, "the rig has no clock divider (CLKPR)");
    if (address == ADCSRA && value & 0x40)
        in_trouble(c, "the rig has no analogue converter (ADSC)");
    if (address == SPMCSR && value & 0x01)
        in_trouble(c, "the rig does not write the flash (SPMEN)");
    if (address == TWCR && value & 0x04)
        in_trouble(c, "the rig has no two-wire interface (TWEN)");
}

void io_init(chip *c)
{
    io_hook(c, GPIOR0, NULL, write_mark);
    io_hook(c, GPIOR1, NULL, write_mark);
    io_hook(c, GPIOR2, NULL, write_mark);
    io_hook(c, MCUSR, NULL, write_mcusr);
    io_hook(c, SPMCSR, NULL, write_unknown);
    io_hook(c, CLKPR, NULL, write_unknown);
    io_hook(c, ADCSRA, NULL, write_unknown);
    io_hook(c, TWCR, NULL, write_unknown);
}
