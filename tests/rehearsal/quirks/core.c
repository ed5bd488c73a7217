/* Quirks of the core, its memory and its resets. */
#include "marks.h"
#include <avr/eeprom.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

TELLING_ISR(TIMER1_COMPA_vect, 0)
TELLING_ISR(TIMER1_COMPB_vect, 1)
TELLING_ISR(WDT_vect, 2)

static void match_at(uint16_t ticks)
{
    DDRB = _BV(1);
    OCR1A = ticks, TCCR1A = _BV(COM1A0), TIMSK1 = _BV(OCIE1A), TCCR1B = _BV(CS10);
}

void entry_awake(void)
{
    match_at(500);
    sei();
    for (uint8_t i = 0; i < 100; i++)
        __asm__ volatile("nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop");
}

void entry_asleep(void)
{
    match_at(500);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
    sei();
    sleep_cpu();
    TELL(1);
}

/* SLEEP without SE is no sleep. */
void no_sleep(void)
{
    TELL(1);
    sleep_cpu();
    TELL(2);
}

void deep_sleep(void)
{
    set_sleep_mode(SLEEP_MODE_PWR_DOWN);
    sleep_enable();
    sei();
    sleep_cpu();
}

/* One instruction runs after SEI, and one of the program after each RETI. */
void one_instruction(void)
{
    OCR1A = OCR1B = 10, TCCR1B = _BV(CS10);
    while (!(TIFR1 & _BV(OCF1B)))
        ;
    TCCR1B = 0;
    TIMSK1 = _BV(OCIE1A) | _BV(OCIE1B);
    uint8_t one = 1, two = 2, three = 3;
    __asm__ volatile("sei\n out %0, %1\n out %0, %2\n out %0, %3" ::"I"(_SFR_IO_ADDR(GPIOR1)), "r"(one), "r"(two), "r"(three));
}

/* Writes a byte into the EEPROM, and tells when it began and ended. */
void eeprom(void)
{
    EEAR = 5, EEDR = 0x5A;
    EECR = _BV(EEMPE);
    EECR |= _BV(EEPE);
    GPIOR1 = 1;
    while (EECR & _BV(EEPE))
        ;
    GPIOR1 = 2;
    EEAR = 5;
    EECR |= _BV(EERE);
    GPIOR2 = EEDR;
    EEAR = 6, EEDR = 0x11;
    EECR |= _BV(EEPE); /* not armed */
    GPIOR2 = EECR;
}

/* Pins up, a count in SRAM that no start-up code clears, then the watchdog: off, or 16 ms, or its interrupt first. */
static uint8_t lives __attribute__((section(".noinit")));

static void start(void)
{
    uint8_t why = MCUSR;
    TELL(why);
    GPIOR2 = TCNT1L;
    lives = why & _BV(PORF) ? 1 : (uint8_t)(lives + 1);
    GPIOR2 = lives;
}

void hang(void)
{
    start();
    if (!(MCUSR & _BV(PORF))) {
        MCUSR = 0;
        wdt_disable();
        TELL(WDTCSR);
        return;
    }
    MCUSR = 0;
    TCCR1B = _BV(CS10);
    DDRB = 0x03, PORTB = 0x02;
    WDTCSR = _BV(WDCE) | _BV(WDE);
    WDTCSR = _BV(WDE);
    wdt_reset();
    TELL(0xAA);
}

/* After its reset the watchdog stays on at its shortest until WDRF is cleared, whatever the program writes. */
void hang_again(void)
{
    start();
    if (MCUSR & _BV(PORF)) {
        MCUSR = 0;
        WDTCSR = _BV(WDCE) | _BV(WDE);
        WDTCSR = _BV(WDE) | _BV(WDP2) | _BV(WDP0);
    } else if (lives > 2) {
        wdt_disable();
    }
}

/* WDE does not fall without the timed sequence. */
void stubborn(void)
{
    start();
    MCUSR = 0;
    WDTCSR = _BV(WDCE) | _BV(WDE);
    WDTCSR = _BV(WDE);
    WDTCSR = 0;
    TELL(WDTCSR);
}

void watched(void)
{
    WDTCSR = _BV(WDCE) | _BV(WDE);
    WDTCSR = _BV(WDIE) | _BV(WDP1);
    sei();
}

void resets(void)
{
    start();
    DDRB = 0x03, PORTB = 0x02;
    TCCR1B = _BV(CS10);
}

/* Three calls deep: 2 bytes each, and 100 pushed. */
void deep(void)
{
    __asm__ volatile("ldi r24, 100\n1: push r24\n dec r24\n brne 1b\n ldi r24, 100\n2: pop r25\n dec r24\n brne 2b" ::: "r24", "r25");
    GPIOR1 = 1;
}

/* What the rig does not model: -DREGISTER= and -DBITS= choose. */
#ifdef REGISTER
void unknown(void)
{
    REGISTER = BITS;
}
#endif

void wild(void)
{
    *(volatile uint8_t *)0x0900 = 1;
}

void busy(void)
{
    uint16_t a = 1;
    for (;;) {
        a = (uint16_t)(a * 5 + GPIOR2);
        __asm__ volatile("" : "+r"(a));
    }
}

void asleep(void)
{
    match_at(1000);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
    sei();
    for (;;) {
        sleep_cpu();
        OCR1A += 8000; /* 2,000 a second */
    }
}
