"""The format of blocks and rolls: the one table from which packing, unpacking, listing, SPEC-roll.md and the firmware derive.

All numbers are little-endian. Two blocks, each with the same header: the machine block (what the board must know of the
machine) and the roll block (one tune). SPEC-roll.md says every bit for someone who has only that document.
"""

from __future__ import annotations

import struct
from binascii import crc_hqx
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

from jackrail.faults import BadInput, Fault

VERSION = 3
MAGIC = b"JR"
MACHINE_KIND = ord("M")
ROLL_KIND = ord("R")
MACHINE_BLOCK_AT = 0x3A80
"""Where the machine block stands in flash, rolls back to back behind it; the firmware lies before it."""
FLASH_END = 0x7E00
"""End of the room for rolls: a boot loader of 512 bytes stands behind it."""
NO_PIN = 255
NO_AXIS = 255
NO_STRIKER = 255
FIRST_STRIKER_COIL = 128
"""A striker of 128 + n is coil n, one below 128 is the axis of a pick."""
QUEUE_COMMANDS = 24
"""So many commands at most may be read and not yet due on the board: a budget of its memory."""
READ_AHEAD_MS = 20
"""The board reads records until one sounds later than now + horizon + this."""


@dataclass(frozen=True)
class Field:
    """One number of a record: name, struct code (B u8, H u16, I u32, i s32), meaning with its unit."""

    name: str
    code: str
    meaning: str


@dataclass(frozen=True)
class Record:
    """A fixed sequence of fields."""

    name: str
    fields: tuple[Field, ...]

    @cached_property
    def layout(self) -> struct.Struct:
        """The record as a little-endian struct without padding."""
        return struct.Struct("<" + "".join(field.code for field in self.fields))

    def pack(self, **values: int) -> bytes:
        """Bytes of a record. values: one for each field. Raises BadInput when a value does not fit its field."""
        try:
            return self.layout.pack(*(values[field.name] for field in self.fields))
        except struct.error as error:
            shown = ", ".join(f"{field.name}={values[field.name]}" for field in self.fields)
            raise BadInput(Fault("range", f"does not fit the {self.name} record: {error}", value=shown)) from None

    def unpack(self, data: bytes, offset: int) -> tuple[dict[str, int], int]:
        """Values by name and the offset behind the record. Raises BadInput when the data end too early."""
        if offset + self.layout.size > len(data):
            raise BadInput(Fault("block", f"ends inside a {self.name} record", f"byte {offset}", hint="the file was cut short"))
        values = self.layout.unpack_from(data, offset)
        return {field.name: value for field, value in zip(self.fields, values, strict=True)}, offset + self.layout.size


class Role(IntEnum):
    """What a switch is for."""

    HOME = 0
    DETENT = 1
    INDEX = 2
    PLAY_BUTTON = 3


class Policy(IntEnum):
    """What the board does when a detent or an index was missed."""

    GO_ON = 0
    HOME_AGAIN = 1
    STOP = 2


class Op(IntEnum):
    """What a record of a roll does: the upper three bits of its first byte."""

    END = 0
    NOTE = 1
    MOVE = 2
    TURN = 3
    PULSE = 4
    HOLD = 5
    RELEASE = 6
    REPEAT = 7


EXTENDED_ARGUMENT = 31
"""An argument of 31 in a record's first byte says that the argument is the byte that follows it."""
EXPLICIT_WAIT = 255
"""A wait byte of 255 says that the wait is the three bytes that follow it."""
LONGEST_WAIT_US = 2**24 - 1
MOST_REPEATED = 255

