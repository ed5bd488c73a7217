/* The core's clock: runs instructions between whatever is due. */
#include "inside.h"
#include <simavr/sim_core.h>

void in_trouble(chip *c, const char *what)
{
    if (!c->trouble)
        c->trouble = what;
    c->avr->run_cycle_count = 0;
}

void due_at(chip *c, int which, uint64_t cycle)
{
    uint64_t before = c->due[which];
    c->due[which] = cycle;
    if (cycle < c->next) {
        c->next = cycle;
        c->avr->run_cycle_count = 0; /* the core stops after this instruction and looks again */
    } else if (before == c->next && cycle > before) {
        c->next = CHIP_NEVER;
        for (int i = 0; i < DUES; i++)
            if (c->due[i] < c->next)
                c->next = c->due[i];
    }
}

static void call_due(chip *c, uint64_t now)
{
    uint64_t again = c->caller(c->caller_context, now);
    due_at(c, DUE_CALL, again > now ? again : now + 1); /* it has been called now */
}

static void happen(chip *c, int which, uint64_t now)
{
    switch (which) {
    case DUE_TIMER0: case DUE_TIMER1: case DUE_TIMER2: timer_due(c, which - DUE_TIMER0, now); break;
    case DUE_SPI: spi_due(c, now); break;
    case DUE_TX: uart_tx_due(c, now); break;
    case DUE_RX: uart_rx_due(c, now); break;
    case DUE_EEPROM: eeprom_due(c, now); break;
    case DUE_WATCHDOG: watchdog_due(c, now); break;
    case DUE_DRIVE: pins_drive_due(c, now); break;
    case DUE_CALL: call_due(c, now); break;
    }
}

void catch_up(chip *c, uint64_t until)
{
    while (c->next <= until) {
        int which = 0;
        while (c->due[which] != c->next)
            which++;
        c->now = c->next;
        due_at(c, which, CHIP_NEVER);
        happen(c, which, c->now);
    }
    c->now = until;
}

/* ---- running */

/* Asleep: on to the next thing due, unless an interrupt wakes the core. Only idle sleep is modelled (SM2:0 = 0). */
static void doze(chip *c, uint64_t until)
{
    avr_t *avr = c->avr;
    uint8_t mode = avr->data[SMCR];
    if (!(mode & 1)) { /* SE is off: SLEEP does nothing */
        avr->state = cpu_Running;
        return;
    }
    if (mode & 0x0E)
        in_trouble(c, "the rig knows idle sleep only (SMCR)");
    if (c->wanted && avr->sreg[S_I]) {
        avr->state = cpu_Running;
        interrupt_enter(c, 1);
        return;
    }
    uint64_t to = c->next < until ? c->next : until;
    c->asleep += to - avr->cycle;
    avr->cycle = to;
}

static void step(chip *c, uint64_t until)
{
    avr_t *avr = c->avr;
    uint64_t to = c->next < until ? c->next : until;
    avr->run_cycle_count = c->shadow ? 0 : to - avr->cycle;
    avr->interrupt_state = 0;
    avr->pc = avr_run_one(avr);
    c->shadow = avr->interrupt_state < 0; /* SEI, RETI or a write of SREG has just set I */
    if (avr->state != cpu_Running && avr->state != cpu_Sleeping)
        in_trouble(c, "the program left the memory (a jump or an address out of it)");
}

int chip_run(chip *c, uint64_t until)
{
    avr_t *avr = c->avr;
    while (avr->cycle < until && !c->trouble) {
        if (c->next <= avr->cycle)
            catch_up(c, avr->cycle);
        if (c->reset_cause >= 0)
            start_core(c);
        else if (avr->state == cpu_Sleeping)
            doze(c, until);
        else if (c->wanted && avr->sreg[S_I] && !c->shadow)
            interrupt_enter(c, 0);
        else
            step(c, until);
    }
    catch_up(c, avr->cycle);
    return c->trouble != NULL;
}

void chip_call(chip *c, chip_caller caller, void *context, uint64_t cycle)
{
    c->caller = caller;
    c->caller_context = context;
    due_at(c, DUE_CALL, cycle > c->now ? cycle : c->now);
}
