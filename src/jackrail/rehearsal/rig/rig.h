/* Chip and plant joined: the chip's edges move the machine, the machine's switches move the chip's pins. */
#ifndef RIG_H
#define RIG_H

#include "chip.h"
#include "plant.h"

typedef struct rig rig;

rig *rig_join(chip *, plant *); /* both stay their owners'; NULL: no memory */
void rig_part(rig *);           /* before either is freed */
int rig_run(rig *, uint64_t until_cycle); /* as chip_run; faults armed in the plant before it count */

#endif
