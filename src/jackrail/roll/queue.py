"""How many commands the board holds at once: those it has read ahead and that are not yet due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .due import TICKS_PER_US, RollCue, Timing
from .format import READ_AHEAD_MS, Op
from .records import RollRecord

_TICKS_PER_MS = 1000 * TICKS_PER_US


@dataclass(frozen=True)
class Queue:
    """horizon_ms: how far before its record a command may be due; most: commands held at most; at_tick: when first so many."""

    horizon_ms: int
    most: int
    at_tick: int


def queue_of(records: Sequence[RollRecord], commands: Sequence[tuple[RollCue, ...]], timing: Timing) -> Queue:
    """The queue that a roll needs. records: without END; commands: of each.

    A record is counted from when the one before it is within the board's reading, since it is then read to be looked at. A
    PULSE is two commands, on and off; a NOTE holds place for its move even when there is none.
    """
    earliest = [min(command.tick for command in due) for due in commands]
    early = [record.at_us * TICKS_PER_US - tick for record, tick in zip(records, earliest, strict=True)]
    horizon_ms = max(-(-max(early, default=0) // _TICKS_PER_MS), 0)
    reach = (horizon_ms + READ_AHEAD_MS) * _TICKS_PER_MS
    changes: list[tuple[int, int]] = []
    read_at = 0
    for record, due in zip(records, commands, strict=True):
        ends = [end for command in due for end in _ends(command, timing)]
        if record.op is Op.NOTE and due[0].op is not Op.MOVE:
            ends.append(due[0].tick)
        changes.append((max(0, read_at - reach), -len(ends)))  # minus: what comes is counted before what goes
        changes += [(end, 1) for end in ends]
        read_at = record.at_us * TICKS_PER_US
    most, at_tick, held = 0, 0, 0
    for tick, change in sorted(changes):
        held -= change
        if held > most:
            most, at_tick = held, tick
    return Queue(horizon_ms, most, at_tick)


def _ends(command: RollCue, timing: Timing) -> tuple[int, ...]:
    """When a command is done with, and for a pulse also when it is switched off."""
    if command.op is Op.PULSE:
        return command.tick, command.tick + timing.pulse_us(command.argument) * TICKS_PER_US
    return (command.tick,)