HEADER = Record(
    "header",
    (
        Field("magic", "H", 'the letters "JR"'),
        Field("kind", "B", 'the letter "M" for a machine block, "R" for a roll block'),
        Field("version", "B", f"version of this format, {VERSION}"),
        Field("length", "H", "bytes of payload that follow the header"),
        Field("crc", "H", "CRC-16/IBM-3740 of the six bytes before it and the payload"),
    ),
)
MACHINE_HEAD = Record(
    "machine head",
    (
        Field("machine_id", "I", "CRC-32 of the payload behind this field: a roll carries the same number"),
        Field("tick_hz", "I", "timer ticks a second, the unit of step intervals: 2000000"),
        Field("axes", "B", "number of axis records"),
        Field("coils", "B", "number of coil records"),
        Field("switches", "B", "number of switch records"),
        Field("stops", "B", "number of stop records"),
        Field("policy", "B", "after a missed detent or index: 0 go on, 1 home again at the next rest, 2 stop"),
        Field("shift_latch_pin", "B", f"latch line of the shift registers, {NO_PIN} for none"),
        Field("shift_outputs", "B", "outputs of the shift registers, 0 to 32, eight for each register"),
        Field("touches", "B", "number of touch records"),
    ),
)
AXIS = Record(
    "axis",
    (
        Field("step_pin", "B", "pin of the step line"),
        Field("direction_pin", "B", "pin of the direction line"),
        Field("enable_pin", "B", f"pin of the enable line, {NO_PIN} for none"),
        Field("is_pick", "B", "1: turns once for each TURN, without home or limits; 0: a carriage"),
        Field("reversed", "B", "1: a high direction line moves towards lower steps; 0: towards higher"),
        Field("lowest", "i", "soft limit in steps from home"),
        Field("highest", "i", "soft limit in steps from home"),
        Field("turn_steps", "H", "steps of one turn"),
        Field("cruise_ticks", "H", "step interval at full speed, timer ticks"),
        Field("home_ticks", "H", "step interval of the slow approach to its switch, timer ticks"),
        Field("lead_us", "I", "microseconds; pick: from the start of a turn to the sound; carriage: from its arrival until it may sound"),
        Field("striker", "B", "what a NOTE on this carriage strikes: 0-127 axis of a pick, 128 + n coil n, 255 nothing"),
        Field("entries", "B", "number of ramp entries that follow this axis record"),
    ),
)
RAMP_ENTRY = Record(
    "ramp entry",
    (
        Field("interval", "H", "step interval in timer ticks"),
        Field("count", "B", "steps made with this interval"),
    ),
)
COIL = Record(
    "coil",
    (
        Field("pin", "B", "pin that switches it on when high"),
        Field("pulse_us", "I", "microseconds a PULSE or NOTE switches it on, 0 for a coil that is held"),
        Field("lead_us", "I", "microseconds from switching on to the blow or to the finger being down"),
        Field("max_on_ms", "H", "longest time on, milliseconds (65535 for that or longer)"),
        Field("release_ms", "H", "time it needs to be at rest again, milliseconds, rounded up"),
        Field("max_duty", "B", "share of time it may be on, percent, 1 to 99"),
    ),
)
SWITCH = Record(
    "switch",
    (
        Field("pin", "B", "pin it is read on"),
        Field("closed_high", "B", "1: the pin is high when the switch is pressed; 0: low"),
        Field("role", "B", "0 home, 1 detent, 2 index, 3 play button"),
        Field("axis", "B", f"axis it belongs to, {NO_AXIS} for the play button"),
    ),
)
STOP = Record(
    "stop",
    (
        Field("axis", "B", "carriage it belongs to"),
        Field("steps", "i", "position in steps from home"),
    ),
)
TOUCH = Record(
    "touch",
    (
        Field("coil", "B", "coil that strikes so, as softly as its shorter pulse makes it"),
        Field("pulse_us", "I", "microseconds a PULSE of this touch switches the coil on"),
        Field("lead_us", "I", "microseconds from switching on to the blow"),
    ),
)
ROLL_HEAD = Record(
    "roll head",
    (
        Field("machine_id", "I", "of the machine block this roll is packed for"),
        Field("cues", "I", "number of records as played, repeats played out, END not counted"),
        Field("length_us", "I", "microseconds from the start to END"),
        Field("horizon_ms", "H", "no command is due longer than this before the time of its record, milliseconds, rounded up"),
        Field("waits", "B", "entries of the wait table, 0 to 255"),
        Field("title_bytes", "B", "bytes of the title that follows, UTF-8"),
    ),
)
RECORDS = (HEADER, MACHINE_HEAD, AXIS, RAMP_ENTRY, COIL, SWITCH, STOP, TOUCH, ROLL_HEAD)

OP_MEANINGS = {
    Op.END: ("0", "the tune ends; carriages stay, all coils are off"),
    Op.NOTE: ("stop", "bring that stop's carriage to it in time, and strike its striker to sound now"),
    Op.MOVE: ("stop", "move that stop's carriage to it, starting now"),
    Op.TURN: ("axis", "turn the pick one turn, to sound now"),
    Op.PULSE: ("coil", "switch the coil on for its pulse_us, to sound now; a number n beyond the coils is touch n - coils"),
    Op.HOLD: ("coil", "switch the coil on until RELEASE, to be down now"),
    Op.RELEASE: ("coil", "switch the coil off now"),
    Op.REPEAT: ("0", "play records that stand before this one as if they stood here"),
}


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF): 0x29B1 for the text 123456789."""
    return crc_hqx(data, 0xFFFF)


def wrap(kind: int, payload: bytes) -> bytes:
    """A block: header and payload. Raises BadInput for a payload over 65,535 bytes."""
    values = {"magic": int.from_bytes(MAGIC, "little"), "kind": kind, "version": VERSION, "length": len(payload)}
    start = HEADER.pack(**values, crc=0)[:-2]
    return start + crc16(start + payload).to_bytes(2, "little") + payload


def unwrap(data: bytes, kind: int) -> bytes:
    """The payload of a block of a kind. Raises BadInput for a block that is damaged, cut short or of another version."""
    values, offset = HEADER.unpack(data, 0)
    if data[:2] != MAGIC:
        raise BadInput(Fault("block", "is no block of ours", "bytes 0-1", data[:2].hex(" "), MAGIC.hex(" ")))
    if values["version"] != VERSION:
        raise BadInput(Fault("block", "is of another version", "byte 3", str(values["version"]), str(VERSION), "pack it again"))
    if values["kind"] != kind:
        raise BadInput(Fault("block", "is a block of another kind", "byte 2", repr(chr(values["kind"])), repr(chr(kind))))
    payload = data[offset : offset + values["length"]]
    if len(payload) < values["length"]:
        raise BadInput(Fault("block", "is cut short", f"byte {len(data)}", f"{len(payload)} bytes", f"{values['length']} bytes"))
    found = crc16(data[:6] + payload)
    if found != values["crc"]:
        raise BadInput(
            Fault("block", "is damaged: its CRC does not agree", "bytes 6-7", f"{found:04X}", f"{values['crc']:04X}", "pack it again")
        )
    return payload
