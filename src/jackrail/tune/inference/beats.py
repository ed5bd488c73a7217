"""The felt beats of a tune as spans to weigh notes in."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from math import ceil

from jackrail.tune.model import Bar, Quarters, beat_length_q

Sound = tuple[float, float, int]
"""Begin and end of a note in quarters, as floats since it is only weighed, and its MIDI key."""
MOST_BEATS = 8
"""Spans that a bar is cut into; in a longer one two, four and so on beats make a span."""
EARLY = 0.07
"""Quarters by which a note may come early and still belong to the next beat."""
_AT_BAR, _MIDWAY, _AT_BEAT = 1.0, 1.2, 2.5
"""What it costs to change the chord there, as a natural logarithm."""


class Beats:
    """The spans of all bars one after the other, in quarters as floats; the last one lasts until everything has ended.

    starts, ends: of each span; a bar that begins within a beat begins with what is left of it. bar_of: index of its bar. change_cost:
    what it costs to change the chord where it begins. end: of the last one.
    """

    def __init__(self, bars: Sequence[Bar], end: float) -> None:
        """The beats of `bars`, or of bars of four quarters up to the quarter `end` when there are none."""
        quadruple = (Bar(Fraction(at), Fraction(4), at // 4 + 1, 4, 4) for at in range(0, max(1, ceil(end)), 4))
        self._bars = [bar for bar in bars if bar.length_q > 0] or list(quadruple)
        self.starts: list[float] = []
        self.bar_of: list[int] = []
        self.change_cost: list[float] = []
        self._offsets_q: list[Quarters] = []
        self._lengths: dict[int, float] = {}
        for number, bar in enumerate(self._bars):
            begins = bar.onset_q.numerator / bar.onset_q.denominator
            for offset_q, offset, cost in _cuts(bar.beats, bar.beat_unit, bar.length_q, bar.starts_q):
                self.starts.append(begins + offset)
                self.bar_of.append(number)
                self.change_cost.append(cost)
                self._offsets_q.append(offset_q)
        last = self._bars[-1]
        self.end = max(float(last.onset_q + last.length_q), end)
        self.ends = [*self.starts[1:], max(self.end, self.starts[-1] + 1)]

    def index(self, quarter: float) -> int:
        """The span that a note struck at `quarter` belongs to."""
        return max(0, bisect_right(self.starts, quarter + EARLY) - 1)

    def start_q(self, index: int) -> Quarters:
        """When a span begins."""
        return self._bars[self.bar_of[index]].onset_q + self._offsets_q[index]

    def next_start_q(self, quarter: float) -> Quarters:
        """When the first span begins at or after `quarter`, as good as; the last one when none does."""
        return self.start_q(min(bisect_left(self.starts, quarter - EARLY), len(self.starts) - 1))

    def bar_length(self, quarter: float) -> float:
        """Length of the bar sounding at `quarter`, the whole of one that is cut short."""
        number = self.bar_of[self.index(quarter)]
        if number not in self._lengths:
            bar = self._bars[number]
            self._lengths[number] = max(float(bar.length_q), 4 * bar.beats / bar.beat_unit)
        return self._lengths[number]

    def border(self, before: int, index: int) -> int:
        """Where a chord told in span `index` takes over from one told in `before`: the cheapest span after that, the latest of equals."""
        if index == before + 1:
            return index
        return min(range(index, before, -1), key=self.change_cost.__getitem__)


@lru_cache(maxsize=256)
def _cuts(beats: int, beat_unit: int, length_q: Quarters, starts_q: Quarters) -> list[tuple[Quarters, float, float]]:
    """The spans of a bar: onset within the bar, exact and not, and what a change of chord costs there."""
    step_q = beat_length_q(beats, beat_unit)
    while length_q > MOST_BEATS * step_q:
        step_q *= 2
    middle_q = Fraction(2 * beats, beat_unit)
    cuts: list[tuple[Quarters, float, float]] = []
    offset_q = Fraction(0)
    while not cuts or offset_q < length_q:
        at_q = starts_q + offset_q
        cost = _AT_BAR if at_q == 0 else _MIDWAY if at_q == middle_q else _AT_BEAT
        cuts.append((offset_q, float(offset_q), cost))
        offset_q = (at_q // step_q + 1) * step_q - starts_q
    return cuts
