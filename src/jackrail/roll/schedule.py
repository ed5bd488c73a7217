"""All records of a roll at their times, with no more read ahead than the board can hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .due import TICKS_PER_US, RollCue, Timing, commands_of
from .format import QUEUE_COMMANDS, Op
from .fuse import TOLERANCE_US, Wanted, wanted_records
from .queue import Queue, queue_of
from .records import RollRecord
from .rests import with_rests
from .waits import timed_records

_LONGEST_US = 65_000_000
"""A NOTE may start its move so long before it sounds: horizon_ms has 16 bits."""


@dataclass(frozen=True)
class Schedule:
    """records: with END; bridges: commands that change nothing, put into long rests."""

    records: tuple[RollRecord, ...]
    bridges: tuple[RollCue, ...]
    queue: Queue


def schedule_of(cues: Sequence[RollCue], end_tick: int, timing: Timing) -> Schedule:
    """The schedule with the most NOTEs that fits the board's queue.

    A NOTE whose move is long makes the board read far ahead. If that is more than it can hold, NOTEs whose move starts
    earliest are written as a MOVE and a strike. If even none is too many, the guard tells.
    """
    best = _schedule(cues, end_tick, timing, _LONGEST_US)
    if best.queue.most <= QUEUE_COMMANDS:
        return best
    lengths = sorted({one.early_us for one in wanted_records(cues, timing)})
    best = _schedule(cues, end_tick, timing, -1)
    low, high = -1, len(lengths) - 1  # moves up to lengths[low] fit as NOTEs, those up to lengths[high] do not
    while high - low > 1:
        middle = (low + high) // 2
        tried = _schedule(cues, end_tick, timing, lengths[middle])
        if tried.queue.most <= QUEUE_COMMANDS:
            low, best = middle, tried
        else:
            high = middle
    return best


def _schedule(cues: Sequence[RollCue], end_tick: int, timing: Timing, longest_us: float) -> Schedule:
    played = wanted_records(cues, timing, longest_us)
    if played and played[-1].ideal > end_tick:
        raise ValueError("a tune cannot end before its last sound")
    wanted, bridges = with_rests([*played, _end(end_tick)], timing)
    records = timed_records(wanted)
    return Schedule(records, tuple(bridges), queue_of(records[:-1], tuple(commands_of(records, timing)), timing))


def _end(end_tick: int) -> Wanted:
    at_us = end_tick // TICKS_PER_US
    return Wanted(end_tick, Op.END, 0, max(0, at_us - TOLERANCE_US), at_us + TOLERANCE_US)
