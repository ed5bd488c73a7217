"""The roll: a tune's commands packed in bytes, unpacked and compared every time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

from jackrail.cues.model import Cue
from jackrail.faults import BadInput, Fault
from jackrail.motion.ramp import TICK_HZ

from .due import TICKS_PER_US, RollCue, Timing, commands_of, timing_of
from .format import ROLL_HEAD, ROLL_KIND, Op, unwrap, wrap
from .fuse import TOLERANCE_US
from .machine_block import Numbering, machine_id
from .queue import Queue, queue_of
from .records import WAIT_BYTES, RollRecord, pack_record, read_records, waits_of
from .repeats import with_repeats
from .schedule import schedule_of
from .waits import wait_table

_LONGEST_TITLE_B = 40
_OPS = {"move": Op.MOVE, "turn": Op.TURN, "pulse": Op.PULSE, "hold": Op.HOLD, "release": Op.RELEASE}


@dataclass(frozen=True)
class Roll:
    """An unpacked roll block.

    length_us: when it ends. records: as played, by when they sound. cues: their commands, by when they are due, those due at
    one tick in the order of their records. queue: what it asks of the board's memory.
    """

    machine_id: int
    title: str
    length_us: int
    records: tuple[RollRecord, ...]
    cues: tuple[RollCue, ...]
    queue: Queue

    @property
    def end_tick(self) -> int:
        """When it ends, in timer ticks."""
        return self.length_us * TICKS_PER_US


def ticks_of(time_s: float) -> int:
    """Timer ticks of a moment in seconds: the one border between seconds and board ticks, rounded once to the nearest."""
    return round(time_s * TICK_HZ)


def seconds_of(ticks: int) -> float:
    """Seconds of a moment in timer ticks."""
    return ticks / TICK_HZ


def to_board(cues: Sequence[Cue], numbering: Numbering) -> tuple[RollCue, ...]:
    """Cues in timer ticks with the numbers of their devices, in time order; moves to where a carriage stands left out."""
    made, at = [], dict.fromkeys(numbering.axes, 0.0)
    for cue in cues:
        if cue.action == "move":
            if cue.value == at[cue.device]:
                continue
            at[cue.device] = cue.value
        made.append(RollCue(ticks_of(cue.time_s), _OPS[cue.action], _argument(cue, numbering)))
    return tuple(sorted(made))


def _argument(cue: Cue, numbering: Numbering) -> int:
    if cue.action == "move":
        return numbering.stops.index((cue.device, int(cue.value)))
    if cue.action == "pulse":
        return numbering.pulse(cue.device, cue.value)
    return (numbering.axes if cue.action == "turn" else numbering.coils).index(cue.device)


def pack_roll(cues: Sequence[RollCue], title: str, end_tick: int, machine_block: bytes) -> bytes:
    """The roll block for a machine. It is unpacked and compared before it is returned: a wrong roll never leaves here.

    Raises BadInput when the tune is too long for one block.
    """
    timing, text = timing_of(machine_block), _cut(title)
    schedule = schedule_of(cues, end_tick, timing)
    records = schedule.records
    waits = waits_of(records)
    table = wait_table(waits)
    places = {wait: place for place, wait in enumerate(table)}
    literals = [pack_record(record, wait, places) for record, wait in zip(records, waits, strict=True)]
    head = ROLL_HEAD.pack(
        machine_id=machine_id(machine_block),
        cues=len(records) - 1,
        length_us=records[-1].at_us,
        horizon_ms=schedule.queue.horizon_ms,
        waits=len(table),
        title_bytes=len(text),
    )
    table_bytes = b"".join(wait.to_bytes(WAIT_BYTES, "little") for wait in table)
    payload = head + text + table_bytes + with_repeats(literals[:-1]) + literals[-1]
    if len(payload) > 65535:
        hint = "play fewer repeats"
        raise BadInput(Fault("range", "the tune is too long for one roll", title, f"{len(payload)} bytes", "65535 bytes", hint))
    block = wrap(ROLL_KIND, payload)
    _compare(unpack_roll(block, machine_block), [*cues, *schedule.bridges], end_tick, timing)
    return block


def _cut(title: str) -> bytes:
    """The title as UTF-8, cut at a whole character."""
    return title.encode()[:_LONGEST_TITLE_B].decode(errors="ignore").encode()


def _compare(roll: Roll, cues: Sequence[RollCue], end_tick: int, timing: Timing) -> None:
    """Raise AssertionError unless every device does in the roll what the cues say, each within the tolerance."""
    found, meant = _by_device(roll.cues, timing), _by_device(cues, timing)
    apart = abs(roll.end_tick - end_tick)
    for device in found.keys() | meant.keys():
        ours, theirs = found[device], meant[device]
        if [(cue.op, cue.argument) for cue in ours] != [(cue.op, cue.argument) for cue in theirs]:
            raise AssertionError("the packed roll does not do what was packed")
        apart = max([apart, *(abs(one.tick - other.tick) for one, other in zip(ours, theirs, strict=True))])
    if apart > TOLERANCE_US * TICKS_PER_US:
        raise AssertionError(f"the packed roll is {apart / TICKS_PER_US} us off")


def _by_device(cues: Sequence[RollCue], timing: Timing) -> dict[tuple[str, int], list[RollCue]]:
    """The commands of each axis and each coil, in time order."""
    devices: dict[tuple[str, int], list[RollCue]] = defaultdict(list)
    for cue in sorted(cues, key=attrgetter("tick")):
        if cue.op in (Op.MOVE, Op.TURN):
            devices["axis", timing.stops[cue.argument][0] if cue.op is Op.MOVE else cue.argument].append(cue)
        else:
            devices["coil", timing.coil_of(cue.argument)].append(cue)
    return devices


def unpack_roll(block: bytes, machine_block: bytes) -> Roll:
    """The roll in a block. Raises BadInput for one that is damaged, not this machine's, or holds what the format forbids."""
    payload = unwrap(block, ROLL_KIND)
    head, offset = ROLL_HEAD.unpack(payload, 0)
    if head["machine_id"] != machine_id(machine_block):
        found, wanted = (f"{number:08X}" for number in (head["machine_id"], machine_id(machine_block)))
        raise BadInput(Fault("block", "is a roll of another machine", "roll head", found, wanted, "pack it again"))
    text, offset = payload[offset : offset + head["title_bytes"]], offset + head["title_bytes"]
    table, offset = payload[offset : offset + head["waits"] * WAIT_BYTES], offset + head["waits"] * WAIT_BYTES
    try:
        title = text.decode()
    except UnicodeDecodeError:
        raise BadInput(Fault("block", "has a title that is not UTF-8", "roll head")) from None
    if offset > len(payload):
        raise BadInput(Fault("block", "ends inside its title or its wait table", f"byte {len(payload)}"))
    waits = [int.from_bytes(table[at : at + WAIT_BYTES], "little") for at in range(0, len(table), WAIT_BYTES)]
    *records, end = read_records(payload[offset:], waits)
    timing = timing_of(machine_block)
    commands = tuple(commands_of(records, timing))
    queue = queue_of(records, commands, timing)
    told = {"cues": len(records), "length_us": end.at_us, "horizon_ms": queue.horizon_ms}
    if any(head[key] != value for key, value in told.items()):
        found, wanted = (", ".join(f"{key} {values[key]}" for key in told) for values in (told, head))
        raise BadInput(Fault("block", "has a head that does not agree with its records", "roll head", found, wanted))
    cues = tuple(sorted((command for due in commands for command in due), key=attrgetter("tick")))
    return Roll(head["machine_id"], title, end.at_us, tuple(records), cues, queue)


def stream_records(roll: Roll) -> Iterator[bytes]:
    """Every record as played, END last, whole and with its wait written out: for a player that has no wait table."""
    records = (*roll.records, RollRecord(roll.length_us, Op.END, 0))
    return (pack_record(record, wait, {}) for record, wait in zip(records, waits_of(records), strict=True))
