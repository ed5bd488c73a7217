/* The supply: what every rail gives, once a millisecond, and how far it sags.

   Loads are drawn from their rails; a rail made from another asks that one for its power over the converter's efficiency. */
#include <math.h>
#include <stdlib.h>

#include "parts.h"

#define SAMPLE_S 1e-3
#define FOLLOWS 0.5      /* share of a change that the voltage takes in a millisecond: the smoothing capacitor */
#define LEAST_SHARE 0.1  /* of nominal voltage, so that loads of constant power have a solution */
#define DROPOUT_V 1.5    /* a step-down converter needs so much above its output; LM2596 class, from memory */
#define SETTLED_V 1e-3

static int depth(const plant *p, int i) {
    int deep = 0;
    for (int at = p->rail[i].c.from; at >= 0 && deep <= p->rails; at = p->rail[at].c.from)
        deep++;
    return deep;
}

/* The order in which currents add up: a rail made from another before that one. -1 for rails in a ring. */
int supply_set_up(plant *p) {
    int found = 0;
    for (int deep = p->rails - 1; deep >= 0; deep--)
        for (int i = 0; i < p->rails; i++)
            if (depth(p, i) == deep)
                p->supply_order[found++] = i;
    for (int i = 0; i < p->rails; i++)
        p->rail[i].voltage_v = p->rail[i].c.voltage_v;
    return found == p->rails ? 0 : -1;
}

static void add_loads(plant *p) {
    for (int i = 0; i < p->rails; i++)
        p->rail[i].load_a = p->rail[i].c.base_a;
    for (int i = 0; i < p->motors; i++) {
        rail *r = &p->rail[p->motor[i].c.rail];
        r->load_a += motor_power_w(&p->motor[i], SAMPLE_S) / r->voltage_v;
    }
    for (int i = 0; i < p->coils; i++) {
        const coil *c = &p->coil[i];
        if (c->on)
            p->rail[c->c.rail].load_a += coil_current_a(c);
        if (c->c.relay_rail >= 0 && c->wanted)
            p->rail[c->c.relay_rail].load_a += c->c.relay_a;
    }
    for (int n = 0; n < p->rails; n++) {
        const rail *r = &p->rail[p->supply_order[n]];
        if (r->c.from < 0)
            continue;
        rail *source = &p->rail[r->c.from];
        source->load_a += r->voltage_v * r->load_a / (r->c.efficiency * source->voltage_v);
    }
}

/* What a rail would come to under the load it has. */
static double goal_v(const plant *p, const rail *r) {
    double volts = r->c.voltage_v;
    if (r->c.from >= 0) {
        const rail *source = &p->rail[r->c.from];
        double spare = source->c.voltage_v - volts; /* a converter up, not down, has none and keeps its output */
        if (spare >= 0)
            volts = fmin(volts, source->voltage_v - fmin(DROPOUT_V, spare));
    }
    return fmax(volts - r->c.source_ohm * r->load_a, LEAST_SHARE * r->c.voltage_v);
}

int supply_settled(const plant *p) {
    for (int i = 0; i < p->rails; i++)
        if (fabs(goal_v(p, &p->rail[i]) - p->rail[i].voltage_v) > SETTLED_V)
            return 0;
    return 1;
}

void supply_sample(plant *p, uint64_t cycle) {
    add_loads(p);
    for (int i = 0; i < p->rails; i++)
        record_sample(p, i, cycle, p->rail[i].voltage_v, p->rail[i].load_a);
    for (int n = p->rails - 1; n >= 0; n--) {
        rail *r = &p->rail[p->supply_order[n]];
        double goal = goal_v(p, r);
        r->voltage_v = fabs(goal - r->voltage_v) < SETTLED_V / 2 ? goal : r->voltage_v + FOLLOWS * (goal - r->voltage_v);
    }
    for (int i = 0; i < p->motors; i++)
        motor_supply(p, &p->motor[i], cycle);
}
