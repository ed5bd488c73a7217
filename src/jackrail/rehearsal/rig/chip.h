/* The emulated ATmega328P at 16 MHz: libsimavr decodes the instructions, everything around the core is ours (see inside.h).
   Time is the CPU cycle since power-on, kept through resets. Pins: D0-D13 are 0-13, A0-A5 are 14-19, 32 + n is output n of
   the shift-register chain. Levels: 0, 1, and 2 = high impedance.

   Not modelled, and a program that uses it stops with trouble: timers in PWM modes or with an external clock, sleep deeper than
   idle, the clock divider, ADC, TWI, nine-bit frames, level-triggered INT0 and INT1, writing the flash.
   Not modelled, and not noticed: input capture, the comparator, PRR, parity of received frames, slave modes of SPI and USART.
   Taken as ideal: the oscillators of clock and watchdog, no time for start-up after a reset and none for a boot loader. TXD shows
   its idle level only, MOSI and SCK that of before the transfer; a byte starts as it is written, not at the next baud clock. */
#ifndef CHIP_H
#define CHIP_H

#include <stdint.h>

#define CHIP_NEVER UINT64_MAX
enum { CHIP_POWER_ON, CHIP_EXTERNAL, CHIP_BROWN_OUT, CHIP_WATCHDOG }; /* causes of a reset: the bits of MCUSR */
enum { CHIP_VECTORS = 26 };

typedef struct chip chip;
typedef void (*chip_observer)(void *context, int pin, int level, uint64_t cycle);
typedef uint64_t (*chip_caller)(void *context, uint64_t cycle); /* returns the cycle of its next call */

chip *chip_new(const uint8_t *flash, uint32_t bytes);
void chip_free(chip *);
uint64_t chip_cycle(const chip *);
int chip_run(chip *, uint64_t until_cycle);            /* 0 is well; else chip_trouble says what went wrong */
const char *chip_trouble(const chip *);                /* NULL: none */
void chip_reset(chip *, int cause);                    /* now; pins let go in the same cycle, memory is kept */

void chip_hang(chip *);                                /* its main program hangs from now on, until a reset */

/* The world around the chip */
void chip_drive(chip *, int pin, int level);           /* now: 0, 1, or -1 to let go (then the pull-up decides) */
void chip_drive_at(chip *, int pin, int level, uint64_t cycle);
int chip_level(const chip *, int pin);                 /* what the chip puts out: 0, 1, 2 */
void chip_shift(chip *, int latch_pin);                /* a 74HC595 chain on D11, D13 and this pin; -1 none */
void chip_observe(chip *, chip_observer, void *context);
void chip_call(chip *, chip_caller, void *context, uint64_t cycle);
/* Bytes on the line RXD, 8N1, back to back from a cycle on, or behind what is still queued. Returns when the line is idle. */
uint64_t chip_send(chip *, const uint8_t *, uint32_t n, uint64_t first_cycle, double cycles_per_bit, int wrong_stop_bit);

/* What happened. The arrays stay valid until the chip runs again. */
typedef struct { uint64_t cycle; int32_t pin, level; } chip_edge;
typedef struct { uint64_t cycle; int32_t place, value; } chip_mark; /* a write to GPIOR0-2 */
typedef struct { uint64_t cycle; uint64_t value; } chip_byte;       /* sent on TXD: when its last stop bit ended */
typedef struct { uint64_t count, longest, latest; } chip_interrupt; /* cycles: entry to RETI; flag to entry */
typedef struct { uint64_t overruns, framing_errors; } chip_line;    /* on RXD, as the chip saw them */

uint64_t chip_edges(const chip *, const chip_edge **);
uint64_t chip_inputs(const chip *, const chip_edge **); /* what the world drove; 2: it let go */
uint64_t chip_marks(const chip *, const chip_mark **);
uint64_t chip_sent(const chip *, const chip_byte **);
void chip_forget(chip *);                              /* empties the four logs */
const chip_interrupt *chip_interrupts(const chip *);   /* by vector number, 0 is unused */
chip_line chip_line_faults(const chip *);
uint64_t chip_asleep(const chip *);                    /* cycles spent asleep */
uint32_t chip_stack_low(const chip *);                 /* lowest address the stack came to (by the SRAM it never touched) */
uint32_t chip_stack_room(const chip *);                /* bytes below it that nothing ever wrote */
uint8_t *chip_eeprom(chip *);                          /* its 1024 bytes */
uint8_t *chip_memory(chip *);                          /* data space 0-0x8FF; registers of peripherals may be stale in it */
uint32_t chip_pc(const chip *);                        /* byte address */

#endif
