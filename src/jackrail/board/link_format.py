"""The serial link's one table: kinds of frames, verbs, news, layouts of payloads, limits.

Host, docs/SPEC-link.md and firmware/link_format.h derive from it. All numbers are little-endian, as in the blocks.
"""

from __future__ import annotations

from enum import IntEnum

from jackrail.roll.format import Field, Record

LINK_VERSION = 1
BAUD = 250_000
BAUD_UBRR = 7
"""Divider at 16 MHz and double speed (U2X): exact."""
FALLBACK_BAUD = 115_200
FALLBACK_UBRR = 16
"""For adapters that cannot do 250000: 2.1 % fast, more than the 1.5 % recommended, less than the 3.9 % that fail."""
ERRORS_BEFORE_OTHER_BAUD = 3
LONGEST_PAYLOAD = 64
LONGEST_FRAME = 2 + LONGEST_PAYLOAD + 2
"""Type, sequence number, payload, CRC."""
LONGEST_CODED = LONGEST_FRAME + 1
"""COBS adds one byte to anything of up to 254."""
LINK_LOST_MS = 1000
WINDOW = 2
RESEND_MS = 30
KEEP_ALIVE_MS = 300
MOST_AXES = 4


class Frame(IntEnum):
    """First byte of a frame. From the host below 0x80, from the board above."""

    HELLO = 0x01
    ASK = 0x02
    DO = 0x03
    STREAM = 0x04
    CUES = 0x05
    ACK = 0x81
    INFO = 0x82
    STATUS = 0x83
    NEWS = 0x84


FRAME_MEANINGS = {
    Frame.HELLO: "begin anew: the next frame expected is the one after this; answered with INFO",
    Frame.ASK: "how do you do? answered with STATUS when taken",
    Frame.DO: "one verb and its arguments",
    Frame.STREAM: "play what follows in CUES",
    Frame.CUES: "whole records of the tune, up to and including END, every wait explicit, no REPEAT; empty: only asks for the credit",
    Frame.ACK: "answer to every other frame with a good CRC, also to one that was not taken; unasked when room comes free",
    Frame.INFO: "answer to HELLO",
    Frame.STATUS: "answer to an ASK that was taken, in place of its ACK",
    Frame.NEWS: "something happened; sent once and not repeated",
}


class Verb(IntEnum):
    """First byte of a DO frame."""

    HOME = 1
    STOP = 2
    PLAY = 3
    JOG = 4
    TURN = 5
    PULSE = 6


class News(IntEnum):
    """First byte of a NEWS frame."""

    PLAYING = 1
    STOPPED = 2
    INDEX_MISSED = 3
    DETENT_MISSED = 4
    HOMED = 5


NEWS_MEANINGS = {
    News.PLAYING: "the first cue's time has come; time_ms is 0",
    News.STOPPED: "play has ended; reason: why; where: axis or coil it concerns",
    News.INDEX_MISSED: "where: axis of the pick",
    News.DETENT_MISSED: "where: axis of the carriage",
    News.HOMED: "home was found",
}

_STATE = Field("state", "B", "state, table below")
_REASON = Field("reason", "B", "why it last stopped or refused, table below; none after a verb or a stream that it obeys")

_VERB = Field("verb", "B", "which verb")
VERBS = {
    Verb.HOME: (Record("DO home", (_VERB,)), "find home with every carriage, and every pick that has an index switch"),
    Verb.STOP: (Record("DO stop", (_VERB,)), "end play: carriages and picks end by their ramps, coils are off at once"),
    Verb.PLAY: (Record("DO play", (_VERB, Field("tune", "B", "number of the tune in flash, from 1"))), "play a tune from flash"),
    Verb.JOG: (
        Record("DO jog", (_VERB, Field("axis", "B", "carriage"), Field("steps", "h", "how far, towards higher positions when positive"))),
        "move a carriage, inside its limits",
    ),
    Verb.TURN: (Record("DO turn", (_VERB, Field("axis", "B", "pick"))), "turn a pick one turn"),
    Verb.PULSE: (Record("DO pulse", (_VERB, Field("coil", "B", "coil"))), "switch a coil on for its pulse, or 60 ms when it has none"),
}

STREAM = Record(
    "STREAM",
    (
        Field("machine_id", "I", "number of the machine the cues are for: refused when it is not the board's"),
        Field("horizon_ms", "H", "no command is due longer than this before the sounding time of its record"),
    ),
)
ACK = Record(
    "ACK",
    (
        Field("next", "B", "sequence number the board expects next: all before it were taken"),
        Field("credit", "H", "free bytes of the stream buffer"),
        _STATE,
        _REASON,
    ),
)
INFO = Record(
    "INFO",
    (
        Field("link", "B", f"version of the link, {LINK_VERSION}"),
        Field("build", "I", "build number of the firmware"),
        Field("machine_id", "I", "number of the machine block, 0 when there is none"),
        Field("tunes", "B", "tunes in flash"),
        Field("stream_bytes", "H", "size of the stream buffer"),
        Field("frame_bytes", "B", f"longest payload the board takes, {LONGEST_PAYLOAD}"),
        Field("reset_cause", "B", "bits: 1 power came on, 2 reset from outside, 4 brown-out, 8 watchdog"),
        Field("block", "B", "reason for which a block in flash was refused, 0 for none"),
        _STATE,
        _REASON,
    ),
)
STATUS = Record(
    "STATUS",
    (
        _STATE,
        _REASON,
        Field("where", "B", "axis or coil that the reason concerns"),
        Field("tune", "B", "tune in flash that plays or played last, 0 for none or a streamed one"),
        Field("late", "B", "cues done late since play began; this and the next five counters stay at 255"),
        Field("index_missed", "B", "turns of a pick that its index switch did not confirm"),
        Field("detent_missed", "B", "arrivals that a detent switch did not confirm"),
        Field("rehomed", "B", "times it homed again in the middle of a tune"),
        Field("bad_frames", "B", "frames with a wrong CRC"),
        Field("overruns", "B", "bytes lost because they came faster than they were taken"),
        Field("axes", "B", "number of positions (s32, steps from home) that follow"),
    ),
)
NEWS = Record(
    "NEWS",
    (
        Field("kind", "B", "what happened, table below"),
        Field("reason", "B", "why, table below"),
        Field("where", "B", "which axis or coil"),
        Field("time_ms", "I", "since play began"),
    ),
)
PAYLOADS = (STREAM, ACK, INFO, STATUS, NEWS)

COMMANDS = {
    "help": ("", "lists the commands", False),
    "status": ("", "tells state, reason, positions, counters", False),
    "tunes": ("", "lists the tunes in flash, with their numbers and titles", False),
    "home": ("", "finds home with every carriage, and every pick that has an index switch", True),
    "play": ("N", "plays tune N, the first without N", True),
    "stop": ("", "ends play: carriages and picks end by their ramps, coils are off at once", False),
    "jog": ("AXIS STEPS", "moves a carriage by STEPS, towards lower positions when negative, inside its limits", True),
    "turn": ("AXIS", "turns a pick one turn", True),
    "pulse": ("COIL", "switches a coil on for its pulse, or 60 ms when it has none", True),
}
"""Commands a person types: word, arguments, what it does, whether something moves."""
