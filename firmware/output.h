/* Coils: switched by cues, watched by the guard, all off at once whenever play stops. */
#ifndef OUTPUT_H
#define OUTPUT_H
#include <stdbool.h>
#include <stdint.h>

#include "pins.h"

#define MOST_COILS 32

void outputs_start(void);
void output_coil(uint8_t coil, bool on);
bool output_is_on(uint8_t coil);
pin_t output_pin(uint8_t coil); /* {0, ...} for one on the shift registers */
void outputs_off(void);

#endif
