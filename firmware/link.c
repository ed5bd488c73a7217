/* The serial link: frames for programs, plain words for people, on one line. docs/SPEC-link.md is its description. */
#include "firmware.h"

#define OVERHEAD 4          /* type, sequence, CRC */
#define LONGEST_ANSWER (STATUS_SIZE + 4 * MOST_AXES)
#define BYTES_A_PASS 32     /* so that a flood never keeps the player waiting */

/* ---- frames out ---- */

/* Byte 0 is the place of the first code of the byte stuffing. */
static uint8_t out[1 + LONGEST_ANSWER + OVERHEAD];
static uint8_t out_seq;

static NOINLINE void put(uint8_t byte) {
    out[++board->out_fill] = byte;
    crc_add(byte);
}

static NOINLINE void begin_frame(uint8_t type) {
    board->crc = CRC_START;
    board->out_fill = 0;
    put(type);
    put(out_seq++);
}

static NOINLINE void put_u32(uint32_t value) {
    for (uint8_t n = 4; n--; value >>= 8)
        put(value);
}

/* Each zero becomes the distance to the next, the last one that to the end. A frame that finds no room is dropped: waiting would
 * cost cues, and the host asks again. */
static NOINLINE void send_frame(void) {
    uint16_t crc = board->crc;
    put(crc);
    put(crc >> 8);
    uint8_t at = board->out_fill + 1, code = 0;
    if (serial_room() < at + 2)
        return;
    out[0] = 0;
    do {
        at--;
        code++;
        if (!out[at]) {
            out[at] = code;
            code = 0;
        }
    } while (at);
    serial_put(0);
    do
        serial_put(out[at]);
    while (at++ != board->out_fill);
    serial_put(0);
}

/* ---- answers ---- */

static uint8_t next_seq, told_room; /* told_room: the credit last given */
static bool spoken;                 /* a program has said hello: news goes to it */
static uint16_t heard_at;           /* beat of the last good frame */
static uint8_t reset_cause;

static NOINLINE void end_with_state(void) {
    put(board->state);
    put(board->reason);
    send_frame();
}

static NOINLINE void send_ack(void) {
    begin_frame(FRAME_ACK);
    put(next_seq);
    told_room = stream_room();
    put(told_room);
    put(0);
    end_with_state();
}

static void send_info(void) {
    roll_find(0); /* counts them */
    begin_frame(FRAME_INFO);
    put(LINK_VERSION);
    put_u32(BUILD_NUMBER);
    put_u32(board->block ? 0 : flash_u32(PAYLOAD));
    put(tunes);
    put(STREAM_BYTES);
    put(0);
    put(LONGEST_PAYLOAD);
    put(reset_cause);
    put(board->block);
    end_with_state();
}

static void send_status(void) {
    begin_frame(FRAME_STATUS);
    for (uint8_t n = 0; n < STATUS_SIZE; n++)
        put((&board->state)[n]);
    for (uint8_t number = 0; number != board->axes; number++) {
        axis_select(number);
        put_u32(axis_steps());
    }
    send_frame();
}

static NOINLINE void link_news(uint8_t kind, uint8_t reason, uint8_t where) {
    if (!spoken) {
        if (kind == NEWS_STOPPED)
            words_stopped(reason, where);
        return;
    }
    begin_frame(FRAME_NEWS);
    put(kind);
    put(reason);
    put(where);
    put_u32(player_time() / TICKS_A_MS);
    send_frame();
}

/* ---- frames in ---- */

static uint8_t in[1 + LONGEST_PAYLOAD + OVERHEAD]; /* as it came, from the first code on */
static bool framing;

/* The chip is little-endian, as the link is, and does not mind odd addresses. */
#define PAYLOAD_IN (in + 3)
#define U16_IN(at) (*(const uint16_t *)(PAYLOAD_IN + (at)))
#define U32_IN(at) (*(const uint32_t *)(PAYLOAD_IN + (at)))

/* Cues that do not fit are not taken: the sequence stays, and the host sends them again. */
static bool take_frame(uint8_t type, uint8_t size) {
    if (type == FRAME_CUES) {
        if (size > stream_room())
            return false;
        if (board->awaits_cues)
            for (const uint8_t *byte = PAYLOAD_IN; size--;)
                stream_put(*byte++);
    } else if (type == FRAME_STREAM && size == STREAM_SIZE) {
        board->reason = player_stream(U32_IN(STREAM_MACHINE_ID), U16_IN(STREAM_HORIZON_MS));
    } else if (type == FRAME_DO) {
        uint8_t verb = PAYLOAD_IN[DO_JOG_VERB];
        uint8_t whole = verb <= VERB_STOP ? DO_STOP_SIZE : verb == VERB_JOG ? DO_JOG_SIZE : DO_PLAY_SIZE;
        board->reason = size == whole ? player_do(verb, PAYLOAD_IN[DO_JOG_AXIS], U16_IN(DO_JOG_STEPS)) : REASON_BAD_RECORD;
    }
    return true;
}

/* Undo the byte stuffing in place: each code becomes the zero that it stands for. Returns whether the frame is sound. */
static bool is_sound(void) {
    uint8_t fill = board->in_fill;
    uint16_t at = 0;
    while (at < fill) {
        uint8_t code = in[at];
        in[at] = 0;
        at += code;
    }
    if (at != fill || fill < 1 + OVERHEAD)
        return false;
    board->crc = CRC_START;
    fill -= 2;
    for (at = 1; at != fill; at++)
        crc_add(in[at]);
    return board->crc == *(const uint16_t *)(in + at);
}

static void end_frame(void) {
    if (!is_sound()) {
        if (board->bad_frames < 255)
            board->bad_frames++;
        return;
    }
    uint8_t type = in[1], seq = in[2];
    heard_at = beat();
    spoken = true;
    if (type == FRAME_HELLO) {
        next_seq = seq + 1;
        send_info();
        return;
    }
    bool taken = seq == next_seq && take_frame(type, board->in_fill - 1 - OVERHEAD);
    next_seq += taken;
    if (taken && type == FRAME_ASK)
        send_status();
    else
        send_ack();
}

static void take_byte(uint8_t byte) {
    if (!byte) {
        bool ended = framing && board->in_fill;
        framing = !ended;
        if (ended)
            end_frame();
        board->in_fill = 0;
    } else if (framing) {
        if (board->in_fill < sizeof in) /* else it is too short for its codes */
            in[board->in_fill++] = byte;
    } else if (!board->awaits_cues) { /* then a program owns the line, and what looks like text is noise */
        words_take(byte);
    }
}

static void link_poll(void) {
    for (uint8_t n = BYTES_A_PASS; n && serial_waiting(); n--)
        take_byte(serial_take());
    serial_poll();
    if (!board->awaits_cues)
        return;
    if (told_room < LONGEST_PAYLOAD && stream_room() >= LONGEST_PAYLOAD)
        send_ack(); /* unasked: a host that waits for room would ask too late when cues are dense */
    if (beats_since(heard_at) > BEATS(LINK_LOST_MS))
        player_stop(REASON_LINK_LOST, 0);
}
