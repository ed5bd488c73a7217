/* The plant as a whole: pins in, time on, faults, and what it tells. See plant.h. */
#include "plant.h"

#include <math.h>
#include <stdlib.h>

#include "parts.h"

/* ------------------------------------------------------------------------------------------------------ time */

static void run_all(plant *p, uint64_t until) {
    for (int i = 0; i < p->motors; i++)
        motor_run(p, &p->motor[i], until);
    for (int i = 0; i < p->coils; i++)
        coil_run(p, &p->coil[i], until);
    for (int i = 0; i < p->switches; i++)
        switch_run(p, &p->switch_[i], until);
}

static int at_rest(const plant *p) {
    for (int i = 0; i < p->motors; i++)
        if (!p->motor[i].still || p->motor[i].hold_at != NEVER)
            return 0;
    for (int i = 0; i < p->coils; i++)
        if (!p->coil[i].quiet || p->coil[i].switch_at != NEVER || p->coil[i].waits)
            return 0;
    for (int i = 0; i < p->switches; i++)
        if (p->switch_[i].toggle < p->switch_[i].toggle_count)
            return 0;
    return supply_settled(p);
}

static void stir(plant *p, uint64_t cycle) {
    if (p->next_sample == NEVER)
        p->next_sample = (cycle / p->millisecond + 1) * p->millisecond;
    if (p->wants > p->next_sample)
        p->wants = p->next_sample;
}

static void sample(plant *p, uint64_t cycle) {
    supply_sample(p, cycle);
    for (int i = 0; i < p->motors; i++) {
        const motor *m = &p->motor[i];
        if (!m->still)
            record_place(p, i, cycle, motor_position(m, m->angle), m->speed * m->scale);
    }
    p->next_sample = at_rest(p) ? NEVER : cycle + p->millisecond;
}

static void strike_fault(plant *p, const armed_fault *f) {
    if (f->kind == PLANT_LOST_STEPS)
        motor_throw(p, &p->motor[f->device], f->value);
    else if (f->kind == PLANT_STALLED)
        motor_block(p, &p->motor[f->device], f->value);
    else if (f->kind == PLANT_STUCK_OPEN || f->kind == PLANT_STUCK_CLOSED)
        switch_force(p, &p->switch_[f->device], f->kind == PLANT_STUCK_CLOSED, f->cycle);
    else if (f->kind == PLANT_BOUNCES)
        p->switch_[f->device].c.bounce_s = f->value;
    else if (f->kind == PLANT_COIL_LATE)
        p->coil[f->device].late_s = f->value;
    else if (f->kind == PLANT_COIL_STUCK)
        p->coil[f->device].stuck = 1;
    else
        p->rail[f->device].c.source_ohm = f->value;
    record_event(p, PLANT_FAULT, f->device, f->cycle, f->kind, f->value);
}

static uint64_t next_fault(const plant *p) { return p->faults ? p->fault[0].cycle : NEVER; }

static void first_fault(plant *p) {
    armed_fault fault = p->fault[0];
    p->faults--;
    for (int i = 0; i < p->faults; i++)
        p->fault[i] = p->fault[i + 1];
    strike_fault(p, &fault);
    stir(p, fault.cycle);
}

/* Past every millisecond and every fault up to a cycle, in order. */
static void catch_up(plant *p, uint64_t cycle) {
    for (;;) {
        uint64_t fault = next_fault(p), at = fault < p->next_sample ? fault : p->next_sample;
        if (at > cycle || at == NEVER)
            return;
        run_all(p, at);
        if (at == fault)
            first_fault(p);
        else
            sample(p, at);
    }
}

static uint64_t earlier(uint64_t a, uint64_t b) { return a < b ? a : b; }

static uint64_t find_wants(const plant *p) {
    uint64_t wants = earlier(p->next_sample, next_fault(p));
    for (int i = 0; i < p->switches; i++)
        if (p->switch_[i].toggle < p->switch_[i].toggle_count)
            wants = earlier(wants, p->switch_[i].toggles[p->switch_[i].toggle]);
    for (int i = 0; i < p->motors; i++) {
        const motor *m = &p->motor[i];
        if (m->still)
            continue;
        double soon = watch_nearest_s(m) / p->cycle_s;
        if (soon < (double)p->millisecond)
            wants = earlier(wants, p->now + (soon > (double)m->substep ? (uint64_t)soon : m->substep));
    }
    return wants;
}

uint64_t plant_advance(plant *p, uint64_t cycle) {
    if (cycle < p->now)
        cycle = p->now;
    catch_up(p, cycle);
    run_all(p, cycle);
    p->now = cycle;
    return p->wants = find_wants(p);
}

/* ------------------------------------------------------------------------------------------------------ pins */

static void motor_pin(plant *p, motor *m, int role, int level, int rises, uint64_t cycle) {
    if (role == ROLE_DIRECTION) {
        m->direction = level == PLANT_HIGH;
        return;
    }
    if (role == ROLE_STEP && !rises)
        return;
    motor_run(p, m, cycle);
    int was_still = m->still;
    if (role == ROLE_STEP)
        motor_step(p, m, cycle);
    else
        motor_enable(p, m, level == PLANT_LOW);
    stir(p, cycle);
    if (was_still)
        p->wants = find_wants(p);
}

uint64_t plant_edge(plant *p, int pin, int level, uint64_t cycle) {
    if (pin < 0 || pin >= PLANT_PINS || p->pin[pin].level == level)
        return p->wants;
    if (cycle < p->now)
        cycle = p->now;
    if (p->next_sample <= cycle || next_fault(p) <= cycle)
        catch_up(p, cycle);
    p->now = cycle;
    int role = p->pin[pin].role, rises = level == PLANT_HIGH, was_high = p->pin[pin].level == PLANT_HIGH;
    p->pin[pin].level = (int8_t)level;
    if (role == ROLE_COIL && rises != was_high) {
        coil *c = &p->coil[p->pin[pin].device];
        coil_run(p, c, cycle);
        coil_command(p, c, rises, cycle);
        stir(p, cycle);
    } else if (role != ROLE_COIL && role != ROLE_NONE) {
        motor_pin(p, &p->motor[p->pin[pin].device], role, level, rises, cycle);
    }
    return p->wants;
}

void plant_on_pin(plant *p, plant_set_pin *set_pin, void *context) {
    p->set_pin = set_pin;
    p->context = context;
    for (int i = 0; i < p->switches; i++)
        switch_report(p, &p->switch_[i], p->now);
}

int plant_fault(plant *p, int kind, int device, uint64_t cycle, double value) {
    int devices = kind <= PLANT_STALLED ? p->motors : kind <= PLANT_BOUNCES ? p->switches : kind <= PLANT_COIL_STUCK ? p->coils : p->rails;
    if (kind < PLANT_LOST_STEPS || kind > PLANT_WEAK_SUPPLY || device < 0 || device >= devices || p->faults == MOST_FAULTS)
        return -1;
    if (cycle < p->now)
        cycle = p->now;
    int i = p->faults++;
    for (; i > 0 && p->fault[i - 1].cycle > cycle; i--)
        p->fault[i] = p->fault[i - 1];
    p->fault[i] = (armed_fault){cycle, kind, device, value};
    p->wants = earlier(p->wants, cycle);
    return 0;
}
