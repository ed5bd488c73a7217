#include "axis.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "clock.h"

/* Ticks: a compare nearer than this could be past before it is set, by C and by assembly. */
#define AWAKE 8
#define AWAKE_FAST 4
#define GRID 100  /* ticks between two looks at the software axes: 50 us */
enum { TAKEN, LAID, STARVED }; /* axis->ready: a run that is over before the next lies ready waits for it */
#define STEP_PIN_A 9
#define STEP_PIN_B 10

/* Channels: 0 steps on D9, 1 on D10, both by compare hardware; 2 and 3 by software on any pin. */
enum { CHANNEL_A, CHANNEL_B, FIRST_SOFTWARE };
axis_t axes[MOST_AXES];
static axis_t *by_number[MOST_AXES];

uint8_t axis_count;
volatile uint8_t axis_missed;
volatile uint8_t axis_filling;

axis_t *axis_of(uint8_t number) { return by_number[number]; }

uint8_t axis_u8(const axis_t *axis, uint8_t field) { return flash_u8(axis->record + field); }
uint16_t axis_u16(const axis_t *axis, uint8_t field) { return flash_u16(axis->record + field); }
uint32_t axis_u32(const axis_t *axis, uint8_t field) { return flash_u32(axis->record + field); }

uint16_t axis_zero(const axis_t *axis) { return -axis_u16(axis, AXIS_LOWEST); }
uint16_t axis_range(const axis_t *axis) { return axis_u16(axis, AXIS_HIGHEST) - axis_u16(axis, AXIS_LOWEST); }

bool is_pressed(const sense_t *sense) { return (REGISTER(sense->at) & sense->mask) != sense->open; }

/* ---- what comes next in a move ---- */

static uint16_t entry_at(const axis_t *axis, uint8_t entry) { return axis->record + AXIS_SIZE + entry * RAMP_ENTRY_SIZE; }

static uint16_t with_sign(const axis_t *axis, uint16_t steps) { return axis->forward ? steps : -steps; }

static void lay_ready(axis_t *axis, uint8_t phase, uint16_t interval, uint16_t steps) {
    axis->phase = phase;
    axis->ahead_interval = interval;
    axis->ahead_run = steps;
}

/* Lay the run behind the one being made ready. While rising, each entry is climbed, and will be descended, as long as more steps are
 * left than both take; the rest, at the top, is one run: it holds the middle of the move. */
static __attribute__((noinline)) void plan_next(axis_t *axis) {
    uint8_t entry = axis->entry;
    bool rising = axis->phase == RISING;
    if (rising ? entry == axis->top : !entry) {
        lay_ready(axis, rising ? TOP : axis->phase == TOP ? CRUISING : FALLING, axis->cruise, rising ? axis->level : 0);
        return;
    }
    uint16_t at = entry_at(axis, rising ? entry : --entry);
    uint16_t interval = flash_u16(at + RAMP_ENTRY_INTERVAL);
    uint8_t count = flash_u8(at + RAMP_ENTRY_COUNT);
    if (!rising) {
        axis->entry = entry;
        lay_ready(axis, axis->phase == TOP ? CRUISING : FALLING, interval, count);
    } else if (axis->level <= 2 * count) {
        lay_ready(axis, TOP, interval, axis->level);
    } else {
        axis->level -= 2 * count;
        axis->entry++;
        lay_ready(axis, RISING, interval, count);
    }
}

static void take_next(axis_t *axis) {
    axis->interval = axis->ahead_interval;
    axis->run = axis->ahead_run;
}

/* A run was taken: book it and lay the one behind it ready. At the end of the move look at the confirming switch. Its steps may be
 * counted down meanwhile, so its length is that of what lay ready. */
static __attribute__((noinline)) void follow(axis_t *axis) {
    if (axis->ahead_run) {
        axis->position += with_sign(axis, axis->ahead_run);
        plan_next(axis);
    } else {
        axis->closed = is_pressed(&axis->confirm);
        axis->phase = AT_REST;
    }
}

/* ---- the compare hardware ---- */

static uint8_t mode_bits(uint8_t channel) { return channel ? _BV(COM1B1) | _BV(COM1B0) : _BV(COM1A1) | _BV(COM1A0); }

