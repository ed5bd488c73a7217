"""What host and board tell each other, as values: payloads packed and read by the link's table."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.faults import BadInput
from jackrail.roll.format import Record

from .frames import Packet
from .link_format import ACK, INFO, NEWS, STATUS, VERBS, Frame, News, Verb


@dataclass(frozen=True)
class Ack:
    """What the board took. next: sequence number it expects; credit: free bytes of its stream buffer."""

    next: int
    credit: int
    state: int
    reason: int


@dataclass(frozen=True)
class Info:
    """Who the board is. machine_id: 0 for no machine block; block: reason for which a block in flash was refused, 0 for none."""

    link: int
    build: int
    machine_id: int
    tunes: int
    stream_bytes: int
    frame_bytes: int
    reset_cause: int
    block: int
    state: int
    reason: int


@dataclass(frozen=True)
class Status:
    """How the board does. Counters stay at 255; tune: 0 for none; positions: steps from home, one for each axis."""

    state: int
    reason: int
    where: int
    tune: int
    late: int
    index_missed: int
    detent_missed: int
    rehomed: int
    bad_frames: int
    overruns: int
    positions: tuple[int, ...]


@dataclass(frozen=True)
class Happening:
    """Something that happened on the board, told once. where: axis or coil; time_ms: since play began."""

    kind: News
    reason: int
    where: int
    time_ms: int


@dataclass(frozen=True)
class Line:
    """A line of text from the board."""

    text: str


@dataclass(frozen=True)
class Taken:
    """The board took a DO (with its verb) or a STREAM (verb None); state and reason are those right after or later."""

    verb: Verb | None
    state: int
    reason: int


@dataclass(frozen=True)
class Lost:
    """The board cannot be reached, or forgot the session. Only hello() helps."""

    why: str


Message = Ack | Info | Status | Happening
Event = Info | Status | Happening | Line | Taken | Lost
"""What a session tells its caller."""


def verb_payload(verb: Verb, *arguments: int) -> bytes:
    """The payload of a DO frame. Raises BadInput for an argument that does not fit, ValueError for too many or too few."""
    record = VERBS[verb][0]
    names = [field.name for field in record.fields]
    return record.pack(**dict(zip(names, (verb, *arguments), strict=True)))


def read_message(packet: Packet) -> Message | None:
    """What the board says in a packet, None for one this version does not know. Bytes behind the known ones are left alone."""
    try:
        match packet.kind:
            case Frame.ACK:
                return Ack(**_values(ACK, packet))
            case Frame.INFO:
                return Info(**_values(INFO, packet))
            case Frame.STATUS:
                return _status(packet)
            case Frame.NEWS:
                values = _values(NEWS, packet)
                return Happening(News(values.pop("kind")), **values)
    except (BadInput, ValueError):  # too short, or news of a kind that is newer than this program
        pass
    return None


def _values(record: Record, packet: Packet) -> dict[str, int]:
    return record.unpack(packet.payload, 0)[0]


def _status(packet: Packet) -> Status:
    values, start = STATUS.unpack(packet.payload, 0)
    axes = values.pop("axes")
    ends = packet.payload[start : start + 4 * axes]
    if len(ends) < 4 * axes:
        raise ValueError("fewer positions than axes")
    positions = tuple(int.from_bytes(ends[at : at + 4], "little", signed=True) for at in range(0, len(ends), 4))
    return Status(**values, positions=positions)
