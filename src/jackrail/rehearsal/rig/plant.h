/* The plant: a model of the machine outside the chip. Pin edges go in; switches, sounds and currents come out.

   It knows physics and the machine's measures, and nothing of what was planned: it judges plans. Time is in cycles of the
   chip's clock, positions are millimetres from the nut (carriages) or turns (picks), all else is SI. -1 stands for "none"
   wherever an index or a pin is wanted. Everything here is plain C that cffi's cdef reads. */
#ifndef JACKRAIL_PLANT_H
#define JACKRAIL_PLANT_H

#include <stdint.h>

enum {
    PLANT_PINS = 64, /* 0-19 the board's, 32-63 outputs of the shift registers */
    PLANT_TOUCHES = 3,
    PLANT_LOW = 0, PLANT_HIGH = 1, PLANT_FLOATING = 2 /* level of an edge; floating counts as off and as disabled */
};

/* What happened. device and value of each kind stand beside it. */
enum {
    PLANT_PLUCK = 1,     /* motor of the pick; value: mm of the bar under it (NaN: none); extra: turn/s of the pick */
    PLANT_BLOW = 2,      /* coil; value: mm of the bar under it (NaN: none); extra: strength, 1: speed of impact at nominal voltage */
    PLANT_LEAVES = 3,    /* coil of a finger: it starts down */
    PLANT_PRESSED = 4,   /* coil of a finger: the string is down */
    PLANT_LETS_GO = 5,   /* coil of a finger: it starts up */
    PLANT_LIFTED = 6,    /* coil of a finger: it is back at rest */
    PLANT_STARTS = 7,    /* motor; value: position */
    PLANT_RESTS = 8,     /* motor; value: position; extra: steps lost so far (commanded less made, full steps) */
    PLANT_HITS = 9,      /* motor; value: position of the end or obstacle it ran against */
    PLANT_CLOSES = 10,   /* switch, before any bounce or fault of it */
    PLANT_OPENS = 11,    /* switch, likewise */
    PLANT_DRIVER_OFF = 12, /* motor; value: V on its rail, too little for the driver */
    PLANT_DRIVER_ON = 13,  /* motor; value: V */
    PLANT_FAULT = 14     /* device of the fault; value: its kind (below); extra: its value */
};

/* What can be made to go wrong; each begins at a cycle and stays. device and value of each stand beside it. */
enum {
    PLANT_LOST_STEPS = 1,   /* motor; value: electrical cycles (4 full steps each) by which the rotor is thrown, either way; once */
    PLANT_STALLED = 2,      /* motor; value: position it cannot pass, NaN: it cannot move at all */
    PLANT_STUCK_OPEN = 3,   /* switch */
    PLANT_STUCK_CLOSED = 4, /* switch */
    PLANT_BOUNCES = 5,      /* switch; value: seconds that its bounce lasts */
    PLANT_COIL_LATE = 6,    /* coil; value: seconds by which it is switched later, on and off */
    PLANT_COIL_STUCK = 7,   /* coil: the plunger does not move */
    PLANT_WEAK_SUPPLY = 8   /* rail; value: ohm between its source and its load */
};

typedef struct {
    double voltage_v;
    double source_ohm; /* inside the source: 0 for a stiff one */
    int32_t from;      /* rail it is made from, -1: none */
    double efficiency; /* of that converter */
    double base_a;     /* drawn always (the board) */
} plant_rail_config;

typedef struct {
    int32_t step_pin, direction_pin, enable_pin; /* enabled when low; -1: always */
    int32_t reversed;                            /* direction high moves towards lower positions */
    int32_t rail;
    int32_t steps_per_turn, microsteps;
    double current_a, hold; /* in a winding; share of it kept when still */
    double resistance_ohm, inductance_h, driver_minimum_v;
    double holding_torque_nm; /* at current_a */
    double inertia_kgm2;      /* rotor and all it moves, seen at the shaft */
    double friction_nm;       /* against any motion */
    double drag_nms;          /* against turning, N*m in a rad/s */
    double damping_nms;       /* against swinging about the field, N*m in a rad/s */
    double load_nm;           /* constant, against rising positions (weight) */
    double travel;            /* position units a turn: mm of a carriage, 1 of a pick */
    double start;             /* position at cycle 0 */
    double low_end, high_end; /* hard stops; infinite: none */
    double strike_at;         /* turn at which a pick lets go of its string; negative: this is no pick */
    int32_t carriage;         /* motor that carries the bar under this pick, -1: none */
} plant_motor_config;

