/* Two motors as a player drives them: steps on OC1A and OC1B with intervals that change, each by its interrupt, on timer 1 at /8
   or, with -DFAST, at /1. */
#include "marks.h"

static volatile uint16_t interval_a = 900, interval_b = 1300;

ISR(TIMER1_COMPA_vect)
{
    OCR1A += interval_a;
    interval_a = interval_a > 500 ? interval_a - 7 : 900;
}

ISR(TIMER1_COMPB_vect)
{
    OCR1B += interval_b;
    interval_b = interval_b > 600 ? interval_b - 11 : 1300;
}

void steps(void)
{
    DDRB = _BV(1) | _BV(2);
    OCR1A = 1000, OCR1B = 1500, TCCR1A = _BV(COM1A0) | _BV(COM1B0), TIMSK1 = _BV(OCIE1A) | _BV(OCIE1B);
#ifdef FAST
    TCCR1B = _BV(CS10);
#else
    TCCR1B = _BV(CS11);
#endif
    sei();
}
