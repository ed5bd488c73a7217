/* A coil with its plunger, switched by a transistor or through a relay.

   The current follows i' = (V - R*i)/L, the plunger x'' = pull*(i/I)^2 - spring from stroke 0 (at rest) to 1 (the blow), I the
   current at nominal voltage. A machine file gives only the times, so the rest is fitted to them: L so that L/R is a
   quarter of the pull-in (assumption: within the pull-in the current gets near its end), the spring a quarter of the full
   pull (assumption: it drops out at half the current), and then pull so that the blow falls exactly pull_in after current
   on, and the spring's way back so that it is at rest exactly release after current off. Current decays through a flyback
   diode with the same L/R, or faster where the release is shorter than the pull-in.

   A hammer whose softer blows were measured is not left to that: let go before it arrives, it flies on and strikes as strongly, and
   as late, as the straight line through the measured blows says for the time that its coil was on, less for a current that lacks
   voltage. Let go sooner than SILENT_SHARE of the softest it does not arrive (assumption); up to the softest its strength rises from 0. */
#include <math.h>

#include "parts.h"

#define SUBSTEP_S 50e-6
#define TAU_SHARE 0.25
#define SPRING_SHARE 0.25
#define SHORTEST_S 1e-4  /* pull-in and release of 0 are taken as this */
#define SETTLED 1e-6
#define SILENT_SHARE 0.75
#define BACK_STROKE 0.5  /* a striker must come back so far to strike again */

/* Stroke over pull t after current on: twice integrated (1 - exp(-t/tau))^2 - spring, from when that turns positive. */
static double stroke_over_pull(double t, double tau, double *speed) {
    double start = -tau * log(1 - sqrt(SPRING_SHARE)), d = t - start;
    double e0 = exp(-start / tau), e1 = exp(-t / tau), f0 = e0 * e0, f1 = e1 * e1;
    *speed = (1 - SPRING_SHARE) * d + 2 * tau * (e1 - e0) - tau / 2 * (f1 - f0);
    return (1 - SPRING_SHARE) * d * d / 2 - 2 * tau * tau * (e1 - e0) - 2 * tau * e0 * d + tau * tau / 4 * (f1 - f0) + tau / 2 * f0 * d;
}

/* Way back over the spring's strength t after current off: twice integrated 1 - exp(-2t/tau)/spring, likewise. */
static double way_over_back(double t, double tau) {
    double start = -tau / 2 * log(SPRING_SHARE), d = t - start, f1 = exp(-2 * t / tau);
    return d * d / 2 - tau * tau / 4 / SPRING_SHARE * (f1 - SPRING_SHARE) - tau / 2 * d;
}

void coil_set_up(plant *p, coil *c, const plant_coil_config *config) {
    c->c = *config;
    c->nominal_v = p->rail[config->rail].c.voltage_v;
    double pull_in_s = fmax(config->pull_in_s, SHORTEST_S), release_s = fmax(config->release_s, SHORTEST_S);
    c->tau_on_s = TAU_SHARE * pull_in_s;
    c->tau_off_s = TAU_SHARE * fmin(pull_in_s, release_s);
    c->decay_on = exp(-SUBSTEP_S / c->tau_on_s);
    c->decay_off = exp(-SUBSTEP_S / c->tau_off_s);
    c->pull = 1 / stroke_over_pull(pull_in_s, c->tau_on_s, &c->blow_speed);
    c->blow_speed *= c->pull;
    c->spring = SPRING_SHARE * c->pull;
    c->back = 1 / way_over_back(release_s, c->tau_off_s);
    c->switch_at = NEVER;
    c->quiet = 1;
}

double coil_current_a(const coil *c) { return c->flow * c->nominal_v / c->c.resistance_ohm; }

static void tell(plant *p, coil *c, int kind, double after_s, double extra) {
    uint64_t cycle = c->at + (uint64_t)(after_s / p->cycle_s + 0.5);
    double bar = kind == PLANT_BLOW ? motor_bar(p, c->c.carriage, cycle) : 0;
    record_event(p, kind, (int)(c - p->coil), cycle, bar, extra);
}

/* Time within a substep until the stroke has gone `way`, either sign, from speed and acceleration. */
static double time_to(double way, double speed, double change) {
    double root = sqrt(fmax(0.0, speed * speed + 2 * change * way));
    double sum = way > 0 ? speed + root : speed - root;
    return sum == 0 ? 0 : 2 * way / sum;
}

static void reach_front(plant *p, coil *c, double change) {
    double after_s = time_to(1 - c->stroke, c->speed, change), speed = c->speed + change * after_s;
    if (c->stroke < 1 && c->c.finger)
        tell(p, c, PLANT_PRESSED, after_s, 0);
    else if (!c->struck && !c->c.finger)
        tell(p, c, PLANT_BLOW, after_s, speed / c->blow_speed);
    c->struck = c->down = 1;
    c->stroke = 1;
    c->speed = 0;
}

static void reach_back(plant *p, coil *c, double change) {
    if (c->stroke > 0 && c->c.finger)
        tell(p, c, PLANT_LIFTED, time_to(-c->stroke, c->speed, change), 0);
    c->stroke = c->speed = 0;
}

static double between(double t, double t0, double t1, double y0, double y1) { return y0 + (y1 - y0) * (t - t0) / (t1 - t0); }

