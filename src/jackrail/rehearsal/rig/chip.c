/* A chip's life: made, reset, freed. libsimavr gives the bare core, without any of its own peripherals. */
#include "inside.h"
#include <stdlib.h>
#include <string.h>

static void nothing(avr_t *avr) { (void)avr; }

void *list_add(list *l, size_t item_bytes)
{
    if (l->count == l->room) {
        l->room = l->room ? 2 * l->room : 64;
        l->items = realloc(l->items, l->room * item_bytes);
        if (!l->items)
            abort();
    }
    return (char *)l->items + l->count++ * item_bytes;
}

static int on_ioctl(avr_io_t *io, uint32_t what, void *parameter)
{
    chip *c = (chip *)((char *)io - offsetof(chip, ears));
    (void)parameter;
    if (what == AVR_IOCTL_DEF('w', 'd', 't', 'r'))
        watchdog_kick(c);
    return -1;
}

void start_core(chip *c)
{
    avr_t *avr = c->avr;
    memset(avr->sreg, 0, sizeof avr->sreg);
    avr->pc = avr->reset_pc;
    avr->data[R_SPL] = RAM_LAST & 0xFF;
    avr->data[R_SPH] = RAM_LAST >> 8;
    avr->interrupt_state = 0;
    avr->state = cpu_Running;
    c->shadow = 0;
    c->reset_cause = -1;
}

/* All but the core: it may be in the middle of an instruction. */
static void reset_around(chip *c, int cause)
{
    uint8_t reasons = cause == CHIP_POWER_ON ? 1 : (uint8_t)(c->avr->data[MCUSR] | 1 << cause); /* 11.9.1: they add up */
    memset(c->avr->data + IO_FIRST, 0, IO_END - IO_FIRST);
    c->avr->data[MCUSR] = reasons;
    pins_reset(c, c->now);
    external_reset(c);
    timers_reset(c, c->now);
    uart_reset(c);
    spi_reset(c);
    eeprom_reset(c);
    watchdog_reset(c, c->now);
    hang_reset(c);
    interrupts_reset(c);
    c->reset_cause = cause;
    c->avr->run_cycle_count = 0;
}

/* SRAM is random at power-on; a pattern shows reads of what was never written, and how far the stack came. */
uint8_t untouched(uint32_t address) { return (uint8_t)(address * 167 + 91 + (address >> 8) * 57); }

static avr_t *bare_core(const uint8_t *flash, uint32_t bytes)
{
    avr_t *avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        return NULL;
    avr->init = avr->reset = nothing; /* none of libsimavr's own peripherals */
    avr_init(avr);
    avr->log = 0;
    memcpy(avr->flash, flash, bytes);
    for (uint32_t a = RAM_FIRST; a <= RAM_LAST; a++)
        avr->data[a] = untouched(a);
    return avr;
}

chip *chip_new(const uint8_t *flash, uint32_t bytes)
{
    avr_t *avr = bytes <= FLASH_BYTES ? bare_core(flash, bytes) : NULL;
    chip *c = avr ? calloc(1, sizeof *c) : NULL;
    if (!c)
        return NULL;
    c->avr = avr;
    c->spi.latch_pin = -1;
    c->ears.kind = "rig";
    c->ears.ioctl = on_ioctl;
    avr_register_io(avr, &c->ears);
    memset(c->eeprom, 0xFF, sizeof c->eeprom);
    for (int i = 0; i < DUES; i++)
        due_at(c, i, CHIP_NEVER);
    io_init(c);
    interrupts_init(c);
    pins_init(c);
    external_init(c);
    timers_init(c);
    uart_init(c);
    spi_init(c);
    eeprom_init(c);
    watchdog_init(c);
    reset_around(c, CHIP_POWER_ON);
    start_core(c);
    return c;
}

void chip_free(chip *c)
{
    list *lists[] = {&c->edges, &c->inputs, &c->marks, &c->sent, &c->drives, &c->line.frames};
    for (unsigned i = 0; i < sizeof lists / sizeof *lists; i++)
        free(lists[i]->items);
    free(c->sound_flash);
    avr_free_irq(c->avr->interrupts.irq, AVR_INT_IRQ_COUNT);
    avr_terminate(c->avr);
    free(c->avr->irq_pool.irq);
    free(c->avr);
    free(c);
}

void chip_reset(chip *c, int cause) { reset_around(c, cause); }
