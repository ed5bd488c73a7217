/* What a person types into any serial terminal, and what is answered. */
#include "firmware.h"

#define LONGEST_LINE 20

#define WORD(code, text) text "\0"
static const char reasons[] PROGMEM = REASON_WORDS(WORD);
static const char states[] PROGMEM = STATE_WORDS(WORD);
/* In the order of the verbs of the link; then those that only people use. */
static const char verbs[] PROGMEM = "home\0stop\0play\0jog\0turn\0pulse\0status\0tunes\0";
enum { WORD_STATUS = VERB_PULSE + 1, WORD_TUNES };

static char line[LONGEST_LINE + 1];
static uint8_t line_fill;

/* ---- saying ---- */

static NOINLINE void say(const char *text) {
    for (char letter; (letter = flash_u8((uint16_t)text++));)
        serial_put(letter);
}

static NOINLINE void say_word(const char *words, uint8_t code) {
    while (code)
        code -= !flash_u8((uint16_t)words++);
    say(words);
}

static const uint32_t powers[] PROGMEM = {1000000000, 100000000, 10000000, 1000000, 100000, 10000, 1000, 100, 10, 1};

static NOINLINE void say_number(const char *what, int32_t number) {
    say(what);
    if (number < 0) {
        serial_put('-');
        number = -number;
    }
    bool begun = false;
    uint16_t at = (uint16_t)powers;
    for (uint8_t n = 10; n--; at += 4) {
        uint32_t power = flash_u32(at);
        char digit = '0';
        for (; (uint32_t)number >= power; number -= power)
            digit++;
        begun |= digit != '0' || !n;
        if (begun)
            serial_put(digit);
    }
}

static NOINLINE void end_line(void) { say(PSTR("\r\n")); }

static void words_stopped(uint8_t reason, uint8_t where) {
    say(PSTR("stopped: "));
    say_word(reasons, reason);
    if (reason >= REASON_HOME_NEVER_CLOSED && reason <= REASON_BUSY)
        say_number(PSTR(", at "), where);
    end_line();
}

static void say_outcome(uint8_t refused) {
    if (!refused || refused == REASON_ASKED) {
        say(PSTR("yes"));
    } else {
        say(PSTR("no: "));
        say_word(reasons, refused);
        if (refused == REASON_NOT_HOMED)
            say(PSTR(", type home"));
    }
    end_line();
}

static NOINLINE int32_t axis_steps(void) { /* from home; 0 for a pick */
    return is_pick() ? 0 : flash_u32(axis->record + AXIS_LOWEST) + axis_position();
}

static void say_status(void) {
    say_word(states, board->state);
    say(PSTR(", "));
    say_word(reasons, board->reason);
    say_number(PSTR("; tune "), board->tune);
    say(PSTR("; at"));
    for (uint8_t number = 0; number != board->axes; number++) {
        axis_select(number);
        say_number(PSTR(" "), axis_steps());
    }
    say_number(PSTR("; missed index "), board->index_missed);
    say_number(PSTR(", detent "), board->detent_missed);
    say_number(PSTR("; homed again "), board->rehomed);
    say_number(PSTR("; late "), board->late);
    end_line();
}

static void say_help(void) {
    say(PSTR("home: find home, before anything else\r\n"
             "play N, stop, status, tunes\r\n"
             "jog AXIS STEPS, turn AXIS, pulse COIL: keep your fingers away\r\n"));
}

static void say_tunes(void) {
    for (uint8_t tune = 1;; tune++) {
        uint8_t refused = roll_find(tune);
        if (refused == REASON_NO_SUCH_TUNE)
            break;
        say_number(PSTR(""), tune);
        serial_put(' ');
        if (refused) {
            say_word(reasons, refused);
        } else {
            uint16_t at = roll_at + ROLL_HEAD_SIZE;
            for (uint8_t letters = flash_u8(at - 1); letters; letters--)
                serial_put(flash_u8(at++));
        }
        end_line();
        if (refused && refused != REASON_ROLL_OF_ANOTHER_MACHINE)
            break; /* what stands behind a damaged one cannot be found */
    }
}

/* ---- understanding ---- */

static const char *rest; /* of the line */

/* The number of the word that the line begins with, from 1; 0 for none. */
static uint8_t first_word(void) {
    uint8_t code = 1;
    uint16_t word = (uint16_t)verbs;
    for (; flash_u8(word); code++) {
        rest = line;
        uint8_t letter;
        while ((letter = flash_u8(word)) && letter == *rest) {
            word++;
            rest++;
        }
        if (!letter && *rest <= ' ')
            return code;
        while (flash_u8(word++))
            ;
    }
    return 0;
}

static NOINLINE int16_t next_number(void) {
    int16_t value = 0;
    while (*rest == ' ')
        rest++;
    bool negative = *rest == '-';
    rest += negative;
    while (*rest >= '0' && *rest <= '9')
        value = 10 * value + *rest++ - '0';
    return negative ? -value : value;
}

static void obey(void) {
    uint8_t code = first_word();
    if (code == WORD_STATUS) {
        say_status();
    } else if (code == WORD_TUNES && board->state != STATE_PLAYING) {
        say_tunes();
    } else if (code && code <= VERB_PULSE) {
        uint8_t which = next_number();
        if (code == VERB_PLAY && !which)
            which = 1;
        say_outcome(player_do(code, which, next_number()));
    } else {
        say_help();
    }
}

static void words_take(uint8_t byte) {
    if (byte == '\r' || byte == '\n') {
        line[line_fill] = 0;
        if (line_fill)
            obey();
        line_fill = 0;
    } else if ((byte == 8 || byte == 127) && line_fill) {
        line_fill--;
    } else if (byte >= ' ' && byte < 127 && line_fill < LONGEST_LINE) {
        line[line_fill++] = byte;
    }
}
