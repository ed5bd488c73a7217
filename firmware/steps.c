/* The interrupts that make steps. Two axes get their edges from the compare hardware of timer 1 on D9 and D10, exact to the cycle; two
 * more by software on a grid of 50 us. */
#include "firmware.h"

#define GRID 100  /* ticks between two looks at the software axes: 50 us */
#define TEXT_(x) #x
#define TEXT(x) TEXT_(x)

/* A run was taken by the interrupt below, which has masked itself for this axis: what is long here may be interrupted. */
void refill(axis_t *of) __attribute__((used));
void refill(axis_t *of) {
    axis = of;
    sei();
    follow();
    cli();
    if (axis->phase)
        TIMSK1 |= axis->enable;
}

static void soft_start(void) {
    OCR2A = GRID - 1;
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS21); /* 16 MHz / 8, back to 0 every 100 ticks */
}

/* No cue may begin a move meanwhile. A pulse is as long as the work within it, some 4 us. */
void soft_steps(void) __attribute__((used));
void soft_steps(void) {
    uint8_t cues = TIMSK0;
    bool moving = false;
    TIMSK0 = 0;
    TIMSK2 = 0;
    sei();
    for (axis = axes; axis < &axes[MOST_AXES]; axis++) {
        uint16_t wait = axis->wait;
        if (!wait)
            continue;
        moving = true;
        wait -= GRID;
        if (!wait || wait > axis->interval) { /* past: wrapped below 0 */
            pin_write(axis_u8(AXIS_STEP_PIN), true);
            if (!--axis->run) {
                take_next();
                follow();
            }
            wait = axis->run ? wait + axis->interval : 0;
            pin_write(axis_u8(AXIS_STEP_PIN), false);
        }
        axis->wait = wait;
    }
    cli();
    TIMSK0 = cues;
    if (moving)
        TIMSK2 = _BV(OCIE2A);
}

/* A step was made, by the hardware. Count it, set the compare for the next, end the pulse; when the run is done take the one that
 * lies ready. In assembly because it is done up to 80,000 times a second, and the compiler would save every register for the
 * sake of the end of a run. Z: axis, X: behind its compare register. */
ISR(TIMER1_COMPA_vect, ISR_NAKED) {
    asm volatile("push r30\n\t"
                 "push r31\n\t"
                 "ldd r30, Y+%[channel]\n\t"
                 "ldd r31, Y+%[channel]+1\n\t"
                 "rjmp step_made" ::[channel] "n"(offsetof(struct board, channel)));
}

