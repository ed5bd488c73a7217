"""What the board says of itself: its states, and why it stopped or refused; the words are those the firmware prints.

One table each. `make spec` writes docs/SPEC-link.md and firmware/link_format.h from them, so board, host and document
cannot differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class State(IntEnum):
    """What the board is doing."""

    NOT_HOMED = 0
    HOMING = 1
    READY = 2
    PLAYING = 3
    STOPPING = 4
    REFUSED = 5


STATE_MEANINGS = {
    State.NOT_HOMED: "does not know where its carriages are: it moves none of them before HOME",
    State.HOMING: "drives each carriage to its home switch",
    State.READY: "knows where all carriages are and waits",
    State.PLAYING: "plays a tune",
    State.STOPPING: "ends the moves that run and lets all coils go",
    State.REFUSED: "has no machine block it can use: it moves nothing and switches nothing",
}


@dataclass(frozen=True)
class Reason:
    """Why the board stopped or refused. word: as it prints it. meaning, advice: plain sentences without a full stop."""

    code: int
    word: str
    meaning: str
    advice: str


_WIRING = "check the switch, its plug and its `closed` level in the machine file"
NO_ADVICE = "nothing to do"
_FLASH = "make the image anew and flash it"
REASONS = (
    Reason(0, "none", "nothing is wrong", NO_ADVICE),
    Reason(1, "finished", "the tune was played to its end", NO_ADVICE),
    Reason(2, "asked", "it was told to stop", NO_ADVICE),
    Reason(3, "link lost", "no good frame came for 1000 ms while the tune was being sent", "check the cable and that the host still runs"),
    Reason(4, "starved", "cues came too late to be played in time", "use 250000 baud, or play from flash"),
    Reason(5, "not homed", "it was told to move a carriage before it knows where that is", "send home first"),
    Reason(6, "home never closed", "a carriage went its whole way and its home switch did not close", _WIRING),
    Reason(7, "home never opened", "a carriage left home and its home switch stayed closed", _WIRING),
    Reason(8, "index missed", "a pick turned and its index switch did not close", "free the pick, then " + _WIRING),
    Reason(9, "detent missed", "a carriage arrived and its detent switch was open", "free the carriage, send home, lower the acceleration"),
    Reason(10, "coil on too long", "a coil would have been on longer, or more often, than it bears", "pack the tune anew for this machine"),
    Reason(
        11,
        "beyond limits",
        "a move would end outside the limits, or there is no such axis or coil",
        "stay inside the limits of the machine file",
    ),
    Reason(
        12, "busy", "it was told to move a motor before the last move was done, or to do something while it plays", "wait, or send stop"
    ),
    Reason(13, "machine block damaged", "the machine block's CRC does not agree", _FLASH),
    Reason(14, "machine block of another version", "the firmware does not know this version of the machine block", _FLASH),
    Reason(15, "no machine block", "there is no machine block in flash", _FLASH),
    Reason(16, "roll damaged", "the roll's CRC does not agree", _FLASH),
    Reason(17, "roll of another version", "the firmware does not know this version of the roll", _FLASH),
    Reason(
        18,
        "roll of another machine",
        "the roll was packed for a machine other than the one in flash",
        "pack it for this machine, then flash",
    ),
    Reason(19, "no such tune", "there is no tune of that number in flash", "ask which tunes there are"),
    Reason(20, "bad record", "a cue, a frame or a command is not as the format says", "pack the tune anew with this version"),
    Reason(21, "watchdog", "the firmware hung, and was started again with everything off", "send home; tell us how it came about"),
    Reason(22, "brown-out", "the supply fell too low, and the board was started again", "check the supply and its wires under load"),
    Reason(23, "reset", "the board was reset from outside", "send home"),
)
REASON_BY_CODE = {reason.code: reason for reason in REASONS}

RESET_CAUSES = {1: "power came on", 2: "reset from outside", 4: "brown-out", 8: "watchdog"}
"""Bits of the chip's MCUSR register after a reset (ATmega328P datasheet DS40002061, section on reset)."""


def explain(code: int) -> str:
    """A reason as a sentence for people, also for a code of a newer board."""
    reason = REASON_BY_CODE.get(code)
    return f"{reason.word}: {reason.meaning}; {reason.advice}" if reason else f"reason {code}, which this version does not know"
