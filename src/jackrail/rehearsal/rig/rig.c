/* The joint of chip and plant. */
#include "rig.h"
#include <stdlib.h>

struct rig {
    chip *chip;
    plant *plant;
};

static uint64_t on_call(void *context, uint64_t cycle)
{
    rig *r = context;
    return plant_advance(r->plant, cycle);
}

static void on_edge(void *context, int pin, int level, uint64_t cycle)
{
    rig *r = context;
    chip_call(r->chip, on_call, r, plant_edge(r->plant, pin, level, cycle));
}

static void set_pin(void *context, int pin, int level, uint64_t cycle)
{
    rig *r = context;
    if (cycle > chip_cycle(r->chip))
        chip_drive_at(r->chip, pin, level, cycle);
    else
        chip_drive(r->chip, pin, level);
}

rig *rig_join(chip *c, plant *p)
{
    rig *r = malloc(sizeof *r);
    if (!r)
        return NULL;
    *r = (rig){c, p};
    chip_observe(c, on_edge, r);
    plant_on_pin(p, set_pin, r);
    return r;
}

void rig_part(rig *r)
{
    chip_observe(r->chip, NULL, NULL);
    chip_call(r->chip, on_call, r, CHIP_NEVER);
    plant_on_pin(r->plant, NULL, NULL);
    free(r);
}

/* An edge of no pin only asks what the plant wants: to move it here would make a run in slices another run. */
int rig_run(rig *r, uint64_t until)
{
    on_edge(r, -1, 0, chip_cycle(r->chip));
    return chip_run(r->chip, until);
}