ISR(TIMER1_COMPB_vect, ISR_NAKED) {
    asm volatile("push r30\n\t"
                 "push r31\n\t"
                 "ldd r30, Y+%[channel]\n\t"
                 "ldd r31, Y+%[channel]+1\n"
                 "step_made:\n\t"
                 "push r24\n\t"
                 "in r24, __SREG__\n\t"
                 "push r24\n\t"
                 "push r25\n\t"
                 "push r26\n\t"
                 "push r27\n\t"
                 "push r18\n\t"
                 "push r19\n\t"
                 "ldd r24, Z+%[run]\n\t"
                 "ldd r25, Z+%[run]+1\n\t"
                 "clt\n\t"
                 "sbiw r24, 1\n\t"
                 "brne 1f\n\t"
                 "set\n\t" /* the run is done */
                 "ldd r24, Z+%[ahead_interval]\n\t"
                 "ldd r25, Z+%[ahead_interval]+1\n\t"
                 "std Z+%[interval], r24\n\t"
                 "std Z+%[interval]+1, r25\n\t"
                 "ldd r24, Z+%[ahead_run]\n\t"
                 "ldd r25, Z+%[ahead_run]+1\n"
                 "1:\n\t"
                 "std Z+%[run], r24\n\t"
                 "std Z+%[run]+1, r25\n\t"
                 "or r24, r25\n\t"
                 "breq 4f\n\t" /* so is the move: no compare */
                 "ldd r26, Z+%[enable]\n\t"
                 "ldi r27, 0\n\t"
                 "subi r26, -%[compare]\n\t"
                 "ld r19, -X\n\t"
                 "ld r18, -X\n\t"
                 "lds r26, %[counter]\n\t"
                 "lds r27, %[counter]+1\n\t"
                 "sub r26, r18\n\t" /* ticks since the edge */
                 "sbc r27, r19\n\t"
                 "adiw r26, %[awake]\n\t"
                 "ldd r24, Z+%[interval]\n\t"
                 "ldd r25, Z+%[interval]+1\n\t"
                 "cp r26, r24\n\t"
                 "cpc r27, r25\n\t"
                 "brsh 6f\n\t"
                 "add r18, r24\n\t"
                 "adc r19, r25\n"
                 "3:\n\t"
                 "ldd r26, Z+%[enable]\n\t"
                 "ldi r27, 0\n\t"
                 "subi r26, -%[compare]\n\t"
                 "st -X, r19\n\t" /* upper byte first */
                 "st -X, r18\n"
                 "4:\n\t" /* the line goes low by a forced compare in clear mode, then is to be set again by the next match */
                 "lds r24, %[control]\n\t"
                 "ldd r25, Z+%[set]\n\t"
                 "eor r24, r25\n\t"
                 "sts %[control], r24\n\t"
                 "ldd r18, Z+%[force]\n\t"
                 "sts %[strobe], r18\n\t"
                 "eor r24, r25\n\t"
                 "ldd r18, Z+%[run]\n\t"
                 "ldd r19, Z+%[run]+1\n\t"
                 "or r18, r19\n\t"
                 "breq 5f\n\t" /* but not behind the last step */
                 "sts %[control], r24\n"
                 "5:\n\t"
                 "brts 7f\n"
                 "step_leave:\n\t"
                 "pop r19\n\t"
                 "pop r18\n\t"
                 "pop r27\n\t"
                 "pop r26\n\t"
                 "pop r25\n\t"
                 "pop r24\n\t"
                 "out __SREG__, r24\n\t"
                 "pop r24\n\t"
                 "pop r31\n\t"
                 "pop r30\n\t"
                 "reti\n"
                 "6:\n\t" /* the next compare is past already: just ahead of the counter, as it would else wait for a round of 32 ms */
                 "ldd r24, Y+%[missed]\n\t"
                 "subi r24, -1\n\t"
                 "breq 2f\n\t"
                 "std Y+%[missed], r24\n"
                 "2:\n\t"
                 "lds r18, %[counter]\n\t"
                 "lds r19, %[counter]+1\n\t"
                 "subi r18, -%[awake]\n\t"
                 "sbci r19, -1\n\t"
                 "rjmp 3b\n"
                 "7:\n\t" /* mask this axis, and prepare the run behind the one just taken */
                 "lds r24, %[mask]\n\t"
                 "ldd r25, Z+%[enable]\n\t"
                 "eor r24, r25\n\t"
                 "sts %[mask], r24\n\t"
                 "movw r24, r30\n\t"
                 "ldi r30, lo8(gs(refill))\n\t"
                 "ldi r31, hi8(gs(refill))\n"
                 "call_z:\n\t" /* save the other registers that a C function may use, and call it */
                 "push r0\n\t"
                 "push r1\n\t"
                 "push r2\n\t"
                 "push r3\n\t"
                 "push r20\n\t"
                 "push r21\n\t"
                 "push r22\n\t"
                 "push r23\n\t"
                 "clr r1\n\t"
                 "icall\n\t"
                 "pop r23\n\t"
                 "pop r22\n\t"
                 "pop r21\n\t"
                 "pop r20\n\t"
                 "pop r3\n\t"
                 "pop r2\n\t"
                 "pop r1\n\t"
                 "pop r0\n\t"
                 "rjmp step_leave\n"
                 "save_and_call_z:\n\t"
                 "push r24\n\t"
                 "in r24, __SREG__\n\t"
                 "push r24\n\t"
                 "push r25\n\t"
                 "push r26\n\t"
                 "push r27\n\t"
                 "push r18\n\t"
                 "push r19\n\t"
                 "rjmp call_z" ::[channel] "n"(offsetof(struct board, channel) + 2),
                 [missed] "n"(offsetof(struct board, missed)), [run] "n"(offsetof(axis_t, run)),
                 [interval] "n"(offsetof(axis_t, interval)), [ahead_run] "n"(offsetof(axis_t, ahead_run)),
                 [ahead_interval] "n"(offsetof(axis_t, ahead_interval)), [set] "n"(offsetof(axis_t, set)),
                 [force] "n"(offsetof(axis_t, force)), [enable] "n"(offsetof(axis_t, enable)),
                 [compare] "n"(_SFR_MEM_ADDR(OCR1A) + 2 - _BV(OCIE1A)), [counter] "n"(_SFR_MEM_ADDR(TCNT1)),
                 [control] "n"(_SFR_MEM_ADDR(TCCR1A)), [strobe] "n"(_SFR_MEM_ADDR(TCCR1C)), [mask] "n"(_SFR_MEM_ADDR(TIMSK1)),
                 [awake] "n"(AWAKE));
}

ISR(TIMER2_COMPA_vect, ISR_NAKED) {
    asm volatile("push r30\n\t"
                 "push r31\n\t"
                 "ldi r30, lo8(gs(soft_steps))\n\t"
                 "ldi r31, hi8(gs(soft_steps))\n\t"
                 "rjmp save_and_call_z");
}

ISR(TIMER0_COMPA_vect, ISR_NAKED) {
    asm volatile("push r30\n\t"
                 "push r31\n\t"
                 "ldi r30, lo8(gs(cues))\n\t"
                 "ldi r31, hi8(gs(cues))\n\t"
                 "rjmp save_and_call_z");
}