typedef struct {
    int32_t pin;
    int32_t rail;
    double resistance_ohm;
    double pull_in_s, release_s; /* current on to blow, current off to back at rest, at the rail's nominal voltage */
    double operate_s, let_go_s;  /* of the relay that switches it; 0 for a transistor */
    int32_t relay_rail;          /* rail of the relay's own coil, -1: a transistor */
    double relay_a;
    int32_t finger;              /* it presses a string: events 3-6; otherwise it strikes: event 2 */
    int32_t carriage;            /* motor that carries the bar under this kicked pick, -1: none */
    int32_t touches;             /* measured softer blows, 0 to PLANT_TOUCHES, from the hardest to the softest: */
    double touch_on_s[3], touch_strength[3], touch_pull_in_s[3]; /* coil on so long, strength beside the full blow, current on to blow */
} plant_coil_config;

typedef struct {
    int32_t pin;
    int32_t closed_high; /* level of its pin when closed */
    double bounce_s;     /* longest bounce */
} plant_switch_config;

/* Something that works a switch: closed while the motor's position lies within one of its spans. A switch with several
   contacts is closed when all are (wired in series). */
typedef struct {
    int32_t on_switch, motor;
    int32_t spans;           /* how many, in rising order, apart by more than twice the slack */
    const double *low, *high;
    double period;           /* spans repeat after so much (1 turn of a pick); 0: not */
    double slack;            /* it opens again so much beyond the span */
} plant_contact_config;

typedef struct {
    double clock_hz;
    uint32_t seed; /* of all bounces */
    int32_t rails, motors, coils, switches, contacts;
    const plant_rail_config *rail;
    const plant_motor_config *motor;
    const plant_coil_config *coil;
    const plant_switch_config *switch_;
    const plant_contact_config *contact;
} plant_config;

typedef struct {
    uint64_t cycle;
    int32_t kind, device;
    double value, extra;
} plant_event;

/* Every millisecond while anything works; between two of them as in the first, over gaps as well. */
typedef struct {
    uint64_t cycle;
    int32_t rail;
    double voltage_v, current_a;
} plant_sample;

/* Every millisecond while a motor turns. */
typedef struct {
    uint64_t cycle;
    int32_t motor;
    double position, speed; /* mm or turns, and those in a second */
} plant_place;

typedef struct {
    double position, speed;
    double commanded;  /* where the field would hold it, without load */
    double current_a;  /* in a winding, amplitude */
    double torque_nm;  /* of the field on the rotor */
    double lost_steps; /* commanded less made, in full steps */
    int32_t still;     /* nothing is integrated */
} plant_motor_state;

typedef struct {
    double current_a;
    double stroke; /* 0 at rest, 1 at the blow */
    int32_t on;    /* current flows in */
} plant_coil_state;

typedef struct plant plant;
typedef void plant_set_pin(void *context, int pin, int level, uint64_t cycle);

plant *plant_new(const plant_config *config); /* copies all it needs; NULL: no memory or a config that makes no sense */
void plant_free(plant *);
/* Where switches report. Called at once with the level of every switch, as of the plant's time. */
void plant_on_pin(plant *, plant_set_pin *set_pin, void *context);
/* A pin of the chip changes. Cycles do not fall, over all calls of plant_edge and plant_advance; one that does is taken as of
   the latest. Returns, as plant_advance does, the cycle at which the plant wants to be called next. */
uint64_t plant_edge(plant *, int pin, int level, uint64_t cycle);
/* Time goes on to a cycle. Returns the next cycle at which it wants to be called, UINT64_MAX at rest: then only an edge or
   a fault brings it back. */
uint64_t plant_advance(plant *, uint64_t cycle);
/* Arms a fault from a cycle on (at once when that is past). 0, or -1 for a kind or device that is not there. */
int plant_fault(plant *, int kind, int device, uint64_t cycle, double value);

/* All so far, valid until the next call that moves time. Events of one device are in time order. */
const plant_event *plant_events(const plant *, uint32_t *count);
const plant_sample *plant_samples(const plant *, uint32_t *count);
const plant_place *plant_places(const plant *, uint32_t *count);
int plant_out_of_memory(const plant *); /* 1: some of these are missing */

void plant_motor_now(const plant *, int motor, plant_motor_state *state);
void plant_coil_now(const plant *, int coil, plant_coil_state *state);
double plant_rail_v(const plant *, int rail);

#endif
