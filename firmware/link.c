#include "link.h"

#include <stdbool.h>
#include <string.h>
#include <util/crc16.h>

#include "axis.h"
#include "block.h"
#include "clock.h"
#include "guard.h"
#include "player.h"
#include "queue.h"
#include "roll.h"
#include "serial.h"
#include "words.h"

#define CRC_START 0xFFFF
#define OVERHEAD 4          /* type, sequence, CRC */
#define LONGEST_ANSWER (STATUS_SIZE + 4 * MOST_AXES)
#define BYTES_A_PASS 32     /* so that a flood never keeps the player waiting */

uint8_t link_reset_cause, link_bad_frames;

/* ---- frames out ---- */

static uint8_t out[LONGEST_ANSWER + OVERHEAD];
static uint8_t out_fill, out_seq;

static void begin_frame(uint8_t type) {
    out[0] = type;
    out[1] = out_seq++;
    out_fill = 2;
}

static void put(uint8_t byte) { out[out_fill++] = byte; }

static void put_u32(uint32_t value) {
    memcpy(out + out_fill, &value, 4);
    out_fill += 4;
}

static uint16_t crc_of(const uint8_t *bytes, uint8_t count) {
    uint16_t crc = CRC_START;
    while (count--)
        crc = _crc_xmodem_update(crc, *bytes++);
    return crc;
}

/* A frame that finds no room is dropped: waiting would cost cues, and the host asks again. */
static void send_frame(void) {
    uint16_t crc = crc_of(out, out_fill);
    put(crc);
    put(crc >> 8);
    if (serial_room() < out_fill + 3)
        return;
    serial_put(0);
    for (uint8_t from = 0; from <= out_fill;) {
        uint8_t to = from;
        while (to < out_fill && out[to])
            to++;
        serial_put(to - from + 1);
        for (; from < to; from++)
            serial_put(out[from]);
        from++; /* over the zero, or past the end */
    }
    serial_put(0);
}

/* ---- answers ---- */

static uint8_t next_seq;
static uint8_t told_room; /* the credit last given */
static bool spoken; /* a program has said hello: news goes to it */
static uint16_t heard_at; /* beat of the last good frame */

static void put_state(void) {
    put(player_state);
    put(player_reason);
}

static void send_ack(void) {
    begin_frame(FRAME_ACK);
    put(next_seq);
    told_room = stream_room();
    put(told_room);
    put(0);
    put_state();
    send_frame();
}

static void send_info(void) {
    begin_frame(FRAME_INFO);
    put(LINK_VERSION);
    put_u32(BUILD_NUMBER);
    put_u32(block_machine_id());
    put(roll_count());
    put(STREAM_BYTES);
    put(0);
    put(LONGEST_PAYLOAD);
    put(link_reset_cause);
    put(player_block);
    put_state();
    send_frame();
}

static void send_status(void) {
    begin_frame(FRAME_STATUS);
    put_state();
    put(player_where);
    put(player_tune);
    put(queue_late);
    put(guard_index_missed);
    put(guard_detent_missed);
    put(player_rehomed);
    put(link_bad_frames);
    put(serial_overruns);
    put(axis_count);
    for (uint8_t number = 0; number < axis_count; number++)
        put_u32(axis_steps(axis_of(number)));
    send_frame();
}

void link_news(uint8_t kind, uint8_t reason, uint8_t where) {
    if (!spoken) {
        if (kind == NEWS_STOPPED)
            words_stopped(reason, where);
        return;
    }
    begin_frame(FRAME_NEWS);
    put(kind);
    put(reason);
    put(where);
    put_u32(player_time_ms());
    send_frame();
}

/* ---- frames in ---- */

static uint8_t in[LONGEST_PAYLOAD + OVERHEAD];
static uint8_t in_fill;
static bool framing, broken;
static uint8_t group, group_left; /* of the byte stuffing: code of this group, bytes still to come */


