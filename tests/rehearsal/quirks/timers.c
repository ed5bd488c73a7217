/* Quirks of timers. */
#include "marks.h"

TELLING_ISR(TIMER1_COMPA_vect, 0)
TELLING_ISR(TIMER1_COMPB_vect, 1)
TELLING_ISR(TIMER1_OVF_vect, 2)
TELLING_ISR(TIMER0_COMPA_vect, 3)
TELLING_ISR(TIMER2_OVF_vect, 4)

static void pins_out(void) { DDRB = 0x0F, DDRD = 0x68; } /* OC1A OC1B OC2A, OC0A OC0B OC2B, and D8 */

static void stay(void)
{
    for (;;)
        NOP();
}

/* Writing a one to a bit of TIFR1 clears that flag alone, also with SBI. */
void flags(void)
{
    OCR1A = 10, OCR1B = 20, TCCR1B = _BV(CS10);
    while (!(TIFR1 & _BV(OCF1B)))
        ;
    TCCR1B = 0;
    TCNT1 = 0xFFF0, TCCR1B = _BV(CS10);
    while (!(TIFR1 & _BV(TOV1)))
        ;
    TCCR1B = 0;
    TELL(TIFR1);
    TIFR1 = _BV(OCF1A);
    TELL(TIFR1);
    __asm__ volatile("sbi %0, 2" ::"I"(_SFR_IO_ADDR(TIFR1)));
    TELL(TIFR1);
}

/* A flag that came up with its interrupt off: enabling it fires at once. */
void late_enable(void)
{
    OCR1A = 10, TCCR1B = _BV(CS10);
    while (!(TIFR1 & _BV(OCF1A)))
        ;
    TCCR1B = 0;
    sei();
    GPIOR1 = 1;
    TIMSK1 = _BV(OCIE1A);
    NOP();
    GPIOR1 = 2;
    stay();
}

/* Toggle on compare, each 1000 ticks by hand. */
void toggle(void)
{
    pins_out();
    OCR1A = 1000, OCR1B = 0xFFFF, TCCR1A = _BV(COM1A0) | _BV(COM1B0), TCCR1B = _BV(CS10);
    for (;;) {
        while (!(TIFR1 & _BV(OCF1A)))
            ;
        TIFR1 = _BV(OCF1A);
        OCR1A += 1000;
    }
}

/* Set on A and clear on B, while the other channel's compare value is written over and over and the counter overflows. */
void set_and_clear(void)
{
    pins_out();
    TCCR1A = _BV(COM1B0), TCCR1C = _BV(FOC1B); /* B high first */
    OCR1A = 30000, OCR1B = 40000, TCCR1A = _BV(COM1A1) | _BV(COM1A0) | _BV(COM1B1), TCCR1B = _BV(CS10);
    for (;;)
        OCR1B = 40000, OCR1A = 30000;
}

/* A forced compare acts on the pin by its COM bits, and sets no flag. */
void force(void)
{
    pins_out();
    TCCR1A = _BV(COM1A1) | _BV(COM1A0);
    TCCR1C = _BV(FOC1A);
    TCCR1A = _BV(COM1A1);
    TCCR1C = _BV(FOC1A);
    TELL(TIFR1);
    TCCR0A = _BV(COM0B0);
    TCCR0B = _BV(FOC0B);
}

/* A connected compare pin ignores the port; disconnected, the port's level shows. */
void port_write(void)
{
    pins_out();
    TCCR1A = _BV(COM1A0);
    PORTB = 0x02;
    PORTB = 0x00;
    PORTB = 0x02;
    GPIOR1 = 1;
    TCCR1A = 0;
    GPIOR1 = 2;
    TCCR1A = _BV(COM1A0);
}

/* Timers 0 and 1 share one prescaler, which runs on whatever starts when. */
void prescaler(void)
{
    pins_out();
    OCR0A = 2, OCR1A = 2, TCCR0A = _BV(COM0A0), TCCR1A = _BV(COM1A0);
    TCCR0B = _BV(CS01) | _BV(CS00);
    NOP(), NOP(), NOP();
    TCCR1B = _BV(CS11) | _BV(CS10);
}

/* With TSM both prescalers stand; all three timers start together when it falls. */
void synchronised(void)
{
    pins_out();
    OCR0A = OCR2A = 2, OCR1A = 2, TCCR0A = _BV(COM0A0), TCCR1A = _BV(COM1A0), TCCR2A = _BV(COM2A0);
    GTCCR = _BV(TSM) | _BV(PSRSYNC) | _BV(PSRASY);
    TCCR0B = _BV(CS01) | _BV(CS00), TCCR1B = _BV(CS11) | _BV(CS10), TCCR2B = _BV(CS22);
    for (uint8_t i = 0; i < 250; i++)
        NOP();
    GPIOR1 = 1;
    GTCCR = 0;
}

/* CTC: 0 to OCR2A at /32, and timer 1 to ICR1 at /8. */
void ctc(void)
{
    pins_out();
    OCR2A = 9, TCCR2A = _BV(COM2A0) | _BV(WGM21), TCCR2B = _BV(CS21) | _BV(CS20);
    ICR1 = 999, OCR1A = 500, TCCR1A = _BV(COM1A0), TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS11);
}

/* In CTC mode a top written below the count is missed: on to MAX and round. */
void ctc_missed(void)
{
    pins_out();
    OCR1A = 5000, TCCR1A = _BV(COM1A0), TCCR1B = _BV(WGM12) | _BV(CS10);
    while (TCNT1 < 2000)
        ;
    OCR1A = 100;
}

/* Writing TCNT blocks the compare match of the next tick. */
void blocked(void)
{
    pins_out();
    OCR1A = 500, TCNT1 = 500, TCCR1A = _BV(COM1A0), TCCR1B = _BV(CS12);
}

/* Reading the low byte keeps the high byte of that moment. */
void wide(void)
{
    TCNT1 = 0x11FF, TCCR1B = _BV(CS10);
    uint8_t low = TCNT1L, i = 0;
    while (--i)
        ;
    TELL(TCNT1H);
    TELL(low);
}

/* The lowest vector comes first; overflow of timer 2 before compares of timer 1 before those of timer 0. */
void order(void)
{
    TIFR2 = 0xFF;
    TCNT2 = 0xFF, TCCR2B = _BV(CS20), OCR1A = 5, OCR1B = 5, TCCR1B = _BV(CS10), OCR0A = 5, TCCR0B = _BV(CS00);
    while (!(TIFR0 & _BV(OCF0A)))
        ;
    TCCR2B = TCCR1B = TCCR0B = 0;
    TIMSK2 = _BV(TOIE2), TIMSK1 = _BV(OCIE1A) | _BV(OCIE1B), TIMSK0 = _BV(OCIE0A);
    sei();
    stay();
}

/* COMPA at 0xFFFF and the overflow fall on the same tick; both interrupts come, the compare first. */
void last_count(void)
{
    pins_out();
    OCR1A = 0xFFFF, TCCR1A = _BV(COM1A0), TIMSK1 = _BV(OCIE1A) | _BV(TOIE1), TCNT1 = 0xFF00, TCCR1B = _BV(CS10);
    sei();
    stay();
}
