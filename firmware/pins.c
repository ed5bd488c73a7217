#include "pins.h"

#include <avr/io.h>
#include <util/atomic.h>

pin_t pin_of(uint8_t number) {
    pin_t pin = {_SFR_MEM_ADDR(PORTD), 1};
    if (number >= 20) {
        pin.at = 0;
    } else if (number >= 14) {
        pin.at = _SFR_MEM_ADDR(PORTC);
        number -= 14;
    } else if (number >= 8) {
        pin.at = _SFR_MEM_ADDR(PORTB);
        number -= 8;
    }
    pin.mask <<= number & 7;
    return pin;
}

void pin_write(pin_t pin, bool high) {
    if (!pin.at)
        return;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t level = REGISTER(pin.at) | pin.mask;
        REGISTER(pin.at) = high ? level : level ^ pin.mask;
    }
}

pin_t pin_make_output(uint8_t number, bool high) {
    pin_t pin = pin_of(number);
    pin_write(pin, high); /* first, so that the pin never shows another level */
    if (pin.at)
        REGISTER(pin.at - 1) |= pin.mask;
    return pin;
}

pin_t pin_make_input(uint8_t number, bool pull_up) {
    pin_t pin = pin_of(number);
    pin_write(pin, pull_up);
    return pin;
}
