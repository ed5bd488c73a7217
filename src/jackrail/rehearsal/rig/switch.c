/* Switches: a contact that bounces, a pin that shows it. */
#include <stdlib.h>

#include "parts.h"

#define BOUNCE_LEAST 0.3          /* share of the longest bounce that the shortest takes */
#define TOGGLES_PER_S 3000        /* of a contact that bounces for long */

/* xorshift64* (Marsaglia, Vigna): the same bounces for the same seed, on every computer. */
static uint64_t chance(plant *p) {
    p->chance ^= p->chance >> 12;
    p->chance ^= p->chance << 25;
    p->chance ^= p->chance >> 27;
    return p->chance * 2685821657736338717u;
}

static double share(plant *p) { return (double)(chance(p) >> 11) / 9007199254740992.0; }

void switch_report(plant *p, const contact_switch *s, uint64_t cycle) {
    if (p->set_pin)
        p->set_pin(p->context, s->c.pin, s->shown == s->c.closed_high, cycle);
}

static void show(plant *p, contact_switch *s, int closed, uint64_t cycle) {
    if (s->forced >= 0)
        closed = s->forced;
    if (closed == s->shown)
        return;
    s->shown = closed;
    switch_report(p, s, cycle);
}

static int earlier(const void *a, const void *b) {
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

/* An even number of toggles, so that it ends as it should. */
static void bounce(plant *p, contact_switch *s, uint64_t cycle) {
    double lasts_s = s->c.bounce_s * (BOUNCE_LEAST + (1 - BOUNCE_LEAST) * share(p));
    int pairs = 1 + (int)(chance(p) % 4) + (int)(lasts_s * TOGGLES_PER_S / 2);
    if (lasts_s <= 0)
        return;
    s->toggle_count = 2 * pairs < MOST_TOGGLES ? 2 * pairs : MOST_TOGGLES;
    for (int i = 0; i < s->toggle_count; i++)
        s->toggles[i] = cycle + 1 + (uint64_t)(share(p) * lasts_s / p->cycle_s);
    qsort(s->toggles, (size_t)s->toggle_count, sizeof *s->toggles, earlier);
    if (p->wants > s->toggles[0])
        p->wants = s->toggles[0];
}

void switch_run(plant *p, contact_switch *s, uint64_t until) {
    while (s->toggle < s->toggle_count && s->toggles[s->toggle] <= until) {
        uint64_t at = s->toggles[s->toggle++];
        int left = s->toggle_count - s->toggle;
        show(p, s, left % 2 ? !s->closed : s->closed, at);
    }
}

void switch_contact(plant *p, contact_switch *s, int closed, uint64_t cycle) {
    s->open_contacts += closed ? -1 : 1;
    int all_closed = s->open_contacts == 0;
    if (all_closed == s->closed)
        return;
    switch_run(p, s, cycle);
    s->toggle = s->toggle_count = 0;
    s->closed = all_closed;
    record_event(p, all_closed ? PLANT_CLOSES : PLANT_OPENS, (int)(s - p->switch_), cycle, 0, 0);
    show(p, s, all_closed, cycle);
    bounce(p, s, cycle);
}

void switch_force(plant *p, contact_switch *s, int closed, uint64_t cycle) {
    s->forced = closed;
    show(p, s, closed, cycle);
}
