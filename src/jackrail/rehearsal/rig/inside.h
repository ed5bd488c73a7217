/* What the parts of the emulated chip share. libsimavr runs instructions one at a time; each access to an I/O register comes
   here with the cycle in which the hardware makes it, after all that was due up to then. Facts are those of the ATmega328P
   datasheet (DS40002061); section numbers in the comments are from memory. */
#ifndef INSIDE_H
#define INSIDE_H

#include "chip.h"
#include "timer.h"
#include <simavr/sim_avr.h>
#include <stddef.h>

enum { IO_FIRST = 0x20, IO_END = 0x100, RAM_FIRST = 0x100, RAM_LAST = 0x8FF, FLASH_BYTES = 0x8000, EEPROM_BYTES = 1024 };
enum { SMCR = 0x53, MCUSR = 0x54, MCUCR = 0x55 };
enum { VECTOR_WATCHDOG = 6, VECTOR_SPI = 17, VECTOR_RX = 18, VECTOR_UDRE = 19, VECTOR_TX = 20, VECTOR_EEPROM = 22 };
enum { PORT_B, PORT_C, PORT_D, PORTS };
/* Whatever happens at a cycle of its own; of those at the same cycle the first in this list comes first. */
enum { DUE_TIMER0, DUE_TIMER1, DUE_TIMER2, DUE_SPI, DUE_TX, DUE_RX, DUE_EEPROM, DUE_WATCHDOG, DUE_DRIVE, DUE_CALL, DUES };

typedef uint8_t (*io_reader)(chip *, int address, uint64_t now);
typedef void (*io_writer)(chip *, int address, uint8_t value, uint64_t now);

typedef struct { void *items; uint64_t count, room; } list; /* a growing array; the owner knows the type */

typedef struct {
    uint8_t direction, data;             /* DDRx, PORTx */
    uint8_t taken, forced, wave;         /* pins a peripheral puts out; those it makes outputs whatever DDRx says; their levels */
    uint8_t driven, outside;             /* pins the world drives, and to what */
    uint8_t shown_out, shown;            /* as last told to the observers: which are outputs, and their levels */
    uint8_t input, input_before;         /* as PINx sees the pins, and saw them before the last change */
    uint64_t changed;                    /* when that was */
} port;

typedef struct { uint64_t start; double bit; uint8_t value, wrong_stop; } frame;
typedef struct { list frames; uint64_t current, free; } line; /* free: when the last frame ends */

typedef struct {
    uint8_t a, b, c, receive[2][2], held[2], overrun, waiting_byte, shifting_byte;
    int received, holding, receiving, sending, waiting;
    uint16_t divider;
    uint64_t start;                      /* of the frame being received */
    chip_line faults;
} uart;

typedef struct {
    uint8_t control, status, data;
    int busy, shifted, looked, latch_pin;
    uint64_t start;
    uint32_t chain, outputs;
    int known;
} spi;

typedef struct { int vector; uint64_t entered; } nested;

struct chip {
    avr_t *avr;
    uint64_t now;                        /* the cycle of what is going on */
    uint64_t due[DUES], next;
    io_reader read[IO_END];
    io_writer write[IO_END];
    const char *trouble;
    int reset_cause;                     /* -1, or the core still has to start anew */
    int shadow;                          /* the one instruction after SEI or RETI, before which no interrupt is taken */
    avr_io_t ears;                       /* how libsimavr tells of WDR */

    uint32_t wanted;                     /* interrupts flagged and enabled, a bit per vector */
    uint64_t wanted_since[CHIP_VECTORS];
    nested nest[32];
    int depth;
    chip_interrupt interrupts[CHIP_VECTORS];
    uint64_t asleep;
    uint8_t *sound_flash;                /* while it hangs: the program as it was flashed */

    port ports[PORTS];
    uint8_t pin_control, pin_flags, pin_masks[3], edge_control, edge_mask, edge_flags;
    timer timers[3];
    uint64_t prescaler_zero[2];
    uint8_t prescaler_held;
    uart uart;
    line line;
    spi spi;
    uint8_t eeprom[EEPROM_BYTES], eeprom_control, eeprom_data;
    uint16_t eeprom_address;
    uint64_t eeprom_armed;
    uint8_t watchdog;
    uint64_t watchdog_armed, watchdog_zero;

    list edges, inputs, marks, sent, drives;
    uint64_t next_drive;
    chip_observer observer;
    void *observer_context;
    chip_caller caller;
    void *caller_context;
};

/* chip.c */
void *list_add(list *, size_t item_bytes);
uint8_t untouched(uint32_t address);     /* what SRAM holds before anyone writes it */
void start_core(chip *);                 /* at the reset vector */

/* run.c */
void due_at(chip *, int which, uint64_t cycle);
void catch_up(chip *, uint64_t until);   /* all that is due up to there happens */
void in_trouble(chip *, const char *what);

/* io.c */
void io_init(chip *);
void io_hook(chip *, int address, io_reader, io_writer);
uint8_t written_ones(const chip *, uint8_t value); /* to a flag register: with SBI the one bit it names, not all that were set */

/* interrupts.c */
void want(chip *, int vector, int yes);
void interrupts_init(chip *);
void interrupts_reset(chip *);
void interrupt_enter(chip *, int from_sleep);

/* one set for each peripheral; taken = its interrupt begins, so the flag falls */
void pins_init(chip *);
void pins_reset(chip *, uint64_t now);
void pins_show(chip *, int port, uint64_t now);
void pin_take(chip *, int pin, int taken, int level, uint64_t now);
void pin_tell(chip *, int pin, int level, uint64_t now);
void pins_drive_due(chip *, uint64_t now);
void external_init(chip *);
void external_reset(chip *);
void external_changed(chip *, int port, uint8_t changed);
void external_taken(chip *, int vector);
void timers_init(chip *);
void timers_reset(chip *, uint64_t now);
void timer_due(chip *, int which, uint64_t now);
void timer_taken(chip *, int vector);
void uart_init(chip *);
void uart_reset(chip *);
void uart_tx_due(chip *, uint64_t now);
void uart_rx_due(chip *, uint64_t now);
void uart_tx_taken(chip *);
void uart_listen(chip *, uint64_t now);
int line_level(const line *, double at);
uint64_t line_next_fall(line *, uint64_t from); /* forgets what lies before it */
void spi_init(chip *);
void spi_reset(chip *);
void spi_due(chip *, uint64_t now);
void spi_taken(chip *);
void shift_latch(chip *, uint64_t now);
void shift_clock(chip *);
void eeprom_init(chip *);
void eeprom_reset(chip *);
void eeprom_due(chip *, uint64_t now);
void watchdog_init(chip *);
void watchdog_reset(chip *, uint64_t now);
void hang_reset(chip *);
void watchdog_due(chip *, uint64_t now);
void watchdog_taken(chip *);
void watchdog_kick(chip *);

#endif
