/* What the plant is made of, for its own files only. */
#ifndef JACKRAIL_PLANT_PARTS_H
#define JACKRAIL_PLANT_PARTS_H

#include "plant.h"

#define TAU 6.28318530717958647692
#define NEVER UINT64_MAX

typedef struct {
    void *items;
    uint32_t count, room;
} pile; /* a growing array */

typedef struct {
    plant_rail_config c;
    double voltage_v;
    double load_a; /* drawn at the last sample, what is made from it included */
} rail;

/* Angles are electrical radians: a turn of the field, 4 full steps. The rotor follows the field. */
typedef struct {
    plant_motor_config c;
    double pole_pairs, step, scale; /* electrical turns a turn; angle of a microstep; position in an electrical radian */
    double torque_per_a, gain, damping, drag, stiction; /* per unit of inertia where it accelerates, in electrical angle */
    double swing2; /* square of its own angular frequency about the field */
    uint64_t substep, hold_after;
    double angle, speed;        /* of the rotor */
    double low, high;           /* the rotor's ends or obstacles */
    double stay_low, stay_high; /* while within, no switch changes and no string is plucked */
    double current_a, target_a, torque_nm;
    double work_j; /* on the rotor, since the last sample */
    int64_t asked, field;  /* microsteps: commanded, and where the driver's field is */
    uint64_t at;           /* integrated up to here */
    uint64_t last_edge, interval, hold_at;
    double edge_speed;     /* of the field at the last edge */
    double strike_low, strike_high; /* the pick's own part of stay_low, stay_high: positions */
    int32_t strike_armed;
    int32_t direction, enabled, locked_out, holding;
    int32_t still, told_start, against;
} motor;

typedef struct {
    plant_coil_config c;
    double nominal_v, tau_on_s, tau_off_s, decay_on, decay_off; /* decay: over a whole substep */
    double pull, spring, back; /* strokes/s2: of full current, of the spring against it, of the spring coming back */
    double blow_speed;         /* strokes/s at nominal voltage */
    double late_s;
    uint64_t at, switch_at, on_at;
    double flow, stroke, speed; /* current over nominal current; plunger */
    int32_t wanted, switch_to, on, stuck;
    int32_t struck, down;       /* it has struck since it was last back; a finger is down */
    int32_t flying;             /* let go on its way, it arrives by itself, with this: */
    double strength;
    int32_t quiet;
    struct { uint64_t cycle; int32_t level; } waiting[8]; /* commands held up by lateness */
    int32_t waits;
} coil;

enum { MOST_TOGGLES = 64 };

typedef struct {
    plant_switch_config c;
    int32_t contacts, open_contacts;
    int32_t closed, shown;  /* truly; as its pin shows it */
    int32_t forced;         /* -1 no, 0 stuck open, 1 stuck closed */
    uint64_t toggles[MOST_TOGGLES];
    int32_t toggle, toggle_count;
} contact_switch;

typedef struct {
    plant_contact_config c;
    double *spans; /* our copy: all lows, then all highs */
    int32_t closed;
    double stay_low, stay_high;
} contact;

typedef struct {
    uint64_t cycle;
    int32_t kind, device;
    double value;
} armed_fault;

enum { MOST_FAULTS = 64 };
enum { ROLE_NONE, ROLE_STEP, ROLE_DIRECTION, ROLE_ENABLE, ROLE_COIL };

struct plant {
    double cycle_s;
    uint64_t millisecond, now, next_sample, wants;
    uint64_t chance; /* state of the random numbers */
    int32_t rails, motors, coils, switches, contacts, faults;
    rail *rail;
    motor *motor;
    coil *coil;
    contact_switch *switch_;
    contact *contact;
    int32_t *supply_order; /* rails, those made from others first */
    armed_fault fault[MOST_FAULTS];
    struct { int8_t role, level; int32_t device; } pin[PLANT_PINS];
    pile events, samples, places;
    int out_of_memory;
    plant_set_pin *set_pin;
    void *context;
};

/* record.c */
void record_event(plant *, int kind, int device, uint64_t cycle, double value, double extra);
void record_sample(plant *, int on_rail, uint64_t cycle, double voltage_v, double current_a);
void record_place(plant *, int of_motor, uint64_t cycle, double position, double speed);

/* motor.c */
void motor_set_up(plant *, motor *, const plant_motor_config *);
void motor_run(plant *, motor *, uint64_t until);
void motor_step(plant *, motor *, uint64_t cycle);
void motor_enable(plant *, motor *, int enabled);
void motor_supply(plant *, motor *, uint64_t cycle); /* its rail's voltage may have changed */
void motor_throw(plant *, motor *, double electrical_turns);
void motor_block(plant *, motor *, double position);
void motor_wake(motor *);
double motor_position(const motor *, double angle);
double motor_lost_steps(const motor *);
double motor_power_w(motor *, double since_s);
double motor_bar(plant *, int carriage, uint64_t cycle); /* position of a carriage, NaN for none */

/* watch.c: what a motor's position works */
void watch_set_up(plant *);
void watch_crossings(plant *, motor *, double angle, uint64_t end);
double watch_nearest_s(const motor *); /* no switch changes sooner than this */

/* switch.c */
void switch_contact(plant *, contact_switch *, int closed, uint64_t cycle);
void switch_run(plant *, contact_switch *, uint64_t until);
void switch_force(plant *, contact_switch *, int closed, uint64_t cycle);
void switch_report(plant *, const contact_switch *, uint64_t cycle);

/* coil.c */
void coil_set_up(plant *, coil *, const plant_coil_config *);
void coil_command(plant *, coil *, int level, uint64_t cycle);
void coil_run(plant *, coil *, uint64_t until);
double coil_current_a(const coil *);


/* supply.c */
int supply_set_up(plant *);
void supply_sample(plant *, uint64_t cycle);
int supply_settled(const plant *);

#endif
