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

static volatile uint8_t in[RING] __attribute__((used)), in_head, in_tail;
static volatile uint8_t out[RING], out_head, out_tail;
static volatile uint8_t errors;
static bool fallback;
volatile uint8_t serial_overruns;

/* In assembly because a byte may come every 640 cycles while steps wait, and the compiler would save registers for the sake of the
 * errors. A byte that comes with a fault, or when there is no place, is dropped: the frame it belongs to comes again. */
ISR(USART_RX_vect, ISR_NAKED) {
    asm volatile("push r24\n\t"
                 "in r24, __SREG__\n\t"
                 "push r24\n\t"
                 "push r25\n\t"
                 "push r30\n\t"
                 "push r31\n\t"
                 "lds r25, %[status]\n\t"
                 "lds r24, %[data]\n\t"
                 "andi r25, %[faults]\n\t"
                 "brne 2f\n\t"
                 "lds r30, %[head]\n\t"
                 "ldi r31, 0\n\t"
                 "subi r30, lo8(-(%[ring]))\n\t"
                 "sbci r31, hi8(-(%[ring]))\n\t"
                 "st Z, r24\n\t" /* one place is always free */
                 "lds r24, %[head]\n\t"
                 "inc r24\n\t"
                 "andi r24, %[last]\n\t"
                 "lds r25, %[tail]\n\t"
                 "cp r24, r25\n\t"
                 "breq 3f\n\t"
                 "sts %[head], r24\n\t"
                 "ldi r24, 1\n\t"
                 "sts %[woken], r24\n"
                 "1:\n\t"
                 "pop r31\n\t"
                 "pop r30\n\t"
                 "pop r25\n\t"
                 "pop r24\n\t"
                 "out __SREG__, r24\n\t"
                 "pop r24\n\t"
                 "reti\n"
                 "2:\n\t"
                 "lds r24, %[errors]\n\t"
                 "subi r24, -%[weight]\n\t"
                 "sbrc r25, %[framing]\n\t"
                 "sts %[errors], r24\n\t"
                 "sbrs r25, %[overrun]\n\t"
                 "rjmp 1b\n"
                 "3:\n\t"
                 "lds r24, %[overruns]\n\t"
                 "subi r24, 0xFF\n\t"
                 "breq 1b\n\t"
                 "sts %[overruns], r24\n\t"
                 "rjmp 1b\n" ::[status] "n"(_SFR_MEM_ADDR(UCSR0A)),
                 [data] "n"(_SFR_MEM_ADDR(UDR0)), [faults] "n"(_BV(FE0) | _BV(DOR0)), [framing] "n"(FE0), [overrun] "n"(DOR0),
                 [head] "i"(&in_head), [tail] "i"(&in_tail), [ring] "i"(in), [last] "n"(RING - 1), [woken] "i"(&clock_woken),
                 [errors] "i"(&errors), [weight] "n"(ERROR_WEIGHT), [overruns] "i"(&serial_overruns));
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
    if (errors)
        errors--;
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