/* A hammer with measured touches is let go before it arrives. */
static void let_fly(plant *p, coil *c) {
    const plant_coil_config *k = &c->c;
    double on_s = (double)(c->at - c->on_at) * p->cycle_s;
    double hard_s = k->pull_in_s, hard = 1, arrives_s = k->pull_in_s; /* the harder blow beside it; first the full one */
    int i = 0;
    if (c->struck || on_s >= hard_s)
        return;
    for (; i < k->touches && on_s < k->touch_on_s[i]; i++)
        hard_s = k->touch_on_s[i], hard = k->touch_strength[i], arrives_s = k->touch_pull_in_s[i];
    double share = c->flow / (1 - exp(-on_s / c->tau_on_s));
    if (i < k->touches) {
        c->strength = between(on_s, k->touch_on_s[i], hard_s, k->touch_strength[i], hard);
        arrives_s = between(on_s, k->touch_on_s[i], hard_s, k->touch_pull_in_s[i], arrives_s);
    } else {
        c->strength = between(on_s, SILENT_SHARE * hard_s, hard_s, 0, hard);
    }
    c->strength *= share;
    c->flying = c->strength > 0;
    c->speed = c->flying ? (1 - c->stroke) / fmax(arrives_s / share - on_s, SHORTEST_S) : 0;
}

static void fly(plant *p, coil *c, double dt) {
    if (c->stroke + c->speed * dt < 1) {
        c->stroke += c->speed * dt;
        return;
    }
    tell(p, c, PLANT_BLOW, (1 - c->stroke) / c->speed, c->strength);
    c->struck = c->down = 1;
    c->stroke = 1;
    c->speed = 0;
    c->flying = 0;
}

static void move(plant *p, coil *c, double square, double dt) {
    double net = c->pull * square - c->spring;
    double change = net >= 0 ? net : net * c->back / c->spring;
    double stroke = c->stroke + (c->speed + change * dt / 2) * dt;
    if (stroke >= 1) {
        reach_front(p, c, change);
    } else if (stroke <= 0) {
        reach_back(p, c, change);
    } else {
        if (c->c.finger && c->stroke == 0)
            tell(p, c, PLANT_LEAVES, 0, 0);
        if (c->c.finger && c->down)
            tell(p, c, PLANT_LETS_GO, 0, 0);
        c->down = 0;
        c->stroke = stroke;
        c->speed += change * dt;
    }
    if (c->stroke < BACK_STROKE)
        c->struck = 0;
}

static void substep(plant *p, coil *c, uint64_t end, double towards) {
    double dt = (double)(end - c->at) * p->cycle_s, tau = c->on ? c->tau_on_s : c->tau_off_s;
    int whole = fabs(dt - SUBSTEP_S) < 1e-12;
    double before = c->flow, decay = whole ? (c->on ? c->decay_on : c->decay_off) : exp(-dt / tau);
    c->flow = towards + (before - towards) * decay;
    double square = (before * before + before * c->flow + c->flow * c->flow) / 3; /* its mean on a straight line */
    double stroke = c->stroke;
    if (c->flying)
        fly(p, c, dt);
    else if (!c->stuck)
        move(p, c, square, dt);
    c->at = end;
    if (fabs(c->flow - towards) < SETTLED && c->stroke == stroke && c->speed == 0) {
        c->flow = towards;
        c->quiet = 1;
    }
}

static void integrate(plant *p, coil *c, uint64_t until) {
    double towards = c->on ? p->rail[c->c.rail].voltage_v / c->nominal_v : 0;
    uint64_t step = (uint64_t)(SUBSTEP_S / p->cycle_s + 0.5);
    if (fabs(c->flow - towards) > SETTLED)
        c->quiet = 0;
    while (c->at < until && !c->quiet)
        substep(p, c, c->at + step < until ? c->at + step : until, towards);
    c->at = until;
}

/* A relay needs its time both ways; a command taken back sooner never gets through. */
static void relay(plant *p, coil *c, int level, uint64_t cycle) {
    c->switch_to = level;
    double takes_s = level ? c->c.operate_s : c->c.let_go_s;
    c->switch_at = level == c->on ? NEVER : cycle + (uint64_t)(takes_s / p->cycle_s + 0.5);
}

/* The next moment at which something switches. */
static uint64_t next_change(const coil *c) {
    uint64_t waiting = c->waits ? c->waiting[0].cycle : NEVER;
    return waiting < c->switch_at ? waiting : c->switch_at;
}

static void change(plant *p, coil *c) {
    if (c->waits && c->waiting[0].cycle <= c->at) {
        relay(p, c, c->waiting[0].level, c->at);
        c->waits--;
        for (int i = 0; i < c->waits; i++)
            c->waiting[i] = c->waiting[i + 1];
    }
    if (c->switch_at <= c->at) {
        c->on = c->switch_to;
        c->flying = 0;
        if (c->on)
            c->on_at = c->at;
        else if (c->c.touches && !c->stuck)
            let_fly(p, c);
        c->switch_at = NEVER;
        c->quiet = 0;
    }
}

void coil_run(plant *p, coil *c, uint64_t until) {
    for (uint64_t at = next_change(c); at <= until; at = next_change(c)) {
        if (at > c->at)
            integrate(p, c, at);
        change(p, c);
    }
    if (until > c->at)
        integrate(p, c, until);
}

void coil_command(plant *p, coil *c, int level, uint64_t cycle) {
    int room = (int)(sizeof c->waiting / sizeof *c->waiting);
    c->wanted = level;
    if (c->late_s <= 0) {
        relay(p, c, level, cycle);
    } else if (c->waits < room) {
        c->waiting[c->waits].cycle = cycle + (uint64_t)(c->late_s / p->cycle_s + 0.5);
        c->waiting[c->waits++].level = level;
    }
    coil_run(p, c, cycle);
}
