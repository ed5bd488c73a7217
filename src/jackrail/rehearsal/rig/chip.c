/* The core's clock: runs instructions between whatever is due, and hands each access to an I/O register to its owner. */
#include "inside.h"
#include <simavr/sim_core.h>
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

void in_trouble(chip *c, const char *what)
{
    if (!c->trouble)
        c->trouble = what;
    c->avr->run_cycle_count = 0;
}

/* ---- what is due when */

void due_at(chip *c, int which, uint64_t cycle)
{
    c->due[which] = cycle;
    c->next = CHIP_NEVER;
    for (int i = 0; i < DUES; i++)
        if (c->due[i] < c->next)
            c->next = c->due[i];
    c->avr->run_cycle_count = 0; /* the core stops after this instruction and looks again */
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

static void catch_up(chip *c, uint64_t until)
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

/* ---- I/O registers: IN, OUT, SBIC and SBIS reach them in their first cycle, all others in their second */

static unsigned opcode(const chip *c) { return c->avr->flash[c->avr->pc] | c->avr->flash[c->avr->pc + 1] << 8; }

int by_sbi(const chip *c) { return (opcode(c) & 0xFF00) == 0x9A00; }

static unsigned is_late(const chip *c)
{
    unsigned op = opcode(c);
    return (op & 0xF000) != 0xB000 && (op & 0xFD00) != 0x9900;
}

static uint8_t on_read(avr_t *avr, avr_io_addr_t address, void *context)
{
    chip *c = context;
    uint64_t now = avr->cycle + is_late(c);
    catch_up(c, now);
    return c->read[address](c, address, now);
}

static void on_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *context)
{
    chip *c = context;
    uint64_t now = avr->cycle + is_late(c) + 1; /* the register holds it from the end of that cycle on */
    catch_up(c, now);
    if (c->reset_cause < 0) /* else a reset came in the middle of the instruction */
        c->write[address](c, address, value, now);
}

void io_hook(chip *c, int address, io_reader read, io_writer write)
{
    c->read[address] = read;
    c->write[address] = write;
    if (read) {
        c->avr->io[AVR_DATA_TO_IO(address)].r.c = on_read;
        c->avr->io[AVR_DATA_TO_IO(address)].r.param = c;
    }
    if (write) {
        c->avr->io[AVR_DATA_TO_IO(address)].w.c = on_write;
        c->avr->io[AVR_DATA_TO_IO(address)].w.param = c;
    }
}

/* ---- registers that belong to no peripheral */

static void write_mark(chip *c, int address, uint8_t value, uint64_t now)
{
    c->avr->data[address] = value;
    *(chip_mark *)list_add(&c->marks, sizeof(chip_mark)) = (chip_mark){now, address == 0x3E ? 0 : address - 0x49, value};
}

static void write_mcusr(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] &= value; /* the flags can be cleared only */
}

static void write_unknown(chip *c, int address, uint8_t value, uint64_t now)
{
    (void)now;
    c->avr->data[address] = value;
    if (address == 0x61 && value & 0x0F)
        in_trouble(c, "the rig has no clock divider (CLKPR)");
    if (address == 0x7A && value & 0x40)
        in_trouble(c, "the rig has no analogue converter (ADSC)");
    if (address == 0xBC && value & 0x04)
        in_trouble(c, "the rig has no two-wire interface (TWEN)");
}

static int on_ioctl(avr_io_t *io, uint32_t what, void *parameter)
{
    chip *c = (chip *)((char *)io - offsetof(chip, ears));
    (void)parameter;
    if (what == AVR_IOCTL_DEF('w', 'd', 't', 'r'))
        watchdog_kick(c);
    return -1;
}

/* ---- life */

static void start_core(chip *c)
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
    io_hook(c, 0x3E, NULL, write_mark);
    io_hook(c, 0x4A, NULL, write_mark);
    io_hook(c, 0x4B, NULL, write_mark);
    io_hook(c, MCUSR, NULL, write_mcusr);
    io_hook(c, 0x61, NULL, write_unknown);
    io_hook(c, 0x7A, NULL, write_unknown);
    io_hook(c, 0xBC, NULL, write_unknown);
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
    list *lists[] = {&c->edges, &c->inputs, &c->marks, &c->sent, &c->drives, &c->uart.coming};
    for (unsigned i = 0; i < sizeof lists / sizeof *lists; i++)
        free(lists[i]->items);
    avr_free_irq(c->avr->interrupts.irq, AVR_INT_IRQ_COUNT);
    avr_terminate(c->avr);
    free(c->avr->irq_pool.irq);
    free(c->avr);
    free(c);
}

void chip_reset(chip *c, int cause) { reset_around(c, cause); }

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
