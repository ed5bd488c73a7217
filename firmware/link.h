/* The serial link: frames for programs, plain words for people, on one line. docs/SPEC-link.md is its description. */
#ifndef LINK_H
#define LINK_H
#include <stdint.h>

#include "link_format.h"

extern uint8_t link_reset_cause, link_bad_frames;

void link_poll(void);
void link_news(uint8_t kind, uint8_t reason, uint8_t where); /* to whom spoke last, a program or a person */

#endif
