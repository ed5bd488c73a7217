"""Bars against their metre: where each begins, numbers for notations without them, a word for each that does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from jackrail.tune.model import Quarters

from .written import Notes, WrittenBar

_SHOWN = 6


def find_starts(bars: Sequence[WrittenBar]) -> None:
    """Set where in the full bar each bar begins: after its first half, or as long before its end as an upbeat is.

    A second half that is said to be no bar of its own takes the number of its first half.
    """
    for index, bar in enumerate(bars):
        if _second_half(bars, index) and _first_half_q(bars, index):
            bar.starts_q = _first_half_q(bars, index)
            bar.number = bars[index - 1].number if bar.implicit else bar.number
        elif _upbeat(bars, index):
            bar.starts_q = bar.metre_q - bar.length_q


def number_bars(bars: Sequence[WrittenBar]) -> None:
    """Number bars as on paper: an upbeat at the beginning is 0, what begins later than on its downbeat counts with the bar before."""
    number = 0
    for bar in bars:
        number += bar.starts_q == 0
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
    """Whether a bar and the one before it make one full bar that a sign cuts in two."""
    if index == 0:
        return False
    bar, before = bars[index], bars[index - 1]
    joined = bar.implicit or _boundary(bars, index) or bar.number == before.number != 0
    return bar.short and before.short and joined and bar.length_q + before.length_q == bar.metre_q


def _first_half_q(bars: Sequence[WrittenBar], index: int) -> Quarters:
    """Length of the first half that a second half goes on from, 0 when the bar before is a second half or an upbeat itself.

    The second halves under several brackets go on from the same first half.
    """
    bar, before = bars[index], bars[index - 1]
    if not before.starts_q:
        return before.length_q
    return before.starts_q if bar.ending_start and before.ending and before.length_q == bar.length_q else Fraction(0)


def _upbeat(bars: Sequence[WrittenBar], index: int) -> bool:
    """A short bar before a full one, at the beginning of the tune or, if it is no more than half a bar, of a section."""
    bar = bars[index]
    if not bar.short or index + 1 == len(bars):
        return False
    if index == 0:
        return bar.number == 0 or bar.implicit or not bars[1].short
    return (bar.implicit or _boundary(bars, index)) and _short_before_full(bars, index)


def _excused(bars: Sequence[WrittenBar], index: int, upbeats: set[Quarters]) -> bool:
    bar = bars[index]
    if index == 0:
        return len(bars) > 1 and not bars[1].short
    if _second_half(bars, index) or (index + 1 < len(bars) and _second_half(bars, index + 1)):
        return True
    at_end = index + 1 == len(bars) or _boundary(bars, index + 1)
    return (at_end and bar.metre_q - bar.length_q in upbeats) or (_boundary(bars, index) and _short_before_full(bars, index))


def _short_before_full(bars: Sequence[WrittenBar], index: int) -> bool:
    return index + 1 < len(bars) and not bars[index + 1].short and bars[index].length_q * 2 <= bars[index].metre_q


def _said(length_q: Quarters) -> str:
    return f"{float(length_q):.4g}" if isinstance(length_q, Fraction) else str(length_q)