/* Set the compare one interval after `from`; when that is past already, just ahead of the counter: a missed compare would stall
 * the axis for 65,536 ticks. */
static __attribute__((noinline)) void aim(uint8_t channel, uint16_t from) {
    uint16_t interval = axes[channel].interval, count = TCNT1;
    int16_t elapsed = count - from;
    from += interval;
    if (elapsed > 0 && (uint16_t)elapsed + AWAKE >= interval) {
        from = count + AWAKE;
        if (axis_missed < 255)
            axis_missed++;
    }
    if (channel)
        OCR1B = from;
    else
        OCR1A = from;
}

static inline uint8_t enable_bit(uint8_t channel) { return channel ? _BV(OCIE1B) : _BV(OCIE1A); }

/* The line goes low by a forced compare in clear mode, then is ready again to be set by the next match. */
static inline void end_pulse(uint8_t channel) {
    uint8_t set = channel ? _BV(COM1B0) : _BV(COM1A0), mode = TCCR1A & ~set;
    TCCR1A = mode;
    TCCR1C = channel ? _BV(FOC1B) : _BV(FOC1A);
    TCCR1A = mode | set;
}

static inline void let_go(uint8_t channel) {
    TCCR1A &= ~mode_bits(channel);
    TIMSK1 &= ~enable_bit(channel);
}

/* The step interrupts below jump to these; the first two are interruptible from their first instruction. */
void __vector_follow_a(void) __attribute__((interrupt, used));
void __vector_follow_b(void) __attribute__((interrupt, used));
void __vector_over_a(void) __attribute__((signal, used));
void __vector_over_b(void) __attribute__((signal, used));

/* The next run was taken: lay the one behind it ready, while steps of this one may come. */
static __attribute__((noinline)) void run_taken(uint8_t channel) {
    axis_t *axis = &axes[channel];
    axis_filling++; /* each that comes in between is done before us: the count stays right */
    for (;;) {
        follow(axis);
        cli();
        if (axis->ready != STARVED)
            break;
        take_next(axis);
        axis->ready = TAKEN;
        if (axis->run) {
            aim(channel, channel ? OCR1B : OCR1A);
            TIMSK1 |= enable_bit(channel);
        } else {
            let_go(channel);
        }
        sei();
    }
    axis->ready = LAID;
    axis_filling--;
}

void __vector_follow_a(void) { run_taken(CHANNEL_A); }
void __vector_follow_b(void) { run_taken(CHANNEL_B); }

/* A run is over, and it was the last, or the one behind it does not lie ready yet. */
static __attribute__((noinline)) void run_over(uint8_t channel) {
    axis_t *axis = &axes[channel];
    end_pulse(channel);
    axis->run = 0;
    if (axis->ready == LAID) {
        let_go(channel);
        sei();
        follow(axis);
    } else {
        TIMSK1 &= ~enable_bit(channel);
        axis->ready = STARVED;
    }
}

void __vector_over_a(void) { run_over(CHANNEL_A); }
void __vector_over_b(void) { run_over(CHANNEL_B); }

/* A step was made, by the hardware. Count it, set the compare for the next, end the pulse; when the run is done take the one that
 * lies ready (T flag: it was taken). The line goes low by a forced compare in clear mode, then is ready again to be set by the next
 * match. In assembly because it is done up to 80,000 times a second, and the compiler would save every register for the sake of
 * the end of a run. */
