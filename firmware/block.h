/* Blocks in flash: the machine block and the rolls behind it. Their layout: format.h, from the one table of the host. */
#ifndef BLOCK_H
#define BLOCK_H
#include <stdint.h>

#include "format.h"
#include "link_format.h"

uint8_t flash_u8(uint16_t at);
uint16_t flash_u16(uint16_t at);
uint32_t flash_u32(uint16_t at);

extern uint16_t block_axes, block_coils, block_switches, block_stops, block_touches; /* where the records begin */

uint8_t block_open(void);                       /* check the machine block; 0 or the reason why it is refused */
uint32_t block_machine_id(void);
uint8_t block_head(uint8_t field);              /* a byte of the machine head; 0 while there is no usable block */
uint16_t coil_at(uint8_t coil);
uint8_t roll_find(uint8_t tune, uint16_t *at);  /* tune from 1; 0 and its payload, or the reason why not */
uint8_t roll_count(void);                       /* rolls, up to the first whose head is damaged */

#endif
