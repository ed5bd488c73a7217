"""The roll: a tune's cues in board ticks, packed, unpacked and compared every time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.cues.model import Cue
from jackrail.faults import BadInput, Fault

from .format import EXTENDED_ARGUMENT, ROLL_HEAD, ROLL_KIND, ROLL_TICK_US, Op, unwrap, wrap
from .machine_block import Numbering

_LONGEST_TITLE_B = 40
_OPS = {"move": Op.MOVE, "turn": Op.TURN, "pulse": Op.PULSE, "hold": Op.HOLD, "release": Op.RELEASE}


@dataclass(frozen=True, order=True)
class RollCue:
    """A cue as the board sees it: roll tick from the start, what to do, number of the stop, axis or coil."""

    tick: int
    op: Op
    argument: int


@dataclass(frozen=True)
class Roll:
    """An unpacked roll block. end_tick: when it ends."""

    machine_id: int
    title: str
    end_tick: int
    cues: tuple[RollCue, ...]


def ticks_of(time_s: float) -> int:
    """Roll ticks of a moment in seconds: the one border between seconds and board ticks, rounded once to the nearest."""
    return round(time_s * 1e6 / ROLL_TICK_US)


def seconds_of(ticks: int) -> float:
    """Seconds of a moment in roll ticks."""
    return ticks * ROLL_TICK_US / 1e6


def to_board(cues: tuple[Cue, ...], numbering: Numbering) -> tuple[RollCue, ...]:
    """Cues in roll ticks with the numbers of their devices, in time order."""
    return tuple(sorted(RollCue(ticks_of(cue.time_s), _OPS[cue.action], _argument(cue, numbering)) for cue in cues))


def _argument(cue: Cue, numbering: Numbering) -> int:
    if cue.action == "move":
        return numbering.stops.index((cue.device, int(cue.value)))
    return (numbering.axes if cue.action == "turn" else numbering.coils).index(cue.device)


def pack_roll(cues: tuple[RollCue, ...], title: str, end_tick: int, machine_id: int) -> bytes:
    """The roll block. It is unpacked and compared before it is returned: a wrong roll never leaves here.

    Raises BadInput when the tune is too long for one block.
    """
    text = _cut(title)
    head = ROLL_HEAD.pack(machine_id=machine_id, cues=len(cues), ticks=end_tick, title_bytes=len(text))
    body, now = bytearray(), 0
    for cue in (*cues, RollCue(end_tick, Op.END, 0)):
        body += _record(cue, cue.tick - now)
        now = cue.tick
    payload = head + text + bytes(body)
    if len(payload) > 65535:
        raise BadInput(
            Fault(
                "range", "the tune is too long for one roll", value=f"{len(payload)} bytes", limit="65535 bytes", hint="play fewer repeats"
            )
        )
    block = wrap(ROLL_KIND, payload)
    expected = Roll(machine_id, text.decode(), end_tick, cues)
    if unpack_roll(block) != expected:
        raise AssertionError("the packed roll does not read back as what was packed")
    return block


def _cut(title: str) -> bytes:
    """The title as UTF-8, cut at a whole character."""
    return title.encode()[:_LONGEST_TITLE_B].decode(errors="ignore").encode()


def _record(cue: RollCue, wait: int) -> bytes:
    if wait < 0:
        raise ValueError("cues must be in time order")
    short = cue.argument < EXTENDED_ARGUMENT
    first = bytes([cue.op << 5 | cue.argument]) if short else bytes([cue.op << 5 | EXTENDED_ARGUMENT, cue.argument])
    return first + _variable(wait)


def _variable(value: int) -> bytes:
    """A number in groups of seven bits, lowest first, the top bit set on all but the last."""
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def unpack_roll(block: bytes) -> Roll:
    """The roll in a block. Raises BadInput for one that is damaged or holds what the format does not allow."""
    payload = unwrap(block, ROLL_KIND)
    head, offset = ROLL_HEAD.unpack(payload, 0)
    text = payload[offset : offset + head["title_bytes"]]
    try:
        title = text.decode()
    except UnicodeDecodeError:
        raise BadInput(Fault("block", "has a title that is not UTF-8", f"byte {offset}")) from None
    cues = tuple(_cues(payload, offset + len(text)))
    if not cues or cues[-1].op is not Op.END:
        raise BadInput(Fault("block", "does not end with END", f"byte {len(payload)}"))
    if len(cues) - 1 != head["cues"] or cues[-1].tick != head["ticks"]:
        raise BadInput(
            Fault("block", "has a head that does not agree with its cues", "roll head", f"{len(cues) - 1} cues", f"{head['cues']} cues")
        )
    return Roll(head["machine_id"], title, head["ticks"], cues[:-1])


def _cues(payload: bytes, offset: int) -> Iterator[RollCue]:
    """All cues up to the end of the payload, END included."""
    now = 0
    while offset < len(payload):
        start = offset
        try:
            op, argument = Op(payload[offset] >> 5), payload[offset] & EXTENDED_ARGUMENT
            offset += 1
            if argument == EXTENDED_ARGUMENT:
                argument, offset = payload[offset], offset + 1
            wait, shift = 0, 0
            while payload[offset] & 0x80:
                wait |= (payload[offset] & 0x7F) << shift
                shift, offset = shift + 7, offset + 1
            wait |= payload[offset] << shift
            offset += 1
        except IndexError:
            raise BadInput(Fault("block", "ends inside a cue", f"byte {start}")) from None
        except ValueError:
            raise BadInput(Fault("block", "holds an unknown cue", f"byte {start}", f"{payload[start] >> 5}", "0 to 5")) from None
        now += wait
        yield RollCue(now, op, argument)
        if op is Op.END and offset < len(payload):
            raise BadInput(Fault("block", "has bytes behind END", f"byte {offset}"))