#define STEP_INTERRUPT(vector, channel, ocr, com, foc, follow_it, over)                                                     \
    ISR(vector, ISR_NAKED) {                                                                                                      \
        asm volatile("push r24\n\t"                                                                                               \
                     "in r24, __SREG__\n\t"                                                                                       \
                     "push r24\n\t"                                                                                               \
                     "push r25\n\t"                                                                                               \
                     "push r30\n\t"                                                                                               \
                     "push r31\n\t"                                                                                               \
                     "clt\n\t"                                                                                                    \
                     "lds r30, %[interval]\n\t"                                                                                   \
                     "lds r31, %[interval]+1\n\t"                                                                                 \
                     "lds r24, %[run]\n\t"                                                                                        \
                     "lds r25, %[run]+1\n\t"                                                                                      \
                     "sbiw r24, 1\n\t"                                                                                            \
                     "breq 2f\n"                                                                                                  \
                     "1:\n\t"                                                                                                     \
                     "sts %[run]+1, r25\n\t"                                                                                      \
                     "sts %[run], r24\n\t"                                                                                        \
                     "push r26\n\t"                                                                                               \
                     "push r27\n\t"                                                                                               \
                     "lds r24, %[compare]\n\t"                                                                                    \
                     "lds r25, %[compare]+1\n\t"                                                                                  \
                     "lds r26, %[counter]\n\t"                                                                                    \
                     "lds r27, %[counter]+1\n\t"                                                                                  \
                     "sub r26, r24\n\t" /* ticks since the edge */                                                                \
                     "sbc r27, r25\n\t"                                                                                           \
                     "adiw r26, %[awake]\n\t"                                                                                     \
                     "add r24, r30\n\t"                                                                                           \
                     "adc r25, r31\n\t"                                                                                           \
                     "cp r26, r30\n\t"                                                                                            \
                     "cpc r27, r31\n\t"                                                                                           \
                     "brsh 3f\n"                                                                                                  \
                     "4:\n\t"                                                                                                     \
                     "sts %[compare]+1, r25\n\t"                                                                                  \
                     "sts %[compare], r24\n\t"                                                                                    \
                     "lds r24, %[control]\n\t"                                                                                    \
                     "andi r24, lo8(~%[clear])\n\t"                                                                               \
                     "sts %[control], r24\n\t"                                                                                    \
                     "ldi r25, %[force]\n\t"                                                                                      \
                     "sts %[strobe], r25\n\t"                                                                                     \
                     "ori r24, %[clear]\n\t"                                                                                      \
                     "sts %[control], r24\n\t"                                                                                    \
                     "pop r27\n\t"                                                                                                \
                     "pop r26\n\t"                                                                                                \
                     "pop r31\n\t"                                                                                                \
                     "pop r30\n\t"                                                                                                \
                     "pop r25\n\t"                                                                                                \
                     "brts 6f\n\t"                                                                                                \
                     "pop r24\n\t"                                                                                                \
                     "out __SREG__, r24\n\t"                                                                                      \
                     "pop r24\n\t"                                                                                                \
                     "reti\n"                                                                                                     \
                     "2:\n\t" /* the run is done */                                                                               \
                     "lds r24, %[ready]\n\t"                                                                                      \
                     "cpi r24, %[laid]\n\t"                                                                                       \
                     "brne 7f\n\t"                                                                                                \
                     "lds r24, %[ahead_run]\n\t"                                                                                  \
                     "lds r25, %[ahead_run]+1\n\t"                                                                                \
                     "sbiw r24, 0\n\t"                                                                                            \
                     "breq 7f\n\t"                                                                                                \
                     "set\n\t"                                                                                                    \
                     "ldi r30, %[taken]\n\t"                                                                                      \
                     "sts %[ready], r30\n\t"                                                                                      \
                     "lds r30, %[ahead_interval]\n\t"                                                                             \
                     "lds r31, %[ahead_interval]+1\n\t"                                                                           \
                     "sts %[interval], r30\n\t"                                                                                   \
                     "sts %[interval]+1, r31\n\t"                                                                                 \
                     "rjmp 1b\n"                                                                                                  \
                     "3:\n\t" /* the next compare is past already: just ahead of the counter, or it would wait for a round */     \
                     "lds r24, %[missed]\n\t"                                                                                     \
                     "subi r24, 0xFF\n\t"                                                                                         \
                     "breq 8f\n\t"                                                                                                \
                     "sts %[missed], r24\n"                                                                                       \
                     "8:\n\t"                                                                                                     \
                     "lds r24, %[counter]\n\t"                                                                                    \
                     "lds r25, %[counter]+1\n\t"                                                                                  \
                     "adiw r24, %[awake]\n\t"                                                                                     \
                     "rjmp 4b\n"                                                                                                  \
                     "6:\n\t"                                                                                                     \
                     "pop r24\n\t"                                                                                                \
                     "out __SREG__, r24\n\t"                                                                                      \
                     "pop r24\n\t"                                                                                                \
                     "jmp " follow_it "\n"                                                                                        \
                     "7:\n\t" /* and no other lies ready */                                                                                \
                     "pop r31\n\t"                                                                                                \
                     "pop r30\n\t"                                                                                                \
                     "pop r25\n\t"                                                                                                \
                     "pop r24\n\t"                                                                                                \
                     "out __SREG__, r24\n\t"                                                                                      \
                     "pop r24\n\t"                                                                                                \
                     "jmp " over "\n" ::[run] "i"(&axes[channel].run),                                                            \
                     [interval] "i"(&axes[channel].interval), [ahead_run] "i"(&axes[channel].ahead_run),                          \
                     [ahead_interval] "i"(&axes[channel].ahead_interval), [compare] "n"(_SFR_MEM_ADDR(ocr)),                      \
                     [counter] "n"(_SFR_MEM_ADDR(TCNT1)), [control] "n"(_SFR_MEM_ADDR(TCCR1A)),                                   \
                     [strobe] "n"(_SFR_MEM_ADDR(TCCR1C)), [ready] "i"(&axes[channel].ready), [laid] "n"(LAID), [taken] "n"(TAKEN), [clear] "n"(_BV(com)),               \
                     [force] "n"(_BV(foc)), [missed] "i"(&axis_missed), [awake] "n"(AWAKE_FAST));             \
    }

