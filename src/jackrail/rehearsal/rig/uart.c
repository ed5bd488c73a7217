/* The serial port, asynchronous (section 20). Byte times follow UBRR0, U2X0 and the frame format. The receiver samples the
   line in the middle of each of its own bits, so a sender with another bit time, or a broken stop bit, does what it does there. */
#include "inside.h"
#include <string.h>

enum { UCSR0A = 0xC0, UCSR0B, UCSR0C, UBRR0L = 0xC4, UBRR0H, UDR0 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, FE = 0x10, DOR = 0x08, U2X = 0x02, MPCM = 0x01 };
enum { RXCIE = 0x80, TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08, UCSZ2 = 0x04 };

static void wants(chip *c)
{
    const uart *u = &c->uart;
    want(c, VECTOR_RX, u->b & RXCIE && u->received);
    want(c, VECTOR_UDRE, u->b & UDRIE && !u->waiting);
    want(c, VECTOR_TX, u->b & TXCIE && u->a & TXC);
}

static uint32_t bit_cycles(const uart *u) { return (u->a & U2X ? 8u : 16u) * (u->divider + 1u); }

static int data_bits(const uart *u) { return 5 + (u->c >> 1 & 3); }

static int parity_bits(const uart *u) { return u->c & 0x20 ? 1 : 0; }

/* ---- sending: one byte in the shift register, one waiting */

static void start_byte(chip *c, uint8_t value, uint64_t now)
{
    uart *u = &c->uart;
    int bits = 1 + data_bits(u) + parity_bits(u) + (u->c & 0x08 ? 2 : 1);
    u->shifting_byte = value;
    u->sending = 1;
    due_at(c, DUE_TX, now + (uint64_t)bits * bit_cycles(u));
}

void uart_tx_due(chip *c, uint64_t now)
{
    uart *u = &c->uart;
    *(chip_byte *)list_add(&c->sent, sizeof(chip_byte)) = (chip_byte){now, u->shifting_byte};
    u->sending = 0;
    if (u->waiting) {
        u->waiting = 0;
        start_byte(c, u->waiting_byte, now);
    } else {
        u->a |= TXC;
    }
    wants(c);
}

void uart_tx_taken(chip *c)
{
    c->uart.a &= (uint8_t)~TXC;
    wants(c);
}

/* ---- receiving: two bytes in the buffer, one in the shift register (20.7) */

/* When idle: for the next falling edge. */
void uart_listen(chip *c, uint64_t now)
{
    if (!(c->uart.b & RXEN))
        due_at(c, DUE_RX, CHIP_NEVER);
    else if (!c->uart.receiving)
        due_at(c, DUE_RX, line_next_fall(&c->line, now));
}

static int frame_bits(const uart *u) { return 1 + data_bits(u) + parity_bits(u) + 1; }

static void accept(uart *u, uint8_t value, uint8_t error)
{
    uint8_t *place = u->received < 2 ? u->receive[u->received] : u->held;
    place[0] = value;
    place[1] = error;
    if (u->received < 2)
        u->received++;
    else
        u->holding = 1;
}

/* A start bit while the shift register still holds a byte: that byte is lost (20.11.2, DOR). */
static void start_bit(chip *c, uint64_t now)
{
    uart *u = &c->uart;
    if (u->holding) {
        u->holding = 0;
        u->overrun = 1;
        u->faults.overruns++;
    }
    u->start = now;
    u->receiving = 1;
    due_at(c, DUE_RX, now + (uint64_t)((frame_bits(u) - 0.5) * bit_cycles(u)));
}

static void stop_bit(chip *c, uint64_t now)
{
    uart *u = &c->uart;
    uint8_t value = 0;
    double bit = bit_cycles(u);
    for (int i = 0; i < data_bits(u); i++)
        value = (uint8_t)(value | line_level(&c->line, (double)u->start + (i + 1.5) * bit) << i);
    int error = !line_level(&c->line, (double)now);
    u->faults.framing_errors += (uint64_t)error;
    accept(u, value, (uint8_t)(error ? FE : 0));
    u->receiving = 0;
    uart_listen(c, now);
    wants(c);
}

void uart_rx_due(chip *c, uint64_t now)
{
    if (c->uart.receiving)
        stop_bit(c, now);
    else
        start_bit(c, now);
}

static void flush(chip *c, uint64_t now)
{
    uart *u = &c->uart;
    u->received = u->holding = u->receiving = 0;
    u->overrun = 0;
    uart_listen(c, now);
}

/* ---- registers */

static uint8_t read_a(chip *c, int address, uint64_t now)
{
    (void)address, (void)now;
    const uart *u = &c->uart;
    int front = u->received ? RXC | u->receive[0][1] : 0;
    int errors = u->overrun ? DOR : 0, empty = u->waiting ? 0 : UDRE;
    return (uint8_t)(front | errors | empty | (u->a & (TXC | U2X | MPCM)));
}

static void write_a(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address, (void)now;
    uart *u = &c->uart;
    int kept = u->a & TXC & ~value;
    u->a = (uint8_t)(kept | (value & (U2X | MPCM)));
    wants(c);
}

static void write_b(chip *c, int address, uint8_t value, uint64_t now)
{
    uart *u = &c->uart;
    uint8_t changed = u->b ^ value;
    c->avr->data[address] = u->b = value;
    if (value & UCSZ2)
        in_trouble(c, "the rig has no frames of nine bits");
    if (changed & RXEN)
        flush(c, now);
    if (changed & TXEN)
        pin_take(c, 1, value & TXEN, 1, now);
    wants(c);
}

static void write_c(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = c->uart.c = value;
    if (value & 0xC0)
        in_trouble(c, "the rig knows the asynchronous serial port only");
}

static void write_divider(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    uart *u = &c->uart;
    c->avr->data[address] = value;
    u->divider = (uint16_t)(address == UBRR0L ? (u->divider & 0xF00) | value : (u->divider & 0xFF) | (value & 0xF) << 8);
}

static uint8_t read_data(chip *c, int address, uint64_t now)
{
    (void)now;
    uart *u = &c->uart;
    if (!u->received)
        return c->avr->data[address];
    uint8_t value = u->receive[0][0];
    memmove(u->receive[0], u->receive[1], sizeof u->receive[0]);
    u->received--;
    u->overrun = 0;
    if (u->holding) {
        u->holding = 0;
        accept(u, u->held[0], u->held[1]);
    }
    wants(c);
    return value;
}

static void write_data(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)address;
    uart *u = &c->uart;
    if (!(u->b & TXEN) || u->waiting)
        return; /* 20.11.1: ignored while UDRE is not set */
    if (u->sending) {
        u->waiting = 1;
        u->waiting_byte = value;
    } else {
        start_byte(c, value, now);
    }
    wants(c);
}

void uart_init(chip *c)
{
    io_hook(c, UCSR0A, read_a, write_a);
    io_hook(c, UCSR0B, NULL, write_b);
    io_hook(c, UCSR0C, NULL, write_c);
    io_hook(c, UBRR0L, NULL, write_divider);
    io_hook(c, UBRR0H, NULL, write_divider);
    io_hook(c, UDR0, read_data, write_data);
}

void uart_reset(chip *c)
{
    uart *u = &c->uart;
    u->a = u->b = 0;
    c->avr->data[UCSR0C] = u->c = 0x06; /* 8N1 */
    u->divider = 0;
    u->sending = u->waiting = 0;
    due_at(c, DUE_TX, CHIP_NEVER);
    flush(c, c->now);
}

chip_line chip_line_faults(const chip *c) { return c->uart.faults; }
