/* What a person types into any serial terminal, and what is answered. */
#ifndef WORDS_H
#define WORDS_H
#include <stdint.h>

void words_take(uint8_t byte);
void words_stopped(uint8_t reason, uint8_t where);

#endif