STEP_INTERRUPT(TIMER1_COMPA_vect, CHANNEL_A, OCR1A, COM1A0, FOC1A, "__vector_follow_a", "__vector_over_a")
STEP_INTERRUPT(TIMER1_COMPB_vect, CHANNEL_B, OCR1B, COM1B0, FOC1B, "__vector_follow_b", "__vector_over_b")

/* ---- the software axes: edges on a grid of 50 us, while one of them moves ---- */

ISR(TIMER2_COMPA_vect) {
    bool moving = false;
    for (axis_t *axis = &axes[FIRST_SOFTWARE]; axis < &axes[MOST_AXES]; axis++) {
        pin_write(axis->step, false);
        if (!axis->run)
            continue;
        moving = true;
        axis->left -= GRID;
        if (axis->left > axis->interval || !axis->left) { /* past: wrapped below 0 */
            pin_write(axis->step, true);
            if (!--axis->run) {
                take_next(axis);
                follow(axis);
            }
            axis->left += axis->interval;
        }
    }
    if (!moving)
        TIMSK2 = 0;
}

/* ---- moves ---- */

static void go(axis_t *axis, uint16_t due) {
    uint8_t channel = axis == &axes[CHANNEL_A] ? CHANNEL_A : axis == &axes[CHANNEL_B] ? CHANNEL_B : FIRST_SOFTWARE;
    axis->moves++;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (channel < FIRST_SOFTWARE) {
            uint8_t enable = enable_bit(channel);
            aim(channel, due);
            TIFR1 = enable; /* the flag stands at the same bit */
            TCCR1A |= mode_bits(channel);
            TIMSK1 |= enable;
        } else {
            TIMSK2 = _BV(OCIE2A);
        }
    }
}

/* Cruise interval and top are set. */
static bool set_out(axis_t *axis, bool forward, uint16_t steps, uint16_t due) {
    if (axis->phase != AT_REST)
        return false;
    if (!steps)
        return true;
    axis->forward = forward;
    pin_write(axis->direction, forward != axis_u8(axis, AXIS_REVERSED));
    axis->entry = 0;
    axis->level = steps;
    axis->phase = RISING;
    plan_next(axis);
    axis->left = axis->ahead_interval;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { take_next(axis); } /* the grid of the software axes looks at the run */
    follow(axis);
    axis->ready = LAID;
    go(axis, due);
    return true;
}

bool axis_begin(axis_t *axis, bool forward, uint16_t steps, uint32_t due) {
    if (axis->phase != AT_REST)
        return false;
    axis->cruise = axis_u16(axis, AXIS_CRUISE_TICKS);
    axis->top = axis_u8(axis, AXIS_ENTRIES);
    return set_out(axis, forward, steps, due);
}

