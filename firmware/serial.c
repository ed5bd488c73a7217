/* Bytes in and out of the serial line. */
#include "firmware.h"

#define RING 64 /* a power of two */
#define RING_MASK (RING - 1)
/* A framing error counts three, a good byte takes one off; at the wrong rate some bytes look good. */
#define ERROR_WEIGHT 3
#define OTHER_RATE (ERROR_WEIGHT * ERRORS_BEFORE_OTHER_BAUD)
#define LISTENING (_BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0))

/* Aligned, so that neither crosses a page of 256 bytes. */
static volatile uint8_t in_ring[RING] __attribute__((aligned(RING), used)), out_ring[RING] __attribute__((aligned(RING), used));
static bool fallback;

/* In assembly because a byte may come every 640 cycles, and step interrupts wait meanwhile. Wakes the main loop with r31, the upper
 * half of an address, which is not 0. A byte that comes when others were lost is of no use to anybody. */
ISR(USART_RX_vect, ISR_NAKED) {
    asm volatile(
        "push r30\n\t"
        "in r30, __SREG__\n\t"
        "push r30\n\t"
        "push r31\n\t"
        "push r24\n\t"
        "lds r31, %[status]\n\t"
        "lds r24, %[data]\n\t"
        "andi r31, %[faults]\n\t"
        "brne 1f\n\t"
        "ldd r30, Y+%[head]\n\t"
        "subi r30, lo8(-(in_ring))\n\t"
        "ldi r31, hi8(in_ring)\n\t"
        "st Z, r24\n\t" /* there is always one place */
        "subi r30, lo8(in_ring - 1)\n\t"
        "andi r30, %[mask]\n\t"
        "ldd r24, Y+%[tail]\n\t"
        "cp r24, r30\n\t"
        "breq 2f\n\t"
        "std Y+%[head], r30\n\t"
        "std Y+%[woken], r31\n\t"
        "rjmp serial_leave\n"
        "1:\n\t" /* bytes were lost, or this one came with a wrong stop bit */
        "sbrs r31, %[framing]\n\t"
        "rjmp 2f\n\t"
        "ldd r30, Y+%[errors]\n\t"
        "subi r30, -%[weight]\n\t"
        "std Y+%[errors], r30\n\t"
        "rjmp serial_leave\n"
        "2:\n\t"
        "ldd r30, Y+%[overruns]\n\t"
        "subi r30, -1\n\t"
        "breq serial_leave\n\t"
        "std Y+%[overruns], r30\n"
        "serial_leave:\n\t"
        "pop r24\n\t"
        "pop r31\n\t"
        "pop r30\n\t"
        "out __SREG__, r30\n\t"
        "pop r30\n\t"
        "reti" ::[status] "n"(_SFR_MEM_ADDR(UCSR0A)),
        [data] "n"(_SFR_MEM_ADDR(UDR0)), [faults] "n"(_BV(FE0) | _BV(DOR0)), [framing] "n"(FE0), [weight] "n"(ERROR_WEIGHT),
        [mask] "n"(RING_MASK), [head] "n"(offsetof(struct board, in_head)), [tail] "n"(offsetof(struct board, in_tail)),
        [woken] "n"(offsetof(struct board, woken)), [errors] "n"(offsetof(struct board, errors)),
        [overruns] "n"(offsetof(struct board, overruns)));
}

/* Comes only while there is something to send. */
ISR(USART_UDRE_vect, ISR_NAKED) {
    asm volatile(
        "push r30\n\t"
        "in r30, __SREG__\n\t"
        "push r30\n\t"
        "push r31\n\t"
        "push r24\n\t"
        "ldd r30, Y+%[tail]\n\t"
        "subi r30, lo8(-(out_ring))\n\t"
        "ldi r31, hi8(out_ring)\n\t"
        "ld r24, Z\n\t"
        "sts %[data], r24\n\t"
        "subi r30, lo8(out_ring - 1)\n\t"
        "andi r30, %[mask]\n\t"
        "std Y+%[tail], r30\n\t"
        "ldd r24, Y+%[head]\n\t"
        "cpse r24, r30\n\t"
        "rjmp serial_leave\n\t"
        "ldi r24, %[listening]\n\t"
        "sts %[control], r24\n\t"
        "rjmp serial_leave" ::[data] "n"(_SFR_MEM_ADDR(UDR0)),
        [control] "n"(_SFR_MEM_ADDR(UCSR0B)), [listening] "n"(LISTENING), [mask] "n"(RING_MASK),
        [head] "n"(offsetof(struct board, out_head)), [tail] "n"(offsetof(struct board, out_tail)));
}

static __attribute__((noinline)) void serial_start(void) {
    UCSR0A = _BV(U2X0);
    UBRR0 = fallback ? LINK_FALLBACK_UBRR : LINK_UBRR;
    UCSR0B = LISTENING; /* 8N1 is what a reset leaves */
}

/* Try the other rate when this one brings errors only. */
static void serial_poll(void) {
    if (board->errors < OTHER_RATE)
        return;
    board->errors = 0;
    if (board->awaits_cues)
        return;
    fallback = !fallback;
    serial_start();
}

static uint8_t serial_waiting(void) { return board->in_head != board->in_tail; }

static uint8_t serial_take(void) {
    uint8_t place = board->in_tail, byte = in_ring[place];
    board->in_tail = (place + 1) & RING_MASK;
    if (board->errors)
        board->errors--;
    return byte;
}

/* Bytes that can be sent without waiting. */
static uint8_t serial_room(void) { return (board->out_tail - board->out_head - 1) & RING_MASK; }

static __attribute__((noinline)) void serial_put(uint8_t byte) {
    while (!serial_room())
        wdt_reset(); /* the line takes it, however slowly */
    uint8_t place = board->out_head;
    out_ring[place] = byte;
    board->out_head = (place + 1) & RING_MASK;
    UCSR0B = LISTENING | _BV(UDRIE0);
}
