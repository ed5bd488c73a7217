/* What a run leaves behind. */
#include "inside.h"

uint64_t chip_edges(const chip *c, const chip_edge **all)
{
    *all = c->edges.items;
    return c->edges.count;
}

uint64_t chip_inputs(const chip *c, const chip_edge **all)
{
    *all = c->inputs.items;
    return c->inputs.count;
}

uint64_t chip_marks(const chip *c, const chip_mark **all)
{
    *all = c->marks.items;
    return c->marks.count;
}

uint64_t chip_sent(const chip *c, const chip_byte **all)
{
    *all = c->sent.items;
    return c->sent.count;
}

void chip_forget(chip *c) { c->edges.count = c->inputs.count = c->marks.count = c->sent.count = 0; }

const chip_interrupt *chip_interrupts(const chip *c) { return c->interrupts; }

uint64_t chip_asleep(const chip *c) { return c->asleep; }

uint64_t chip_cycle(const chip *c) { return c->now; }

uint32_t chip_pc(const chip *c) { return c->avr->pc; }

const char *chip_trouble(const chip *c) { return c->trouble; }

/* The stack ends where the longest run of SRAM begins that no one ever wrote. */
static uint32_t longest_untouched(const chip *c, uint32_t *behind)
{
    uint32_t best = 0, run = 0;
    *behind = RAM_LAST + 1;
    for (uint32_t a = RAM_FIRST; a <= RAM_LAST; a++) {
        run = c->avr->data[a] == untouched(a) ? run + 1 : 0;
        if (run > best) {
            best = run;
            *behind = a + 1;
        }
    }
    return best;
}

uint32_t chip_stack_low(const chip *c)
{
    uint32_t behind;
    longest_untouched(c, &behind);
    return behind;
}

uint32_t chip_stack_room(const chip *c)
{
    uint32_t behind;
    return longest_untouched(c, &behind);
}
