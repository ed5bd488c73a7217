/* A stepper with its driver and what it moves.

   J*theta'' = T*sin(load angle) - load - friction - drag - damping, theta the rotor. The load angle lies between the field,
   which follows the step edges, and the rotor; so steps are lost only as they are in a real motor, a whole electrical turn
   (4 full steps) at a time. T is proportional to the current that the driver can still force through the winding's R and L
   against the back EMF at the field's speed: I = V/Z - E*R/Z^2, Z^2 = R^2 + (w*L)^2, the pull-out torque of a voltage fed
   hybrid motor (P. Acarnley, Stepping Motors, chapter on multi-step operation; from memory). V is the rail's, though a
   chopper's square wave has a fundamental 4/pi as high: on the safe side. */
#include <math.h>

#include "parts.h"

#define SUBSTEP_S 40e-6
#define SUBSTEP_SHARE 0.1   /* of a radian of the rotor's own swing at most */
#define SLOW_S 0.01         /* edges further apart than this are single steps: the field stands */
#define HOLD_AFTER_S 0.1    /* drivers lower the current so long after the last step; common practice, no source */
#define LOCKOUT_BAND_V 0.3  /* above its minimum at which a driver wakes again; common practice, no source */
#define DRIVER_EFFICIENCY 0.9 /* common practice, no source */
#define STILL_SPEED 1e-2    /* electrical rad/s */
#define STILL_CHANGE 1.0    /* electrical rad/s2 */

double motor_position(const motor *m, double angle) { return m->c.start + angle * m->scale; }

double motor_lost_steps(const motor *m) { return ((double)m->asked * m->step - m->angle) / (TAU / 4); }

static int powered(const motor *m) { return m->enabled && !m->locked_out; }

static double field_speed(const motor *m) {
    uint64_t since = m->at - m->last_edge;
    if (since <= m->interval)
        return m->edge_speed;
    return since <= 2 * m->interval ? m->edge_speed * (double)m->interval / (double)since : 0.0;
}

static void find_target(const plant *p, motor *m) {
    double speed = fabs(field_speed(m)), reactance = speed * m->c.inductance_h;
    double emf_v = m->torque_per_a * speed / m->pole_pairs;
    double z2 = m->c.resistance_ohm * m->c.resistance_ohm + reactance * reactance;
    double reach_a = p->rail[m->c.rail].voltage_v / sqrt(z2) - emf_v * m->c.resistance_ohm / z2;
    double set_a = m->c.current_a * (m->holding ? m->c.hold : 1.0);
    m->target_a = powered(m) ? fmax(0.0, fmin(set_a, reach_a)) : 0.0;
}

void motor_wake(motor *m) { m->still = 0; }

void motor_set_up(plant *p, motor *m, const plant_motor_config *c) {
    m->c = *c;
    m->pole_pairs = c->steps_per_turn / 4.0;
    m->step = TAU / 4 / c->microsteps;
    m->scale = c->travel / (TAU * m->pole_pairs);
    m->torque_per_a = c->holding_torque_nm / c->current_a;
    m->gain = m->pole_pairs / c->inertia_kgm2;
    m->damping = c->damping_nms / c->inertia_kgm2;
    m->drag = c->drag_nms / c->inertia_kgm2;
    m->stiction = m->gain * c->friction_nm;
    m->swing2 = m->gain * c->holding_torque_nm;
    m->substep = (uint64_t)fmax(1.0, fmin(SUBSTEP_S, SUBSTEP_SHARE / sqrt(m->swing2)) / p->cycle_s);
    m->hold_after = (uint64_t)(HOLD_AFTER_S / p->cycle_s);
    m->low = (c->low_end - c->start) / m->scale;
    m->high = (c->high_end - c->start) / m->scale;
    m->enabled = c->enable_pin < 0;
    m->still = m->holding = 1;
    m->hold_at = NEVER;
    find_target(p, m);
    m->current_a = m->target_a;
}

/* The current rises as fast as the rail drives it through the winding; down it is forced within a fraction of that. */
static void follow_current(const plant *p, motor *m, double dt) {
    if (m->current_a >= m->target_a) {
        m->current_a = m->target_a;
        return;
    }
    double rate = m->c.resistance_ohm / m->c.inductance_h;
    double slope = p->rail[m->c.rail].voltage_v / m->c.inductance_h - m->current_a * rate;
    m->current_a = fmin(m->target_a, m->current_a + slope * dt * (1 - rate * dt / 2));
}

/* Ends and obstacles stop it dead. Returns where the rotor really gets to. */
static double within_ends(plant *p, motor *m, double angle, uint64_t end) {
    if (angle <= m->high && angle >= m->low) {
        m->against = 0;
        return angle;
    }
    double stop = angle > m->high ? m->high : m->low;
    if (!m->against)
        record_event(p, PLANT_HITS, (int)(m - p->motor), end, motor_position(m, stop), 0);
    m->against = 1;
    m->speed = 0;
    return stop;
}

static void turn_to(plant *p, motor *m, double angle, uint64_t end) {
    if (angle < m->stay_low || angle > m->stay_high)
        watch_crossings(p, m, angle, end);
    m->angle = angle;
    m->at = end;
}

static void come_to_rest(plant *p, motor *m) {
    m->still = 1;
    m->speed = 0;
    if (m->told_start)
        record_event(p, PLANT_RESTS, (int)(m - p->motor), m->at, motor_position(m, m->angle), motor_lost_steps(m));
    m->told_start = 0;
}

