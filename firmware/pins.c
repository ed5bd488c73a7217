/* Pins by their number on the usual board: D0-D13 are 0-13, A0-A5 are 14-19; 32 to 63 are outputs of the shift registers. */
#include "firmware.h"

#define FIRST_OF_B 8
#define FIRST_OF_C 14
#define NO_PORT 20

/* What the shift registers show, output 0 is bit 0 of the first byte; behind it a byte for pins that are none. */
static volatile uint8_t chain[5];

static uint8_t bit(uint8_t number) {
    uint8_t mask = 1;
    while (number--)
        mask <<= 1;
    return mask;
}

/* Where a pin is written: the address of its PORT register or byte, and in the third byte its mask. */
static NOINLINE uint32_t pin_place(uint8_t number) {
    uint16_t at = (uint16_t)&PORTD;
    if (number >= FIRST_SHIFT_PIN) {
        number -= FIRST_SHIFT_PIN;
        if (number > 32)
            number = 32;
        at = (uint16_t)&chain[number >> 3];
    } else if (number >= FIRST_OF_C) {
        number -= FIRST_OF_C;
        at = (uint16_t)&PORTC;
    } else if (number >= FIRST_OF_B) {
        at = (uint16_t)&PORTB;
    }
    return at | (uint32_t)bit(number & 7) << 16;
}
#define AT(place) ((volatile uint8_t *)(uint16_t)(place))
#define MASK(place) ((uint8_t)((place) >> 16))

static NOINLINE void pin_write(uint8_t number, bool high) {
    uint32_t place = pin_place(number);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t level = *AT(place) | MASK(place);
        if (!high)
            level ^= MASK(place);
        *AT(place) = level;
    }
}

/* What was written to it last. */
static bool pin_is_high(uint8_t number) {
    uint32_t place = pin_place(number);
    return *AT(place) & MASK(place);
}

static NOINLINE void pin_make_output(uint8_t number, bool high) {
    pin_write(number, high); /* first, so that the pin never shows another level */
    uint32_t place = pin_place(number);
    if (number < NO_PORT)
        AT(place)[-1] |= MASK(place); /* its DDR register */
}
