/* What the plant has to tell, in growing arrays. */
#include <stdlib.h>

#include "parts.h"

static void *one_more(plant *p, pile *all, size_t size) {
    if (all->count == all->room) {
        uint32_t room = all->room ? 2 * all->room : 1024;
        void *items = realloc(all->items, room * size);
        if (!items) {
            p->out_of_memory = 1;
            return 0;
        }
        all->items = items;
        all->room = room;
    }
    return (char *)all->items + size * all->count++;
}

void record_event(plant *p, int kind, int device, uint64_t cycle, double value, double extra) {
    plant_event *event = one_more(p, &p->events, sizeof *event);
    if (event)
        *event = (plant_event){cycle, kind, device, value, extra};
}

void record_sample(plant *p, int on_rail, uint64_t cycle, double voltage_v, double current_a) {
    plant_sample *sample = one_more(p, &p->samples, sizeof *sample);
    if (sample)
        *sample = (plant_sample){cycle, on_rail, voltage_v, current_a};
}

void record_place(plant *p, int of_motor, uint64_t cycle, double position, double speed) {
    plant_place *place = one_more(p, &p->places, sizeof *place);
    if (place)
        *place = (plant_place){cycle, of_motor, position, speed};
}
