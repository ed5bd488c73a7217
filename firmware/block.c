/* Blocks in flash: the machine block and the rolls behind it. Their layout: format.h, from the one table of the host. */
#include "firmware.h"

#define PAYLOAD (MACHINE_BLOCK_AT + HEADER_SIZE)
#define MAGIC ('J' | 'R' << 8)
#define CRC_START 0xFFFF

/* Where the records begin. */
static uint16_t block_axes, block_coils, block_switches, block_stops;
static uint16_t roll_at;  /* payload of the roll found last */
static uint8_t tunes;     /* whole rolls, up to the first that is damaged */

static __attribute__((noinline)) uint8_t flash_u8(uint16_t at) { return pgm_read_byte(at); }
static __attribute__((noinline)) uint16_t flash_u16(uint16_t at) { return pgm_read_word(at); }
static __attribute__((noinline)) uint32_t flash_u32(uint16_t at) { return pgm_read_dword(at); }

static __attribute__((noinline)) void crc_add(uint8_t byte) { board->crc = _crc_xmodem_update(board->crc, byte); }

static __attribute__((noinline)) uint16_t crc_over(uint16_t at, uint16_t length) {
    while (length--) {
        crc_add(flash_u8(at++));
        wdt_reset();
    }
    return at;
}

static __attribute__((noinline)) uint16_t behind(uint16_t block) { return block + HEADER_SIZE + flash_u16(block + HEADER_LENGTH); }

/* 0, or why the block is refused. */
static __attribute__((noinline)) uint8_t look_at(uint16_t at, uint8_t kind) {
    uint16_t magic = flash_u16(at);
    bool roll = kind == KIND_ROLL;
    if (at > FLASH_END - HEADER_SIZE || magic == 0xFFFF)
        return roll ? REASON_NO_SUCH_TUNE : REASON_NO_MACHINE_BLOCK;
    uint8_t damaged = roll ? REASON_ROLL_DAMAGED : REASON_MACHINE_BLOCK_DAMAGED;
    if (magic != MAGIC || flash_u8(at + HEADER_KIND) != kind)
        return damaged;
    if (flash_u8(at + HEADER_VERSION) != FORMAT_VERSION)
        return damaged + 1; /* of another version */
    uint16_t length = flash_u16(at + HEADER_LENGTH);
    if (length > FLASH_END - HEADER_SIZE - at)
        return damaged;
    board->crc = CRC_START;
    crc_over(crc_over(at, HEADER_CRC) + 2, length);
    return board->crc == flash_u16(at + HEADER_CRC) ? REASON_NONE : damaged;
}

/* A byte of the machine head; 0 while there is no usable block. */
static __attribute__((noinline)) uint8_t block_head(uint8_t field) { return board->block ? 0 : flash_u8(PAYLOAD + field); }

static uint16_t coil_at(uint8_t coil) { return block_coils + coil * COIL_SIZE; }

static void block_open(void) {
    uint16_t at = PAYLOAD + MACHINE_HEAD_SIZE;
    board->block = look_at(MACHINE_BLOCK_AT, KIND_MACHINE);
    block_axes = at;
    for (uint8_t n = block_head(MACHINE_HEAD_AXES); n; n--)
        at += AXIS_SIZE + flash_u8(at + AXIS_ENTRIES) * RAMP_ENTRY_SIZE;
    block_coils = at;
    block_switches = coil_at(block_head(MACHINE_HEAD_COILS));
    block_stops = block_switches + block_head(MACHINE_HEAD_SWITCHES) * SWITCH_SIZE;
    at = block_stops + block_head(MACHINE_HEAD_STOPS) * STOP_SIZE;
    if (!board->block && (block_head(MACHINE_HEAD_AXES) > MOST_AXES || block_head(MACHINE_HEAD_COILS) > MOST_COILS ||
                          at != behind(MACHINE_BLOCK_AT)))
        board->block = REASON_MACHINE_BLOCK_DAMAGED;
}

/* Tune from 1. Returns 0 and finds its roll, or why not. */
static __attribute__((noinline)) uint8_t roll_find(uint8_t tune) {
    uint16_t block = MACHINE_BLOCK_AT;
    for (tunes = 0;;) {
        block = behind(block);
        uint8_t refused = board->block;
        if (!refused)
           refused = look_at(block, KIND_ROLL);
        if (refused)
            return refused;
        if (++tunes == tune) {
            roll_at = block + HEADER_SIZE;
            return flash_u32(roll_at) == flash_u32(PAYLOAD) ? REASON_NONE : REASON_ROLL_OF_ANOTHER_MACHINE;
        }
    }
}
