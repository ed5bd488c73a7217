/* The board's time: timer 1 counts ticks of 0.5 us and makes the step edges; timer 0, in step with it, wakes for cues.
 *
 * Both count the same prescaler and are started together, so that timer 0 is always bits 3 to 10 of the time: a moment is turned
 * into a compare value by a shift. */
#include "firmware.h"

/* Differences are right up to 17 minutes. Wraps of timer 1 are seen here: the cue interrupt asks every 0.8 ms. */
static __attribute__((noinline)) uint32_t now(void) {
    uint32_t time;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint16_t low = TCNT1;
        if (low < board->low)
            board->high++;
        board->low = low;
        time = board->now;
    }
    return time;
}

static int32_t until(uint32_t due) { return due - now(); }

/* Differences are right up to 67 seconds. */
static __attribute__((noinline)) uint16_t beat(void) { return now() >> 11; }

static uint16_t beats_since(uint16_t then) { return beat() - then; }

static void clock_start(void) {
    TCCR1B = _BV(CS11);             /* 16 MHz / 8 */
    TCCR0B = _BV(CS01) | _BV(CS00); /* 16 MHz / 64 */
    uint8_t count = TCNT0;
    while (TCNT0 == count)
        ; /* a count of timer 0 has just begun: let both be 0 here */
    TCNT1 = 0;
    TCNT0 = 0;
}

/* Until there is work. Step interrupts wake the chip too, thousands of times a second: they leave nothing to do. */
static void clock_sleep(void) {
    cli();
    while (!board->woken) {
        sei(); /* takes effect after the next instruction: no wake-up is lost */
        sleep_cpu();
        cli();
    }
    board->woken = 0;
    sei();
}
