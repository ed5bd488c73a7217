"""Bars against their metre: numbers for notations without them, and a word for each bar that does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from .model import Quarters
from .written import Notes, WrittenBar

_SHOWN = 6


def number_bars(bars: Sequence[WrittenBar]) -> None:
    """Number bars as on paper: an upbeat is 0, and two parts of a bar cut by a repeat sign or double bar share a number."""
    upbeat = len(bars) > 1 and bars[0].short and not bars[1].short
    number = -1 if upbeat else 0
    for index, bar in enumerate(bars):
        if index == 0 or not _second_half(bars, index) or bars[index - 1].number == 0:
            number += 1
        bar.number = number


def check_lengths(bars: Sequence[WrittenBar], notes: Notes) -> None:
    """Warn of bars that hold more or less than their metre, upbeats and bars cut in two by a repeat sign excepted."""
    odd = []
    upbeats = {bar.length_q for index, bar in enumerate(bars) if bar.short and (index == 0 or _boundary(bars, index))}
    for index, bar in enumerate(bars):
        if bar.free or bar.length_q == bar.metre_q or (bar.short and (bar.implicit or _excused(bars, index, upbeats))):
            continue
        odd.append(f"bar {bar.number} holds {_said(bar.length_q)} quarters where {bar.beats}/{bar.beat_unit} asks for {_said(bar.metre_q)}")
    for sentence in odd[:_SHOWN]:
        notes.say(f"{sentence}: played as written")
    if len(odd) > _SHOWN:
        notes.say(f"{len(odd) - _SHOWN} more bars do not fit their metre: played as written")


def _boundary(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether a repeat sign, bracket or double bar stands at the left of a bar."""
    bar = bars[index]
    return bar.repeat_start or bar.section_start or bar.ending_start or bars[index - 1].repeat_end > 0


def _second_half(bars: Sequence[WrittenBar], index: int) -> bool:
    bar, before = bars[index], bars[index - 1]
    joined = bar.implicit or _boundary(bars, index) or bar.number == before.number != 0
    return bar.short and before.short and joined and bar.length_q + before.length_q == bar.metre_q


def _excused(bars: Sequence[WrittenBar], index: int, upbeats: set[Quarters]) -> bool:
    bar = bars[index]
    if index == 0:
        return len(bars) > 1 and not bars[1].short
    if _second_half(bars, index) or (index + 1 < len(bars) and _second_half(bars, index + 1)):
        return True
    at_end = index + 1 == len(bars) or _boundary(bars, index + 1)
    return (at_end and bar.metre_q - bar.length_q in upbeats) or (_boundary(bars, index) and _upbeat_before(bars, index))


def _upbeat_before(bars: Sequence[WrittenBar], index: int) -> bool:
    """A short bar after a boundary is an upbeat when the bar that closes before it lacks as much, or a full bar follows."""
    return index + 1 < len(bars) and not bars[index + 1].short and bars[index].length_q * 2 <= bars[index].metre_q


def _said(length_q: Quarters) -> str:
    return f"{float(length_q):.4g}" if isinstance(length_q, Fraction) else str(length_q)
