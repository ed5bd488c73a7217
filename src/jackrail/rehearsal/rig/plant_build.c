/* Making a plant from its configuration, and what can be asked of it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "parts.h"

static int within(int i, int least, int count) { return i >= least && i < count; }

static int sound_motor(const plant_config *c, const plant_motor_config *m) {
    return within(m->rail, 0, c->rails) && within(m->step_pin, 0, PLANT_PINS) && within(m->direction_pin, 0, PLANT_PINS) &&
           within(m->enable_pin, -1, PLANT_PINS) && within(m->carriage, -1, c->motors) && m->steps_per_turn > 0 &&
           m->microsteps > 0 && m->current_a > 0 && m->inertia_kgm2 > 0 && m->inductance_h > 0 && m->resistance_ohm > 0 &&
           m->holding_torque_nm > 0 && m->travel > 0 && m->start >= m->low_end && m->start <= m->high_end &&
           (m->carriage < 0 || c->motor[m->carriage].strike_at < 0);
}

static int sound_coil(const plant_config *c, const plant_coil_config *k) {
    return within(k->rail, 0, c->rails) && within(k->pin, 0, PLANT_PINS) && within(k->relay_rail, -1, c->rails) &&
           within(k->carriage, -1, c->motors) && k->resistance_ohm > 0 && within(k->touches, 0, PLANT_TOUCHES + 1);
}

static int sound_contact(const plant_config *c, const plant_contact_config *k) {
    return within(k->on_switch, 0, c->switches) && within(k->motor, 0, c->motors) && k->spans > 0;
}

static int makes_sense(const plant_config *c) {
    if (c->clock_hz <= 0 || c->rails < 0 || c->motors < 0 || c->coils < 0 || c->switches < 0 || c->contacts < 0)
        return 0;
    for (int i = 0; i < c->rails; i++)
        if (c->rail[i].voltage_v <= 0 || !within(c->rail[i].from, -1, c->rails) || (c->rail[i].from >= 0 && c->rail[i].efficiency <= 0))
            return 0;
    for (int i = 0; i < c->motors; i++)
        if (!sound_motor(c, &c->motor[i]))
            return 0;
    for (int i = 0; i < c->coils; i++)
        if (!sound_coil(c, &c->coil[i]))
            return 0;
    for (int i = 0; i < c->contacts; i++)
        if (!sound_contact(c, &c->contact[i]))
            return 0;
    return 1;
}

static int make_room(plant *p, const plant_config *c) {
    p->rails = c->rails, p->motors = c->motors, p->coils = c->coils, p->switches = c->switches, p->contacts = c->contacts;
    p->rail = calloc((size_t)c->rails + 1, sizeof *p->rail);
    p->supply_order = calloc((size_t)c->rails + 1, sizeof *p->supply_order);
    p->motor = calloc((size_t)c->motors + 1, sizeof *p->motor);
    p->coil = calloc((size_t)c->coils + 1, sizeof *p->coil);
    p->switch_ = calloc((size_t)c->switches + 1, sizeof *p->switch_);
    p->contact = calloc((size_t)c->contacts + 1, sizeof *p->contact);
    return p->rail && p->supply_order && p->motor && p->coil && p->switch_ && p->contact;
}

static int copy_contact(contact *k, const plant_contact_config *c) {
    size_t bytes = (size_t)c->spans * sizeof *k->spans;
    k->c = *c;
    k->spans = malloc(2 * bytes);
    if (!k->spans)
        return 0;
    memcpy(k->spans, c->low, bytes);
    memcpy(k->spans + c->spans, c->high, bytes);
    return 1;
}

static void wire(plant *p, int pin, int role, int device) {
    if (pin < 0)
        return;
    p->pin[pin].role = (int8_t)role;
    p->pin[pin].device = device;
}

static void wire_all(plant *p) {
    for (int i = 0; i < PLANT_PINS; i++)
        p->pin[i].level = PLANT_FLOATING;
    for (int i = 0; i < p->motors; i++) {
        wire(p, p->motor[i].c.step_pin, ROLE_STEP, i);
        wire(p, p->motor[i].c.direction_pin, ROLE_DIRECTION, i);
        wire(p, p->motor[i].c.enable_pin, ROLE_ENABLE, i);
    }
    for (int i = 0; i < p->coils; i++)
        wire(p, p->coil[i].c.pin, ROLE_COIL, i);
}

static int fill(plant *p, const plant_config *c) {
    for (int i = 0; i < c->rails; i++)
        p->rail[i].c = c->rail[i];
    if (supply_set_up(p))
        return 0;
    for (int i = 0; i < c->motors; i++)
        motor_set_up(p, &p->motor[i], &c->motor[i]);
    for (int i = 0; i < c->coils; i++)
        coil_set_up(p, &p->coil[i], &c->coil[i]);
    for (int i = 0; i < c->switches; i++) {
        p->switch_[i].c = c->switch_[i];
        p->switch_[i].forced = -1;
    }
    for (int i = 0; i < c->contacts; i++)
        if (!copy_contact(&p->contact[i], &c->contact[i]))
            return 0;
    watch_set_up(p);
    wire_all(p);
    return 1;
}

plant *plant_new(const plant_config *config) {
    plant *p = makes_sense(config) ? calloc(1, sizeof *p) : 0;
    if (!p)
        return 0;
    p->cycle_s = 1 / config->clock_hz;
    p->millisecond = (uint64_t)(config->clock_hz / 1000);
    p->chance = 0x9E3779B97F4A7C15u ^ config->seed; /* any start but 0 will do */
    if (!make_room(p, config) || !fill(p, config)) {
        plant_free(p);
        return 0;
    }
    return p;
}

void plant_free(plant *p) {
    if (!p)
        return;
    for (int i = 0; p->contact && i < p->contacts; i++)
        free(p->contact[i].spans);
    free(p->rail), free(p->supply_order), free(p->motor), free(p->coil), free(p->switch_), free(p->contact);
    free(p->events.items), free(p->samples.items), free(p->places.items);
    free(p);
}

const plant_event *plant_events(const plant *p, uint32_t *count) {
    *count = p->events.count;
    return p->events.items;
}

const plant_sample *plant_samples(const plant *p, uint32_t *count) {
    *count = p->samples.count;
    return p->samples.items;
}

const plant_place *plant_places(const plant *p, uint32_t *count) {
    *count = p->places.count;
    return p->places.items;
}

int plant_out_of_memory(const plant *p) { return p->out_of_memory; }

void plant_motor_now(const plant *p, int i, plant_motor_state *state) {
    const motor *m = &p->motor[i];
    *state = (plant_motor_state){motor_position(m, m->angle), m->speed * m->scale, motor_position(m, (double)m->asked * m->step),
                                 m->current_a, m->torque_nm, motor_lost_steps(m), m->still};
}

void plant_coil_now(const plant *p, int i, plant_coil_state *state) {
    const coil *c = &p->coil[i];
    *state = (plant_coil_state){coil_current_a(c), c->stroke, c->on};
}

double plant_rail_v(const plant *p, int i) { return p->rail[i].voltage_v; }
