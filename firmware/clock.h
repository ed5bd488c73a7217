/* The board's time: timer 1 counts 0.5 us ticks and makes the step edges; timer 0, in step with it, wakes for cues.
 *
 * Both count the same prescaler. They are started together so that timer 0 is always bits 3 to 10 of the time: a moment is
 * turned into a compare value by a shift.
 */
#ifndef CLOCK_H
#define CLOCK_H
#include <stdint.h>

#define TICKS_A_MS 2000
#define TICKS_A_US 2
#define BEATS(ms) ((uint16_t)((ms) * 125UL / 128)) /* of 1.024 ms, for all that need not be exact */

extern volatile uint8_t clock_woken;   /* set by interrupts after which the main loop has work to look for */

void clock_start(void);
void clock_sleep(void);                /* until then */
uint32_t now(void);                    /* ticks; differences are right up to 17 minutes */
uint16_t beat(void);                   /* differences are right up to 67 seconds */

#endif
