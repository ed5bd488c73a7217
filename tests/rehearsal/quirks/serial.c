/* Quirks of the serial port. The rate is chosen with -DUBRR=, -DUCSRA=, -DUCSRC=. */
#include "marks.h"
#ifndef UBRR
#define UBRR 3
#define UCSRA 0
#define UCSRC 6
#endif

static void port(void) { UBRR0 = UBRR, UCSR0A = UCSRA, UCSR0C = UCSRC, UCSR0B = _BV(RXEN0) | _BV(TXEN0); }

/* Three bytes: the first goes on at once, the second waits, the third may only come when that has moved on. */
void sending(void)
{
    port();
    for (uint8_t i = 0; i < 3; i++) {
        while (!(UCSR0A & _BV(UDRE0)))
            ;
        GPIOR1 = i;
        UDR0 = 0x30 + i;
    }
    while (!(UCSR0A & _BV(TXC0)))
        ;
    GPIOR1 = 9;
    UCSR0A |= _BV(TXC0);
    TELL(UCSR0A & _BV(TXC0));
}

/* Told by pin D8, driven from outside, to read all there is: status and data. */
void reading(void)
{
    port();
    for (;;) {
        while (!(PINB & 1))
            ;
        uint8_t status = UCSR0A;
        if (status & _BV(RXC0)) {
            GPIOR1 = status;
            GPIOR2 = UDR0;
        }
    }
}

/* The interrupt of a received byte comes again until it is read. */
ISR(USART_RX_vect)
{
    static uint8_t times;
    GPIOR1 = ++times;
    if (times == 3)
        GPIOR2 = UDR0;
}

void again(void)
{
    port();
    UCSR0B |= _BV(RXCIE0);
    sei();
}

/* Written while the buffer is full: ignored. */
void ignored(void)
{
    port();
    UDR0 = 'a', UDR0 = 'b', UDR0 = 'c';
}

/* U2X chosen after the divider. */
void doubled(void)
{
    UBRR0 = 7, UCSR0B = _BV(TXEN0);
    UCSR0A = _BV(U2X0);
    UDR0 = 'a';
}
