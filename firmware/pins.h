/* Pins by the number printed on the usual board: D0-D13 are 0-13, A0-A5 are 14-19; 32 and up are shift-register outputs. */
#ifndef PINS_H
#define PINS_H
#include <stdbool.h>
#include <stdint.h>

/* One bit of a port. at: address of its PORT register, 0 for none; the PIN register lies two below it. */
typedef struct {
    uint8_t at;
    uint8_t mask;
} pin_t;

#define REGISTER(address) (*(volatile uint8_t *)(uint16_t)(address))

pin_t pin_of(uint8_t number);                        /* {0, 0} for a number that is no pin */
pin_t pin_make_output(uint8_t number, bool high);
pin_t pin_make_input(uint8_t number, bool pull_up);
void pin_write(pin_t pin, bool high);                /* whole also against interrupts */

#endif
