/* jackrail firmware: plays rolls on a machine that the machine block describes. GPL-3.0-or-later. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "clock.h"
#include "link.h"
#include "player.h"
#include "queue.h"
#include "serial.h"

#define WATCHDOG WDTO_250MS

/* Before anything else: keep why we were reset, and the watchdog on. A boot loader may have read and cleared the register; the
 * common ones then hand it over in r2. */
static uint8_t cause __attribute__((section(".noinit")));
void keep_cause(void) __attribute__((naked, used, section(".init3")));
void keep_cause(void) {
    uint8_t handed;
    asm volatile("mov %0, r2" : "=r"(handed));
    cause = MCUSR ? MCUSR : handed & 0x0F;
    MCUSR = 0;
    wdt_enable(WATCHDOG);
}

static uint8_t reset_reason(void) {
    if (cause & _BV(WDRF))
        return REASON_WATCHDOG;
    if (cause & _BV(PORF)) /* brown-out is flagged with it when the supply comes up slowly */
        return REASON_NONE;
    if (cause & _BV(BORF))
        return REASON_BROWN_OUT;
    return cause & _BV(EXTRF) ? REASON_RESET : REASON_NONE;
}

int main(void) {
    link_reset_cause = cause;
    clock_start();
    queue_start();
    serial_start();
    player_start(reset_reason());
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    for (;;) {
        wdt_reset();
        link_poll();
        player_poll();
        clock_sleep();
    }
}
