/* A program that hangs, on purpose: its main loop never comes round again, interrupts go on, the watchdog is not kicked. */
#include "inside.h"
#include <stdlib.h>
#include <string.h>

enum { WDR = 0x95A8, LOOP_HERE = 0xCFFF }; /* RJMP -1 (AVR instruction set manual DS40002198) */

void chip_hang(chip *c)
{
    uint8_t *flash = c->avr->flash;
    if (c->sound_flash || !(c->sound_flash = malloc(FLASH_BYTES)))
        return;
    memcpy(c->sound_flash, flash, FLASH_BYTES);
    for (unsigned at = 0; at < FLASH_BYTES; at += 2)
        if ((flash[at] | flash[at + 1] << 8) == WDR) {
            flash[at] = LOOP_HERE & 0xFF;
            flash[at + 1] = LOOP_HERE >> 8;
        }
}

/* A reset wakes it: the program is as it was flashed. */
void hang_reset(chip *c)
{
    if (!c->sound_flash)
        return;
    memcpy(c->avr->flash, c->sound_flash, FLASH_BYTES);
    free(c->sound_flash);
    c->sound_flash = NULL;
}
