/* What a motor's position works: the contacts of its switches, and the string that its pick lets go.

   Each keeps the stretch of positions in which it does not change, so a substep costs two comparisons. */
#include <math.h>

#include "parts.h"

#define REARM_TURN 0.02 /* a pick must go so far from the string to pluck it again: about the width of its tip */
#define SOON_S 1e-3     /* the plant is called at least so often while anything moves */

/* Whether a position lies in a span, and how far it may go before that changes: the slack further than it came in. */
static int look(contact *k, double position) {
    const double *low = k->spans, *high = k->spans + k->c.spans;
    double shift = k->c.period > 0 ? k->c.period * floor((position - low[0] + k->c.slack) / k->c.period) : 0;
    double x = position - shift;
    double after = k->c.period > 0 ? low[0] + k->c.period : INFINITY;
    double before = k->c.period > 0 ? high[k->c.spans - 1] - k->c.period : -INFINITY;
    for (int i = 0; i < k->c.spans; i++) {
        if (x < low[i]) {
            after = low[i];
            break;
        }
        if (x <= high[i]) {
            k->stay_low = low[i] - k->c.slack + shift;
            k->stay_high = high[i] + k->c.slack + shift;
            return 1;
        }
        before = high[i];
    }
    k->stay_low = before + shift;
    k->stay_high = after + shift;
    return 0;
}

static void look_at_strike(motor *m, double position) {
    double nearest = m->c.strike_at + floor(position - m->c.strike_at + 0.5);
    m->strike_armed = fabs(position - nearest) >= REARM_TURN;
    double below = m->c.strike_at + floor(position - m->c.strike_at);
    m->strike_low = m->strike_armed ? below : nearest - REARM_TURN;
    m->strike_high = m->strike_armed ? below + 1 : nearest + REARM_TURN;
}

static void find_stay(plant *p, motor *m) {
    double low = -INFINITY, high = INFINITY;
    for (int i = 0; i < p->contacts; i++) {
        const contact *k = &p->contact[i];
        if (&p->motor[k->c.motor] != m)
            continue;
        low = fmax(low, k->stay_low);
        high = fmin(high, k->stay_high);
    }
    if (m->c.strike_at >= 0) {
        low = fmax(low, m->strike_low);
        high = fmin(high, m->strike_high);
    }
    m->stay_low = (low - m->c.start) / m->scale;
    m->stay_high = (high - m->c.start) / m->scale;
}

void watch_set_up(plant *p) {
    for (int i = 0; i < p->contacts; i++) {
        contact *k = &p->contact[i];
        k->closed = look(k, p->motor[k->c.motor].c.start);
        contact_switch *s = &p->switch_[k->c.on_switch];
        s->contacts++;
        s->open_contacts += !k->closed;
    }
    for (int i = 0; i < p->switches; i++)
        p->switch_[i].closed = p->switch_[i].shown = p->switch_[i].contacts > 0 && p->switch_[i].open_contacts == 0;
    for (int i = 0; i < p->motors; i++) {
        if (p->motor[i].c.strike_at >= 0)
            look_at_strike(&p->motor[i], p->motor[i].c.start);
        find_stay(p, &p->motor[i]);
    }
}

/* A way from one position to another, at one speed, from the motor's time to `end`. */
typedef struct {
    double from, to;
    uint64_t start, end;
} way;

static uint64_t when(const way *w, double low, double high) {
    double bound = w->to > high ? high : low;
    double share = w->to == w->from ? 1 : (bound - w->from) / (w->to - w->from);
    return w->start + (uint64_t)(fmax(0.0, fmin(1.0, share)) * (double)(w->end - w->start) + 0.5);
}

static int leaves(const way *w, double low, double high) { return w->to < low || w->to > high; }

static void cross_contact(plant *p, contact *k, const way *w) {
    uint64_t cycle = when(w, k->stay_low, k->stay_high);
    int closed = look(k, w->to);
    if (closed == k->closed)
        return;
    k->closed = closed;
    switch_contact(p, &p->switch_[k->c.on_switch], closed, cycle);
}

static void cross_strike(plant *p, motor *m, const way *w) {
    if (m->strike_armed) {
        uint64_t cycle = when(w, m->strike_low, m->strike_high);
        double turns_s = m->speed * m->scale;
        record_event(p, PLANT_PLUCK, (int)(m - p->motor), cycle, motor_bar(p, m->c.carriage, cycle), turns_s);
    }
    look_at_strike(m, w->to);
}

void watch_crossings(plant *p, motor *m, double angle, uint64_t end) {
    way w = {motor_position(m, m->angle), motor_position(m, angle), m->at, end};
    for (int i = 0; i < p->contacts; i++) {
        contact *k = &p->contact[i];
        if (&p->motor[k->c.motor] == m && leaves(&w, k->stay_low, k->stay_high))
            cross_contact(p, k, &w);
    }
    if (m->c.strike_at >= 0 && leaves(&w, m->strike_low, m->strike_high))
        cross_strike(p, m, &w);
    find_stay(p, m);
}

double watch_nearest_s(const motor *m) {
    double way_angle = fmin(m->angle - m->stay_low, m->stay_high - m->angle);
    double gained = m->swing2 * SOON_S; /* the fastest that the field can make it within that time */
    return way_angle / (2 * fabs(m->speed) + gained);
}
