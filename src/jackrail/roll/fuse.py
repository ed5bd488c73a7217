"""From commands to the records that bring them about: a move and the strike it is for become one NOTE where that holds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from .due import TICKS_PER_US, RollCue, Timing
from .format import EXTENDED_ARGUMENT, NO_STRIKER, Op

TOLERANCE_US = 50
"""A command of a packed roll is due within this of its cue; people notice 6 ms (Friberg & Sundberg 1995)."""
_FUSED_WITHIN_US = TOLERANCE_US // 2
_TOGETHER_TICKS = 4
"""Sounds this near each other are meant to be together: they are ordered by what they are, so that repeats are alike."""


@dataclass(frozen=True)
class Wanted:
    """A record to be packed. ideal: its time in timer ticks; it must lie from low_us to high_us, in microseconds.

    early_us: by how much its first command comes before it.
    """

    ideal: int
    op: Op
    argument: int
    low_us: int
    high_us: int
    early_us: int = 0


def wanted_records(cues: Iterable[RollCue], timing: Timing, longest_us: float = math.inf) -> list[Wanted]:
    """The records of a roll in order. longest_us: a NOTE may start its move no earlier than this before it sounds."""
    striking = {timing.strike(axis)[:2]: axis for axis, striker in enumerate(timing.strikers) if striker != NO_STRIKER}
    by_axis: dict[int, list[Wanted]] = {}
    wanted: list[Wanted] = []
    for cue in cues:
        one = _single(cue, timing)
        axis = timing.stops[cue.argument][0] if cue.op is Op.MOVE else striking.get((cue.op, cue.argument))
        (wanted if axis is None else by_axis.setdefault(axis, [])).append(one)
    for axis, ones in by_axis.items():
        wanted += _fused(sorted(ones, key=_order), axis, timing, longest_us)
    return _together(sorted(wanted, key=_order))


def _order(wanted: Wanted) -> tuple[int, int, int]:
    return wanted.ideal, wanted.op, wanted.argument


def _single(cue: RollCue, timing: Timing) -> Wanted:
    """The record of one command. No command may become due before the start."""
    lead_us = timing.lead_us(cue.op, cue.argument)
    low, high = cue.tick - TOLERANCE_US * TICKS_PER_US, cue.tick + TOLERANCE_US * TICKS_PER_US
    low_us = max(0, -(-low // TICKS_PER_US)) + lead_us
    return Wanted(cue.tick + lead_us * TICKS_PER_US, cue.op, cue.argument, low_us, high // TICKS_PER_US + lead_us, lead_us)


def _fused(ones: list[Wanted], axis: int, timing: Timing, longest_us: float) -> Iterator[Wanted]:
    """The records of one carriage and its striker, in order: each strike becomes a NOTE at the stop where it happens."""
    steps_of = [steps for _, steps in timing.stops]
    at, stop, move = 0, None, None
    for one in ones:
        if one.op is Op.MOVE:
            if move is not None and stop is not None:
                yield move
                at = steps_of[stop]
            move, stop = one, one.argument
        elif stop is None:
            yield one
        else:
            note = _with_move(one, move, abs(steps_of[stop] - at), axis, timing) if move is not None else None
            if move is not None and (note is None or note.early_us > longest_us):
                yield move
                note = None
            yield note or _standing(one, stop)
            at, move = steps_of[stop], None
    if move is not None:
        yield move


def _standing(strike: Wanted, stop: int) -> Wanted:
    """A strike while the carriage stands at a stop: a NOTE too, so that it is the same record however the carriage came there."""
    return strike if stop >= EXTENDED_ARGUMENT > strike.argument else replace(strike, op=Op.NOTE, argument=stop)


def _with_move(strike: Wanted, move: Wanted, steps: int, axis: int, timing: Timing) -> Wanted | None:
    """A strike and the move before it as one NOTE, or None when the board's rule would not start the move when planned."""
    early = timing.axis_leads_us[axis] * TICKS_PER_US + timing.ramps[axis].ticks(steps)
    if not steps or abs(move.ideal + early - strike.ideal) > _FUSED_WITHIN_US * TICKS_PER_US:
        return None
    margin = TOLERANCE_US * TICKS_PER_US
    low_us = -(-max(early, move.ideal + early - margin) // TICKS_PER_US)
    high_us = (move.ideal + early + margin) // TICKS_PER_US
    early_us = max(strike.early_us, -(-early // TICKS_PER_US))
    return Wanted(strike.ideal, Op.NOTE, move.argument, max(strike.low_us, low_us), min(strike.high_us, high_us), early_us)


def _together(wanted: list[Wanted]) -> list[Wanted]:
    """Records meant for one moment get one time and one order. Moves keep theirs: where a carriage stands hangs on it."""
    done: list[Wanted] = []
    group: list[Wanted] = []
    for one in [*wanted, None]:
        if group and (one is None or one.op is Op.MOVE or one.ideal - group[0].ideal > _TOGETHER_TICKS):
            done += sorted((replace(each, ideal=group[0].ideal) for each in group), key=_order)
            group = []
        if one is not None and one.op is Op.MOVE:
            done.append(one)
        elif one is not None:
            group.append(one)
    return done
