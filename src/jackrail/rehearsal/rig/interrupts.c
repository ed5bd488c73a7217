/* Which interrupt comes next, what its entry costs, and how long each took. */
#include "inside.h"
#include <string.h>

void want(chip *c, int vector, int yes)
{
    uint32_t bit = 1u << vector;
    if (yes && !(c->wanted & bit)) {
        c->wanted_since[vector] = c->now;
        c->avr->run_cycle_count = 0;
    }
    c->wanted = yes ? c->wanted | bit : c->wanted & ~bit;
}

/* The flag falls when the interrupt begins, except where reading data or a condition clears it (RX, UDRE, EEPROM ready). */
static void acknowledge(chip *c, int vector)
{
    if (vector < VECTOR_WATCHDOG)
        external_taken(c, vector);
    else if (vector == VECTOR_WATCHDOG)
        watchdog_taken(c);
    else if (vector < VECTOR_SPI)
        timer_taken(c, vector);
    else if (vector == VECTOR_SPI)
        spi_taken(c);
    else if (vector == VECTOR_TX)
        uart_tx_taken(c);
}

static void push(avr_t *avr, uint8_t value)
{
    uint16_t sp = (uint16_t)(avr->data[R_SPL] | avr->data[R_SPH] << 8);
    avr->data[sp] = value;
    sp--;
    avr->data[R_SPL] = (uint8_t)sp;
    avr->data[R_SPH] = (uint8_t)(sp >> 8);
}

static void measure_entry(chip *c, int vector)
{
    chip_interrupt *m = &c->interrupts[vector];
    uint64_t waited = c->avr->cycle - c->wanted_since[vector];
    m->count++;
    if (waited > m->latest)
        m->latest = waited;
    if (c->depth < (int)(sizeof c->nest / sizeof *c->nest))
        c->nest[c->depth++] = (nested){vector, c->avr->cycle};
}

/* 7.7.1: four cycles push the program counter and go to the vector, the lowest number first; four more from sleep. */
void interrupt_enter(chip *c, int from_sleep)
{
    avr_t *avr = c->avr;
    int vector = __builtin_ctz(c->wanted);
    uint16_t sp = (uint16_t)(avr->data[R_SPL] | avr->data[R_SPH] << 8);
    if (sp <= RAM_FIRST || sp > RAM_LAST) {
        in_trouble(c, "the stack pointer left the memory");
        return;
    }
    measure_entry(c, vector);
    push(avr, (uint8_t)(avr->pc >> 1));
    push(avr, (uint8_t)(avr->pc >> 9));
    avr->sreg[S_I] = 0;
    avr->pc = (uint32_t)vector * 4;
    avr->cycle += from_sleep ? 8 : 4;
    acknowledge(c, vector);
}

static void on_reti(avr_irq_t *irq, uint32_t value, void *context)
{
    chip *c = context;
    (void)irq, (void)value;
    if (!c->depth)
        return;
    nested *done = &c->nest[--c->depth];
    chip_interrupt *m = &c->interrupts[done->vector];
    uint64_t took = c->avr->cycle + 4 - done->entered;
    if (took > m->longest)
        m->longest = took;
}

void interrupts_init(chip *c) { avr_irq_register_notify(c->avr->interrupts.irq + AVR_INT_IRQ_RUNNING, on_reti, c); }

void interrupts_reset(chip *c)
{
    c->wanted = 0;
    c->depth = 0;
}
