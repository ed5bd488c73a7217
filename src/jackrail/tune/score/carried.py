"""Chord symbols, keys and tempo marks of written bars in the order in which they are played."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import accumulate
from typing import TypeVar

from jackrail.tune.model import Quarters

from .written import WrittenBar

V = TypeVar("V")


def carried(
    bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], marks_of: Callable[[WrittenBar], list[tuple[Quarters, V]]]
) -> list[tuple[Quarters, V]]:
    """Marks of one kind in playing order.

    What was in force when a bar was first played is said again when a jump back leads to it from something else. Where a jump forward
    leads, to a coda, that is in force which stands last before it on paper.
    """
    out: list[tuple[Quarters, V]] = []
    if not any(marks_of(bar) for bar in bars):
        return out
    on_paper = _on_paper(bars, marks_of)
    plain = [0, *accumulate(not bar.ending for bar in bars)]  # bars under no ending, up to each
    at_first: dict[int, V | None] = {}
    now: V | None = None
    before = -1
    for index, bar_q in zip(order, onsets, strict=True):
        marks = marks_of(bars[index])
        forward = -1 < before < index and plain[index] > plain[before + 1]
        expected = at_first.setdefault(index, on_paper[index] if forward else now)
        if (index <= before or forward) and expected is not None and expected != now and not (marks and marks[0][0] == 0):
            now = expected
            out.append((bar_q, expected))
        for onset_q, value in marks:
            now = value
            out.append((bar_q + onset_q, value))
        before = index
    return out


def keys_on_paper(bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters]) -> list[tuple[Quarters, tuple[int, str]]]:
    """Keys in playing order: in each bar that which stands last before it on paper, as for its pitches, whatever was played before."""
    on_paper = _on_paper(bars, lambda bar: bar.keys)
    out: list[tuple[Quarters, tuple[int, str]]] = []
    now: tuple[int, str] | None = None
    for index, bar_q in zip(order, onsets, strict=True):
        key, marks = on_paper[index], bars[index].keys
        if key is not None and key != now and not (marks and marks[0][0] == 0):
            out.append((bar_q, key))
        now = key
        for onset_q, value in marks:
            now = value
            out.append((bar_q + onset_q, value))
    return out


def _on_paper(bars: Sequence[WrittenBar], marks_of: Callable[[WrittenBar], list[tuple[Quarters, V]]]) -> list[V | None]:
    """The last mark before each bar as written."""
    out: list[V | None] = []
    now: V | None = None
    for bar in bars:
        out.append(now)
        marks = marks_of(bar)
        if marks:
            now = marks[-1][1]
    return out


def from_start(marks: list[tuple[Quarters, V]]) -> list[tuple[Quarters, V]]:
    """The marks without those that change nothing, the first moved to 0."""
    out: list[tuple[Quarters, V]] = []
    for onset_q, value in marks:
        if not out:
            out.append((Fraction(0), value))
        elif out[-1][1] != value:
            if out[-1][0] == onset_q:
                out[-1] = (onset_q, value)
            else:
                out.append((onset_q, value))
    return out