/* The chip is little-endian, as the link is, and does not mind odd addresses. */
static uint16_t u16_at(const uint8_t *bytes) { return *(const uint16_t *)bytes; }
static uint32_t u32_at(const uint8_t *bytes) { return *(const uint32_t *)bytes; }

/* Cues that do not fit are not taken: the sequence stays, and the host sends them again. */
static bool take_frame(uint8_t type, const uint8_t *payload, uint8_t size) {
    if (type == FRAME_CUES) {
        if (size > stream_room())
            return false;
        if (player_awaits_cues)
            stream_put(payload, size);
    } else if (type == FRAME_STREAM && size == STREAM_SIZE) {
        player_reason = player_stream(u32_at(payload + STREAM_MACHINE_ID), u16_at(payload + STREAM_HORIZON_MS));
    } else if (type == FRAME_DO) {
        /* arguments that are missing are read from behind the payload: refused, whatever they are */
        bool whole = size == (payload[0] <= VERB_STOP ? DO_STOP_SIZE : payload[0] == VERB_JOG ? DO_JOG_SIZE : DO_PLAY_SIZE);
        player_reason = !whole ? REASON_BAD_RECORD : player_do(payload[DO_JOG_VERB], payload[DO_JOG_AXIS], u16_at(payload + DO_JOG_STEPS));
    }
    return true;
}

static void end_frame(void) {
    if (broken || group_left || in_fill < OVERHEAD || crc_of(in, in_fill - 2) != u16_at(in + in_fill - 2)) {
        if (link_bad_frames < 255)
            link_bad_frames++;
        return;
    }
    uint8_t type = in[0], seq = in[1];
    heard_at = beat();
    spoken = true;
    if (type == FRAME_HELLO) {
        next_seq = seq + 1;
        send_info();
    } else {
        bool taken = seq == next_seq && take_frame(type, in + 2, in_fill - OVERHEAD);
        next_seq += taken;
        if (taken && type == FRAME_ASK)
            send_status();
        else
            send_ack();
    }
}

static void begin_collecting(void) {
    framing = true;
    broken = false;
    in_fill = 0;
    group = 0xFF; /* no zero is owed before the first group */
    group_left = 0;
}

static void store(uint8_t byte) {
    if (in_fill < sizeof in)
        in[in_fill++] = byte;
    else
        broken = true;
}

/* The first byte behind a group's code is the type of a frame, which is no letter: a letter there means that a person types, and
 * that the zero before was noise or a byte read at another rate. */
static bool is_typed(uint8_t byte) { return !in_fill && group != 0xFF && ((byte >= ' ' && byte < 127) || byte == '\r' || byte == '\n'); }

static void collect(uint8_t byte) {
    if (is_typed(byte)) {
        framing = false;
        words_take(group);
        words_take(byte);
        return;
    }
    if (group_left) {
        group_left--;
        store(byte);
        return;
    }
    if (group != 0xFF)
        store(0);
    group = byte;
    group_left = byte - 1;
}

static void take_byte(uint8_t byte) {
    if (!byte) {
        if (framing && group != 0xFF) {
            end_frame();
            framing = false;
        } else {
            begin_collecting();
        }
    } else if (framing) {
        collect(byte);
    } else if (!player_awaits_cues) { /* then a program owns the line, and what looks like text is noise */
        words_take(byte);
    }
}

void link_poll(void) {
    uint8_t byte;
    for (uint8_t n = BYTES_A_PASS; n && serial_take(&byte); n--)
        take_byte(byte);
    serial_poll(!player_awaits_cues);
    if (player_awaits_cues && told_room < LONGEST_PAYLOAD && stream_room() >= LONGEST_PAYLOAD)
        send_ack(); /* unasked: a host that waits for room would ask too late when cues are dense */
    if (player_awaits_cues && (uint16_t)(beat() - heard_at) > BEATS(LINK_LOST_MS))
        player_stop(REASON_LINK_LOST, 0);
}
