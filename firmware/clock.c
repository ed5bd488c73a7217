#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/atomic.h>

static volatile uint16_t high; /* overflows of timer 1 */
volatile uint8_t clock_woken;

ISR(TIMER1_OVF_vect) { high++; }

uint32_t now(void) {
    uint16_t low, upper;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        low = TCNT1;
        upper = high;
        if ((TIFR1 & _BV(TOV1)) && !(low & 0x8000))
            upper++;
    }
    return (uint32_t)upper << 16 | low;
}

uint16_t beat(void) { return now() >> 11; }

void clock_start(void) {
    TCCR1B = _BV(CS11);             /* 16 MHz / 8 */
    TCCR0B = _BV(CS01) | _BV(CS00); /* 16 MHz / 64 */
    uint8_t count = TCNT0;
    while (TCNT0 == count)
        ; /* a tick of timer 0 has just begun: let both be 0 here */
    TCNT1 = 0;
    TCNT0 = 0;
    TIMSK1 = _BV(TOIE1);
}

/* Step interrupts wake the chip too, thousands of times a second: they leave nothing to do. */
void clock_sleep(void) {
    for (;;) {
        cli();
        if (clock_woken)
            break;
        sleep_enable();
        sei(); /* takes effect after the next instruction: no wake-up is lost */
        sleep_cpu();
        sleep_disable();
    }
    clock_woken = 0;
    sei();
}
