#include "block.h"

#include <avr/pgmspace.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <util/crc16.h>

#include "output.h"

#define PAYLOAD (MACHINE_BLOCK_AT + HEADER_SIZE)
#define MAGIC ('J' | 'R' << 8)
#define BYTES_A_KICK 4096 /* of the watchdog */

uint16_t block_axes, block_coils, block_switches, block_stops, block_touches;
static bool usable;

/* Out of line: three instructions each, but used a hundred times. */
uint8_t flash_u8(uint16_t at) { return pgm_read_byte(at); }
uint16_t flash_u16(uint16_t at) { return pgm_read_word(at); }
uint32_t flash_u32(uint16_t at) { return pgm_read_dword(at); }

static uint16_t crc_of(uint16_t at, uint16_t length, uint16_t crc) {
    while (length--) {
        crc = _crc_xmodem_update(crc, pgm_read_byte(at++));
        if (!(length & (BYTES_A_KICK - 1)))
            wdt_reset();
    }
    return crc;
}

static uint16_t behind(uint16_t block) { return block + HEADER_SIZE + flash_u16(block + HEADER_LENGTH); }

enum fault { SOUND, ABSENT, OTHER_VERSION, DAMAGED };

static enum fault look_at(uint16_t at, uint8_t kind, bool whole) {
    if (at > FLASH_END - HEADER_SIZE || flash_u16(at + HEADER_MAGIC) == 0xFFFF)
        return ABSENT;
    if (flash_u16(at + HEADER_MAGIC) != MAGIC || flash_u8(at + HEADER_KIND) != kind)
        return DAMAGED;
    if (flash_u8(at + HEADER_VERSION) != FORMAT_VERSION)
        return OTHER_VERSION;
    uint16_t length = flash_u16(at + HEADER_LENGTH);
    if (length > FLASH_END - HEADER_SIZE - at)
        return DAMAGED;
    if (!whole)
        return SOUND;
    uint16_t crc = crc_of(at + HEADER_SIZE, length, crc_of(at, HEADER_CRC, 0xFFFF));
    return crc == flash_u16(at + HEADER_CRC) ? SOUND : DAMAGED;
}

static bool lay_out(void) {
    uint16_t at = PAYLOAD + MACHINE_HEAD_SIZE;
    if (block_head(MACHINE_HEAD_AXES) > MOST_AXES || block_head(MACHINE_HEAD_COILS) > MOST_COILS)
        return false;
    block_axes = at;
    for (uint8_t n = block_head(MACHINE_HEAD_AXES); n; n--)
        at += AXIS_SIZE + (uint16_t)flash_u8(at + AXIS_ENTRIES) * RAMP_ENTRY_SIZE;
    block_coils = at;
    at += (uint16_t)block_head(MACHINE_HEAD_COILS) * COIL_SIZE;
    block_switches = at;
    at += (uint16_t)block_head(MACHINE_HEAD_SWITCHES) * SWITCH_SIZE;
    block_stops = at;
    at += (uint16_t)block_head(MACHINE_HEAD_STOPS) * STOP_SIZE;
    block_touches = at;
    return at + (uint16_t)block_head(MACHINE_HEAD_TOUCHES) * TOUCH_SIZE == behind(MACHINE_BLOCK_AT);
}

uint8_t block_open(void) {
    enum fault fault = look_at(MACHINE_BLOCK_AT, KIND_MACHINE, true);
    usable = fault == SOUND;
    if (usable && !lay_out()) {
        usable = false;
        fault = DAMAGED;
    }
    return fault == SOUND ? REASON_NONE
           : fault == ABSENT ? REASON_NO_MACHINE_BLOCK
           : fault == DAMAGED ? REASON_MACHINE_BLOCK_DAMAGED
                              : REASON_MACHINE_BLOCK_OF_ANOTHER_VERSION;
}

uint8_t block_head(uint8_t field) { return usable ? flash_u8(PAYLOAD + field) : 0; }

uint32_t block_machine_id(void) { return usable ? flash_u32(PAYLOAD + MACHINE_HEAD_MACHINE_ID) : 0; }

uint16_t coil_at(uint8_t coil) { return block_coils + (uint16_t)coil * COIL_SIZE; }

uint8_t roll_find(uint8_t tune, uint16_t *at) {
    for (uint16_t block = MACHINE_BLOCK_AT; usable && tune;) {
        block = behind(block);
        tune--; /* those before it are passed by their heads: a whole flash takes 50 ms to check */
        enum fault fault = look_at(block, KIND_ROLL, !tune);
        if (fault == ABSENT)
            break;
        if (fault != SOUND && (!tune || fault == DAMAGED))
            return fault == DAMAGED ? REASON_ROLL_DAMAGED : REASON_ROLL_OF_ANOTHER_VERSION;
        if (tune)
            continue;
        *at = block + HEADER_SIZE;
        return flash_u32(*at + ROLL_HEAD_MACHINE_ID) == block_machine_id() ? REASON_NONE : REASON_ROLL_OF_ANOTHER_MACHINE;
    }
    return REASON_NO_SUCH_TUNE;
}

/* Damaged ones too, where what stands behind them can be found. */
uint8_t roll_count(void) {
    uint8_t tunes = 0;
    for (uint16_t at = MACHINE_BLOCK_AT; usable && tunes < 255; tunes++) {
        at = behind(at);
        enum fault fault = look_at(at, KIND_ROLL, false);
        if (fault == ABSENT || fault == DAMAGED)
            break;
    }
    return tunes;
}
