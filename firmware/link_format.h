/* The serial link in numbers. Written by `make spec` from src/jackrail/board/link_format.py and reasons.py: change it there.
 * <FRAME>_<FIELD> is the byte of a field in the payload, <FRAME>_SIZE its bytes (STATUS_SIZE: up to the positions). */
#ifndef LINK_FORMAT_H
#define LINK_FORMAT_H

#define LINK_VERSION 1
#define LONGEST_PAYLOAD 64
#define LONGEST_FRAME 68
#define LONGEST_CODED 69
#define LINK_LOST_MS 1000
#define ERRORS_BEFORE_OTHER_BAUD 3
#define MOST_AXES 4
#define LINK_BAUD 250000UL /* double speed (U2X) at 16 MHz */
#define LINK_UBRR 7
#define LINK_FALLBACK_BAUD 115200UL
#define LINK_FALLBACK_UBRR 16

#define FRAME_HELLO 0x01
#define FRAME_ASK 0x02
#define FRAME_DO 0x03
#define FRAME_STREAM 0x04
#define FRAME_CUES 0x05
#define FRAME_ACK 0x81
#define FRAME_INFO 0x82
#define FRAME_STATUS 0x83
#define FRAME_NEWS 0x84

#define VERB_HOME 1
#define VERB_STOP 2
#define VERB_PLAY 3
#define VERB_JOG 4
#define VERB_TURN 5
#define VERB_PULSE 6

#define STATE_NOT_HOMED 0
#define STATE_HOMING 1
#define STATE_READY 2
#define STATE_PLAYING 3
#define STATE_STOPPING 4
#define STATE_REFUSED 5

#define NEWS_PLAYING 1
#define NEWS_STOPPED 2
#define NEWS_INDEX_MISSED 3
#define NEWS_DETENT_MISSED 4
#define NEWS_HOMED 5

#define REASON_NONE 0
#define REASON_FINISHED 1
#define REASON_ASKED 2
#define REASON_LINK_LOST 3
#define REASON_STARVED 4
#define REASON_NOT_HOMED 5
#define REASON_HOME_NEVER_CLOSED 6
#define REASON_HOME_NEVER_OPENED 7
#define REASON_INDEX_MISSED 8
#define REASON_DETENT_MISSED 9
#define REASON_COIL_ON_TOO_LONG 10
#define REASON_BEYOND_LIMITS 11
#define REASON_BUSY 12
#define REASON_MACHINE_BLOCK_DAMAGED 13
#define REASON_MACHINE_BLOCK_OF_ANOTHER_VERSION 14
#define REASON_NO_MACHINE_BLOCK 15
#define REASON_ROLL_DAMAGED 16
#define REASON_ROLL_OF_ANOTHER_VERSION 17
#define REASON_ROLL_OF_ANOTHER_MACHINE 18
#define REASON_NO_SUCH_TUNE 19
#define REASON_BAD_RECORD 20
#define REASON_WATCHDOG 21
#define REASON_BROWN_OUT 22
#define REASON_RESET 23

#define DO_HOME_VERB 0
#define DO_HOME_SIZE 1

#define DO_STOP_VERB 0
#define DO_STOP_SIZE 1

#define DO_PLAY_VERB 0
#define DO_PLAY_TUNE 1
#define DO_PLAY_SIZE 2

#define DO_JOG_VERB 0
#define DO_JOG_AXIS 1
#define DO_JOG_STEPS 2
#define DO_JOG_SIZE 4

#define DO_TURN_VERB 0
#define DO_TURN_AXIS 1
#define DO_TURN_SIZE 2

#define DO_PULSE_VERB 0
#define DO_PULSE_COIL 1
#define DO_PULSE_SIZE 2

#define STREAM_MACHINE_ID 0
#define STREAM_HORIZON_MS 4
#define STREAM_SIZE 6

#define ACK_NEXT 0
#define ACK_CREDIT 1
#define ACK_STATE 3
#define ACK_REASON 4
#define ACK_SIZE 5

#define INFO_LINK 0
#define INFO_BUILD 1
#define INFO_MACHINE_ID 5
#define INFO_TUNES 9
#define INFO_STREAM_BYTES 10
#define INFO_FRAME_BYTES 12
#define INFO_RESET_CAUSE 13
#define INFO_BLOCK 14
#define INFO_STATE 15
#define INFO_REASON 16
#define INFO_SIZE 17

#define STATUS_STATE 0
#define STATUS_REASON 1
#define STATUS_WHERE 2
#define STATUS_TUNE 3
#define STATUS_LATE 4
#define STATUS_INDEX_MISSED 5
#define STATUS_DETENT_MISSED 6
#define STATUS_REHOMED 7
#define STATUS_BAD_FRAMES 8
#define STATUS_OVERRUNS 9
#define STATUS_AXES 10
#define STATUS_SIZE 11

#define NEWS_KIND 0
#define NEWS_REASON 1
#define NEWS_WHERE 2
#define NEWS_TIME_MS 3
#define NEWS_SIZE 7

/* Words printed to people, by code. */
#define REASON_WORDS(WORD) \
  WORD(0, "none")                              \
  WORD(1, "finished")                          \
  WORD(2, "asked")                             \
  WORD(3, "link lost")                         \
  WORD(4, "starved")                           \
  WORD(5, "not homed")                         \
  WORD(6, "home never closed")                 \
  WORD(7, "home never opened")                 \
  WORD(8, "index missed")                      \
  WORD(9, "detent missed")                     \
  WORD(10, "coil on too long")                 \
  WORD(11, "beyond limits")                    \
  WORD(12, "busy")                             \
  WORD(13, "machine block damaged")            \
  WORD(14, "machine block of another version") \
  WORD(15, "no machine block")                 \
  WORD(16, "roll damaged")                     \
  WORD(17, "roll of another version")          \
  WORD(18, "roll of another machine")          \
  WORD(19, "no such tune")                     \
  WORD(20, "bad record")                       \
  WORD(21, "watchdog")                         \
  WORD(22, "brown-out")                        \
  WORD(23, "reset")

#define STATE_WORDS(WORD) \
  WORD(0, "not homed") \
  WORD(1, "homing")    \
  WORD(2, "ready")     \
  WORD(3, "playing")   \
  WORD(4, "stopping")  \
  WORD(5, "refused")

#endif