void axis_go_to(axis_t *axis, uint16_t position) {
    bool forward = position > axis->position;
    axis_begin(axis, forward, forward ? position - axis->position : axis->position - position, now());
}

void axis_approach(axis_t *axis, bool forward, uint16_t steps) {
    uint8_t top = 0;
    axis->cruise = axis_u16(axis, AXIS_CRUISE_TICKS);
    for (uint8_t entries = axis_u8(axis, AXIS_ENTRIES); top < entries; top++) {
        uint16_t interval = flash_u16(entry_at(axis, top) + RAMP_ENTRY_INTERVAL);
        if (interval >> 2 <= axis->cruise) {
            axis->cruise = interval;
            break;
        }
    }
    axis->top = top;
    set_out(axis, forward, steps, now());
}

void axis_creep(axis_t *axis, bool forward, uint16_t steps) {
    axis->cruise = axis_u16(axis, AXIS_HOME_TICKS);
    axis->top = 0;
    set_out(axis, forward, steps, now());
}

/* What lies ready is given up where it would not brake. */
void axis_brake(axis_t *axis) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t phase = axis->phase;
        if (phase == CRUISING) { /* at the top: cut it at the step now awaited */
            axis->position -= with_sign(axis, axis->run - 1);
            axis->run = 1;
            axis->phase = FALLING;
        } else if (phase == RISING || phase == TOP) {
            if (phase == RISING)
                axis->entry--; /* the run that lies ready would have climbed it */
            axis->phase = FALLING;
            plan_next(axis);
        }
    }
}

bool axes_rest(void) {
    for (axis_t *axis = axes; axis < &axes[MOST_AXES]; axis++)
        if (axis->phase != AT_REST)
            return false;
    return true;
}

uint16_t axis_position(const axis_t *axis) {
    uint16_t position;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { position = axis->position - with_sign(axis, axis->run); }
    return position;
}

int32_t axis_steps(const axis_t *axis) {
    return axis_u8(axis, AXIS_IS_PICK) ? 0 : axis_u32(axis, AXIS_LOWEST) + axis_position(axis);
}

/* By the same rule as plan_next. */
uint32_t axis_travel(const axis_t *axis, uint16_t steps) {
    uint32_t ticks = 0;
    uint16_t at = entry_at(axis, 0);
    for (uint8_t left = axis_u8(axis, AXIS_ENTRIES); steps; left--, at += RAMP_ENTRY_SIZE) {
        uint16_t interval = left ? flash_u16(at + RAMP_ENTRY_INTERVAL) : axis_u16(axis, AXIS_CRUISE_TICKS);
        uint16_t both = 2 * flash_u8(at + RAMP_ENTRY_COUNT);
        if (!left || both > steps)
            both = steps;
        ticks += (uint32_t)interval * both;
        steps -= both;
    }
    return ticks;
}

/* ---- set-up ---- */

void axes_start(void) {
    uint16_t record = block_axes;
    axis_t *software = &axes[FIRST_SOFTWARE];
    for (axis_count = 0; axis_count < block_head(MACHINE_HEAD_AXES); axis_count++) {
        uint8_t step_pin = flash_u8(record + AXIS_STEP_PIN);
        axis_t *axis = step_pin == STEP_PIN_A ? &axes[CHANNEL_A] : step_pin == STEP_PIN_B ? &axes[CHANNEL_B] : software++;
        by_number[axis_count] = axis;
        axis->record = record;
        axis->step = pin_make_output(step_pin, false);
        axis->direction = pin_make_output(axis_u8(axis, AXIS_DIRECTION_PIN), false);
        record += AXIS_SIZE + axis_u8(axis, AXIS_ENTRIES) * RAMP_ENTRY_SIZE;
    }
    OCR2A = GRID - 1;
    TCCR2A = _BV(WGM21);
    TCCR2B = _BV(CS21); /* 16 MHz / 8, back to 0 every 100 ticks */
}

void axes_enable(bool on) {
    for (uint8_t number = 0; number < axis_count; number++)
        pin_make_output(axis_u8(axis_of(number), AXIS_ENABLE_PIN), !on);
}
