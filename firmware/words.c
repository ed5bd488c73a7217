#include "words.h"

#include <avr/pgmspace.h>
#include <stdbool.h>

#include "axis.h"
#include "guard.h"
#include "link.h"
#include "player.h"
#include "queue.h"
#include "serial.h"

#define LONGEST_LINE 20

#define WORD(code, text) text "\0"
static const char reasons[] PROGMEM = REASON_WORDS(WORD);
static const char states[] PROGMEM = STATE_WORDS(WORD);
/* In the order of the verbs of the link; then those that only people use. */
static const char verbs[] PROGMEM = "home\0stop\0play\0jog\0turn\0pulse\0status\0tunes\0help\0";
enum { WORD_STATUS = VERB_PULSE + 1, WORD_TUNES, WORD_HELP };

static char line[LONGEST_LINE + 1];
static uint8_t fill;

/* ---- saying ---- */

static const char *say(const char *text) {
    for (char letter; (letter = pgm_read_byte(text++));)
        serial_put(letter);
    return text;
}

static void say_word(const char *words, uint8_t code) {
    while (code)
        code -= !pgm_read_byte(words++);
    say(words);
}

static void say_digits(uint32_t number) {
    if (number > 9)
        say_digits(number / 10);
    serial_put('0' + number % 10);
}

static void say_number(const char *what, int32_t number) {
    say(what);
    if (number < 0) {
        serial_put('-');
        number = -number;
    }
    say_digits(number);
}

static void end_line(void) { say(PSTR("\r\n")); }

void words_stopped(uint8_t reason, uint8_t where) {
    say(PSTR("stopped: "));
    say_word(reasons, reason);
    if (reason >= REASON_HOME_NEVER_CLOSED && reason <= REASON_BUSY)
        say_number(PSTR(", at "), where);
    end_line();
}

static void say_outcome(uint8_t refused) {
    say(refused ? PSTR("no: ") : PSTR("yes"));
    if (refused)
        say_word(reasons, refused);
    if (refused == REASON_NOT_HOMED)
        say(PSTR(", type home"));
    end_line();
}

static void say_status(void) {
    say_word(states, player_state);
    say(PSTR(", "));
    say_word(reasons, player_reason);
    say_number(PSTR("; tune "), player_tune);
    say(PSTR("; at"));
    for (uint8_t number = 0; number < axis_count; number++)
        say_number(PSTR(" "), axis_steps(axis_of(number)));
    say_number(PSTR("; missed index "), guard_index_missed);
    say_number(PSTR(", detent "), guard_detent_missed);
    say_number(PSTR("; homed again "), player_rehomed);
    say_number(PSTR("; late "), queue_late);
    end_line();
}

static void say_help(void) {
    say(PSTR("home: find home, before anything else\r\n"
             "play N, stop, status, tunes\r\n"
             "jog AXIS STEPS, turn AXIS, pulse COIL: keep your fingers away\r\n"));
}

static void say_tunes(void) {
    uint16_t at;
    for (uint8_t tune = 1;; tune++) {
        uint8_t refused = roll_find(tune, &at);
        if (refused == REASON_NO_SUCH_TUNE)
            break;
        say_number(PSTR(""), tune);
        serial_put(' ');
        if (refused) {
            say_word(reasons, refused);
        } else {
            uint8_t letters = flash_u8(at + ROLL_HEAD_TITLE_BYTES);
            for (at += ROLL_HEAD_SIZE; letters; letters--)
                serial_put(flash_u8(at++));
        }
        end_line();
        if (refused && refused != REASON_ROLL_OF_ANOTHER_MACHINE)
            break; /* what stands behind it cannot be trusted */
    }
}

/* ---- understanding ---- */

static const char *rest; /* of the line */

/* The number of the word that the line begins with, from 1; 0 for none. */
static uint8_t first_word(void) {
    uint8_t code = 1;
    for (const char *word = verbs; pgm_read_byte(word); code++) {
        rest = line;
        while (pgm_read_byte(word) && pgm_read_byte(word) == *rest) {
            word++;
            rest++;
        }
        if (!pgm_read_byte(word) && *rest <= ' ')
            return code;
        while (pgm_read_byte(word++))
            ;
    }
    return 0;
}

/* The next number of the line; `missing` when there is none. Numbers that would wrap are as good as none. */
static bool missing;
static int16_t next_number(void) {
    __int24 value = 0;
    while (*rest == ' ')
        rest++;
    bool negative = *rest == '-';
    rest += negative;
    missing = true;
    for (; *rest >= '0' && *rest <= '9' && value <= 3276; rest++) {
        value = 10 * value + (*rest - '0');
        missing = false;
    }
    missing |= (uint8_t)*rest > ' ' || value > INT16_MAX;
    return negative ? -value : value;
}

static uint8_t do_verb(uint8_t verb) {
    int16_t which = 0, steps = 0;
    missing = false;
    if (verb > VERB_STOP)
        which = next_number();
    if (verb == VERB_PLAY && missing && !*rest) {
        which = 1; /* play alone plays the first */
        missing = false;
    }
    if (verb == VERB_JOG && !missing)
        steps = next_number();
    while (*rest == ' ')
        rest++;
    if (missing || *rest || which & 0xFF00)
        return REASON_BAD_RECORD;
    return player_do(verb, which, steps);
}

static void obey(void) {
    uint8_t code = first_word();
    if (code == WORD_STATUS) {
        say_status();
    } else if (code == WORD_TUNES) {
        uint8_t refused = player_busy(); /* what is moving must be looked after meanwhile */
        if (refused)
            say_outcome(refused);
        else
            say_tunes();
    } else if (code && code <= VERB_PULSE) {
        uint8_t outcome = do_verb(code);
        say_outcome(outcome == REASON_ASKED ? REASON_NONE : outcome);
    } else {
        say_help();
    }
}

void words_take(uint8_t byte) {
    if (byte == '\r' || byte == '\n') {
        if (fill > LONGEST_LINE) { /* half a line is not obeyed */
            say_outcome(REASON_BAD_RECORD);
        } else if (fill) {
            line[fill] = 0;
            obey();
        }
        fill = 0;
    } else if ((byte == 8 || byte == 127) && fill) {
        fill--;
    } else if (byte >= ' ' && byte < 127 && fill <= LONGEST_LINE) {
        line[fill++] = byte;
    }
}