/* Damping of swings about the field. It brakes a rotor that outruns its field, less so where the two differ by more than a
   swing of a radian has speed; but it must not drag along one that has fallen out of step, so there it fades faster. */
static double damped(const motor *m, double speed, double field) {
    double slip = speed - field;
    int brakes = slip * speed > 0;
    if (brakes && fabs(speed) < fabs(slip))
        slip = speed;
    double fades = 1 + slip * slip / m->swing2;
    return m->damping * slip / (brakes ? fades : fades * fades);
}

static void substep(plant *p, motor *m, uint64_t end) {
    double dt = (double)(end - m->at) * p->cycle_s, before = m->speed, field = field_speed(m);
    if (field == 0 && m->edge_speed != 0) {
        m->edge_speed = 0;
        find_target(p, m);
    }
    if (m->current_a != m->target_a)
        follow_current(p, m, dt);
    m->torque_nm = m->torque_per_a * m->current_a * sin((double)m->field * m->step - m->angle);
    double change = m->gain * (m->torque_nm - m->c.load_nm) - m->drag * before;
    if (powered(m))
        change -= damped(m, before, field);
    double speed = before + change * dt, slowing = m->stiction * dt;
    m->speed = speed > slowing ? speed - slowing : speed < -slowing ? speed + slowing : 0;
    m->work_j += m->torque_nm * m->speed * dt / m->pole_pairs;
    turn_to(p, m, within_ends(p, m, m->angle + m->speed * dt, end), end);
    int stands = before == 0 && m->speed == 0;
    int swung_out = m->stiction == 0 && fabs(m->speed) < STILL_SPEED && fabs(change) < STILL_CHANGE;
    if (field == 0 && m->current_a == m->target_a && (stands || swung_out))
        come_to_rest(p, m);
}

static void lower_to_hold(const plant *p, motor *m) {
    m->hold_at = NEVER;
    m->holding = 1;
    find_target(p, m);
    motor_wake(m);
}

void motor_run(plant *p, motor *m, uint64_t until) {
    while (m->at < until) {
        if (m->hold_at <= m->at) {
            lower_to_hold(p, m);
        } else if (m->still) {
            m->at = until < m->hold_at ? until : m->hold_at;
        } else {
            uint64_t end = m->at + m->substep;
            substep(p, m, end < until ? end : until);
        }
    }
}

void motor_step(plant *p, motor *m, uint64_t cycle) {
    int sign = m->direction != m->c.reversed ? 1 : -1;
    uint64_t interval = cycle > m->last_edge ? cycle - m->last_edge : 1;
    m->asked += sign;
    if (m->locked_out)
        return;
    m->field += sign;
    int slow = (double)interval * p->cycle_s > SLOW_S;
    m->interval = slow ? 0 : interval;
    m->edge_speed = slow ? 0 : sign * m->step / ((double)interval * p->cycle_s);
    m->last_edge = cycle;
    m->hold_at = cycle + m->hold_after;
    m->holding = 0;
    find_target(p, m);
    if (!m->told_start)
        record_event(p, PLANT_STARTS, (int)(m - p->motor), cycle, motor_position(m, m->angle), 0);
    m->told_start = 1;
    motor_wake(m);
}

void motor_enable(plant *p, motor *m, int enabled) {
    m->enabled = enabled;
    find_target(p, m);
    motor_wake(m);
}

/* Too little voltage puts the driver out. When it comes back its field begins anew, at the start of an electrical turn. */
static void lock_out(plant *p, motor *m, uint64_t cycle) {
    double volts = p->rail[m->c.rail].voltage_v;
    int too_low = volts < m->c.driver_minimum_v + (m->locked_out ? LOCKOUT_BAND_V : 0);
    if (too_low == m->locked_out)
        return;
    m->locked_out = too_low;
    record_event(p, too_low ? PLANT_DRIVER_OFF : PLANT_DRIVER_ON, (int)(m - p->motor), cycle, volts, 0);
    int64_t turn = 4 * (int64_t)m->c.microsteps;
    m->field = (int64_t)floor((double)m->field / (double)turn + 0.5) * turn;
    m->edge_speed = 0;
    m->interval = 0;
    motor_wake(m);
}

void motor_supply(plant *p, motor *m, uint64_t cycle) {
    lock_out(p, m, cycle);
    if (!m->still)
        find_target(p, m);
}

void motor_throw(plant *p, motor *m, double electrical_turns) {
    turn_to(p, m, fmax(m->low, fmin(m->high, m->angle + TAU * electrical_turns)), m->at);
    motor_wake(m);
}

void motor_block(plant *p, motor *m, double position) {
    (void)p;
    double angle = isnan(position) ? m->angle : (position - m->c.start) / m->scale;
    if (isnan(position) || angle > m->angle)
        m->high = fmin(m->high, angle);
    if (isnan(position) || angle <= m->angle)
        m->low = fmax(m->low, angle);
    motor_wake(m);
}

/* What the driver takes, over the time since this was last asked: the windings' heat, and what became motion. */
double motor_power_w(motor *m, double since_s) {
    double turned_w = fmax(0.0, m->work_j) / since_s;
    m->work_j = 0;
    return (m->current_a * m->current_a * m->c.resistance_ohm + turned_w) / DRIVER_EFFICIENCY;
}

double motor_bar(plant *p, int carriage, uint64_t cycle) {
    if (carriage < 0)
        return NAN;
    motor *m = &p->motor[carriage];
    motor_run(p, m, cycle); /* it may be ahead instead, by less than a millisecond */
    double ahead_s = (double)(m->at - cycle) * p->cycle_s;
    return motor_position(m, m->angle - m->speed * ahead_s);
}
