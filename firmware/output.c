/* Coils: switched by cues, watched by the guard, all off at once whenever play stops. */
#include "firmware.h"

static NOINLINE uint8_t coil_pin(uint8_t coil) { return flash_u8(coil_at(coil) + COIL_PIN); }

/* The last byte travels farthest, so it goes first. 16 cycles a byte at half the clock. */
static void show_chain(void) {
    for (uint8_t n = (block_head(MACHINE_HEAD_SHIFT_OUTPUTS) + 7) >> 3; n--;) {
        SPDR = chain[n];
        while (!(SPSR & _BV(SPIF)))
            ;
    }
    uint8_t latch = block_head(MACHINE_HEAD_SHIFT_LATCH_PIN);
    pin_write(latch, true);
    pin_write(latch, false);
}

static NOINLINE void output_coil(uint8_t coil, bool on) {
    pin_write(coil_pin(coil), on);
    if (block_head(MACHINE_HEAD_SHIFT_OUTPUTS))
        show_chain();
}

static bool output_is_on(uint8_t coil) { return pin_is_high(coil_pin(coil)); }

/* The queue is empty: no cue switches one on meanwhile, nor shifts into our bytes. */
static void outputs_off(void) {
    for (uint8_t coil = block_head(MACHINE_HEAD_COILS); coil--;)
        output_coil(coil, false);
}

static void outputs_start(void) {
    if (block_head(MACHINE_HEAD_SHIFT_OUTPUTS)) {
        pin_make_output(block_head(MACHINE_HEAD_SHIFT_LATCH_PIN), false);
        DDRB |= _BV(2) | _BV(3) | _BV(5); /* D10, D11, D13; D10 as an input at a low level would make the chip a slave on its bus */
        SPSR = _BV(SPI2X);
        SPCR = _BV(SPE) | _BV(MSTR);
        show_chain();
    }
    for (uint8_t coil = block_head(MACHINE_HEAD_COILS); coil--;)
        pin_make_output(coil_pin(coil), false);
}
