/* What every part of the firmware uses; each part stands in the one translation unit behind those it calls (firmware.c). */
#ifndef FIRMWARE_H
#define FIRMWARE_H
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stddef.h>
#include <util/atomic.h>
#include <util/crc16.h>

#include "board.h"

#define MOST_COILS 32
#define NOINLINE __attribute__((noinline))

static void player_stop(uint8_t reason, uint8_t where);
static void link_news(uint8_t kind, uint8_t reason, uint8_t where);

#endif
