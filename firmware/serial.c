#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "clock.h"
#include "link_format.h"

#define RING 64 /* a power of two */
#define NEXT(place) (((place) + 1) & (RING - 1))
/* A framing error counts three, a good byte takes one off; at the wrong rate some bytes look good. */
#define ERROR_WEIGHT 3
#define OTHER_RATE (ERROR_WEIGHT * ERRORS_BEFORE_OTHER_BAUD)
#define DIVISOR(baud) ((F_CPU + 4 * (baud)) / (8 * (baud)) - 1) /* at double speed, rounded */

static volatile uint8_t in[RING], in_head, in_tail;
static volatile uint8_t out[RING], out_head, out_tail;
static volatile uint8_t errors;
static bool fallback;
volatile uint8_t serial_overruns;

static void count_overrun(void) {
    if (serial_overruns < 255)
        serial_overruns++;
}

ISR(USART_RX_vect) {
    uint8_t status = UCSR0A, byte = UDR0;
    if (status & _BV(DOR0))
        count_overrun();
    if (status & _BV(FE0)) {
        errors += ERROR_WEIGHT;
        return;
    }
    if (errors)
        errors--;
    uint8_t next = NEXT(in_head);
    if (next == in_tail) {
        count_overrun();
        return;
    }
    clock_woken = 1;
    in[in_head] = byte;
    in_head = next;
}

ISR(USART_UDRE_vect) {
    if (out_tail == out_head) {
        UCSR0B &= ~_BV(UDRIE0);
        return;
    }
    UDR0 = out[out_tail];
    out_tail = NEXT(out_tail);
}

static void set_rate(void) {
    UCSR0B = 0;
    UCSR0A = _BV(U2X0);
    UBRR0 = fallback ? DIVISOR(LINK_FALLBACK_BAUD) : DIVISOR(LINK_BAUD);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    errors = 0;
}

void serial_start(void) { set_rate(); }

void serial_poll(bool may_change) {
    if (errors < OTHER_RATE)
        return;
    errors = 0;
    if (may_change) {
        fallback = !fallback;
        set_rate();
    }
}

bool serial_take(uint8_t *byte) {
    if (in_tail == in_head)
        return false;
    *byte = in[in_tail];
    in_tail = NEXT(in_tail);
    return true;
}

uint8_t serial_room(void) { return (out_tail - out_head - 1) & (RING - 1); }

void serial_put(uint8_t byte) {
    while (!serial_room())
        wdt_reset(); /* the line takes it, however slowly */
    out[out_head] = byte;
    out_head = NEXT(out_head);
    UCSR0B |= _BV(UDRIE0);
}
