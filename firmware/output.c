#include "output.h"

#include <avr/io.h>
#include <string.h>
#include <util/atomic.h>

#include "block.h"
#include "pins.h"

/* at: PORT register; 0 for an output of the shift-register chain, then index is its byte there. */
static struct {
    pin_t pin;
    uint8_t index;
} coils[MOST_COILS];
static uint8_t chain[4]; /* what the chain shows; output 0 is bit 0 of chain[0] */
static uint8_t chain_bytes;
static pin_t latch;

/* The last byte travels farthest, so it goes first. 16 cycles a byte at half the clock. */
static void show_chain(void) {
    for (uint8_t n = chain_bytes; n--;) {
        SPDR = chain[n];
        while (!(SPSR & _BV(SPIF)))
            ;
    }
    pin_write(latch, true);
    pin_write(latch, false);
}

void output_coil(uint8_t coil, bool on) {
    pin_t pin = coils[coil].pin;
    if (pin.at) {
        pin_write(pin, on);
        return;
    }
    uint8_t *byte = &chain[coils[coil].index];
    *byte |= pin.mask;
    if (!on)
        *byte ^= pin.mask;
    show_chain();
}

pin_t output_pin(uint8_t coil) { return coils[coil].pin; }

bool output_is_on(uint8_t coil) {
    pin_t pin = coils[coil].pin;
    return (pin.at ? REGISTER(pin.at) : chain[coils[coil].index]) & pin.mask;
}

void outputs_off(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { /* no cue may switch one on meanwhile, nor shift into our bytes */
        for (uint8_t coil = block_head(MACHINE_HEAD_COILS); coil--;)
            pin_write(coils[coil].pin, false); /* nothing for one on the chain */
        memset(chain, 0, sizeof chain);
        if (chain_bytes)
            show_chain();
    }
}

void outputs_start(void) {
    chain_bytes = (block_head(MACHINE_HEAD_SHIFT_OUTPUTS) + 7) >> 3;
    if (chain_bytes) {
        latch = pin_make_output(block_head(MACHINE_HEAD_SHIFT_LATCH_PIN), false);
        /* D10 must not be an input: a low level there would make the chip a slave on its own bus. Where it is no step line it also
         * keeps the registers' outputs off until they are emptied, if the maker wired it to their OE. */
        bool holds = !(DDRB & _BV(DDB2));
        if (holds)
            pin_make_output(10, true);
        pin_make_output(11, false);
        pin_make_output(13, false);
        SPSR = _BV(SPI2X);
        SPCR = _BV(SPE) | _BV(MSTR);
        show_chain();
        if (holds)
            pin_make_output(10, false);
    }
    for (uint8_t coil = 0; coil < block_head(MACHINE_HEAD_COILS); coil++) {
        uint8_t number = flash_u8(coil_at(coil) + COIL_PIN);
        coils[coil].pin = pin_make_output(number, false);
        if (!coils[coil].pin.at) {
            number -= FIRST_SHIFT_PIN;
            coils[coil].pin.mask = 1 << (number & 7);
            coils[coil].index = number >> 3 & 3;
        }
    }
}
