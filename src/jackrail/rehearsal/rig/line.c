/* The line RXD as a sender drives it: frames 8N1 one behind the other, high between them. Its bit time need not be the chip's. */
#include "inside.h"
#include <math.h>

enum { STOP_BIT = 9, FRAME_BITS = 10 };

static int frame_level(const frame *f, double at)
{
    int bit = (int)floor((at - (double)f->start) / f->bit);
    if (bit <= 0)
        return bit < 0;
    if (bit < STOP_BIT)
        return f->value >> (bit - 1) & 1;
    return bit > STOP_BIT || !f->wrong_stop;
}

/* From the frame on that next_fall last found. */
int line_level(const line *l, double at)
{
    const frame *all = l->frames.items;
    uint64_t i = l->current;
    while (i + 1 < l->frames.count && (double)all[i + 1].start <= at)
        i++;
    return i < l->frames.count ? frame_level(&all[i], at) : 1;
}

static int falls(const frame *all, uint64_t i, int bit)
{
    double at = (double)all[i].start + bit * all[i].bit, half = all[i].bit / 2;
    int before = bit ? frame_level(&all[i], at - half) : !i || frame_level(&all[i - 1], at - half);
    return before && !frame_level(&all[i], at + half);
}

/* A start bit or, when bit times differ, any other falling edge. */
uint64_t line_next_fall(line *l, uint64_t from)
{
    const frame *all = l->frames.items;
    for (; l->current < l->frames.count; l->current++)
        for (int bit = 0; bit < FRAME_BITS; bit++) {
            double at = (double)all[l->current].start + bit * all[l->current].bit;
            if (at >= (double)from && falls(all, l->current, bit))
                return (uint64_t)ceil(at);
        }
    return CHIP_NEVER;
}

uint64_t chip_send(chip *c, const uint8_t *bytes, uint32_t n, uint64_t first, double bit, int wrong_stop)
{
    line *l = &c->line;
    double start = (double)(first > l->free ? first : l->free);
    if (l->current == l->frames.count && start > (double)l->free)
        l->current = l->frames.count = 0; /* all is over, and the line was high in between */
    for (uint32_t i = 0; i < n; i++, start += FRAME_BITS * bit)
        *(frame *)list_add(&l->frames, sizeof(frame)) = (frame){(uint64_t)ceil(start), bit, bytes[i], wrong_stop != 0};
    l->free = (uint64_t)ceil(start);
    uart_listen(c, c->now);
    return l->free;
}
