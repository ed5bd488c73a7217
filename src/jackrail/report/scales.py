"""Scales: seconds and millimetres to places on paper, lines of music, and labels kept clear of each other."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

Point = tuple[float, float]

_LINE_S = 14.0
"""A line of music holds as many bars as fit in this time, of 16, 8, 4, 2 or 1: notes stay readable and phrases whole."""
_BARLESS_LINE_S = 12.0


@dataclass(frozen=True)
class Linear:
    """The straight scale that takes `low` to `at_low` and `high` to `at_high`."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, value: float) -> float:
        """Where a value lies; beyond the ends the line goes on."""
        share = (value - self.low) / (self.high - self.low) if self.high != self.low else 0.0
        return self.at_low + share * (self.at_high - self.at_low)


@dataclass(frozen=True)
class Banded:
    """A scale both ways from zero, straight between limits: a value of sizes[i] lies bands[i] above the middle, -sizes[i] below.

    So errors far apart in size, 0.1 ms and 20 ms, can both be read. Beyond the last limit all lies on the edge.
    """

    middle: float
    sizes: tuple[float, ...]
    bands: tuple[float, ...]

    def __call__(self, value: float) -> float:
        """Where a value lies; larger ones higher, that is at less y."""
        size = min(abs(value), self.sizes[-1])
        last = max(1, bisect_left(self.sizes, size))
        band = Linear(self.sizes[last - 1], self.sizes[last], self.bands[last - 1], self.bands[last])
        return self.middle - math.copysign(band(size), value)


@dataclass(frozen=True)
class Window:
    """The time one line of music shows, from start_s up to but without end_s."""

    start_s: float
    end_s: float

    def holds(self, at_s: float) -> bool:
        """Whether a moment belongs to this line."""
        return self.start_s <= at_s < self.end_s

    def meets(self, start_s: float, end_s: float) -> bool:
        """Whether a span has a part in this line."""
        return start_s < self.end_s and end_s > self.start_s


def lines_of_music(bars_s: Sequence[float], end_s: float) -> tuple[Window, ...]:
    """The time from 0 to end_s cut into lines at bar lines; bars_s: when each bar starts, in seconds, in order.

    The upbeat goes with the first line. Lines are alike long as far as bars allow; a tail shorter than a third of a line
    goes with the line before it.
    """
    if len(bars_s) < 3:
        starts, line_s = [0.0], _BARLESS_LINE_S
        moments = [n * _BARLESS_LINE_S for n in range(1, int(end_s / _BARLESS_LINE_S) + 1)]
    else:
        bar_s = median(b - a for a, b in pairwise(bars_s))
        line_s = bar_s * next((n for n in (16, 8, 4, 2) if n * bar_s <= _LINE_S), 1)
        moments = [*(bar for bar in bars_s if bar < end_s), end_s]
        upbeat = bars_s[1] - bars_s[0] < 0.9 * bar_s
        starts = [bars_s[1] if upbeat else bars_s[0]]
    while True:
        first = bisect_right(moments, starts[-1] + 1e-6)
        last = bisect_right(moments, starts[-1] + line_s + 1e-6) - 1
        if first >= len(moments):
            break
        starts.append(moments[max(first, last)])
    cuts = [0.0, *(cut for cut in starts[1:] if end_s - cut > line_s / 3)]
    return tuple(Window(a, b) for a, b in pairwise([*cuts, max(end_s, cuts[-1] + 1e-3)]))


def cut_path(points: Sequence[Point], window: Window) -> list[Point]:
    """The part of a path (time, value) that a line shows, with its crossings of the line's ends. Times never decrease."""
    if not points:
        return []
    times = [at for at, _ in points]
    first, last = bisect_left(times, window.start_s), bisect_right(times, window.end_s)
    inner = list(points[first:last])
    if 0 < first < len(points) and points[first][0] > window.start_s:
        inner.insert(0, (window.start_s, _between(points[first - 1], points[first], window.start_s)))
    if 0 < last < len(points) and points[last - 1][0] < window.end_s:
        inner.append((window.end_s, _between(points[last - 1], points[last], window.end_s)))
    return inner


def _between(a: Point, b: Point, at_s: float) -> float:
    return Linear(a[0], b[0], a[1], b[1])(at_s)


def even_lines(end_s: float, most_s: float) -> tuple[Window, ...]:
    """The time from 0 to end_s in lines alike long, none longer than most_s."""
    lines = max(1, math.ceil(end_s / most_s))
    return tuple(Window(end_s * n / lines, end_s * (n + 1) / lines) for n in range(lines))


def thinned(points: Sequence[Point], off: float) -> list[Point]:
    """As few of the points as keep all the others within `off` of the line through them (Ramer 1972, Douglas and Peucker 1973)."""
    kept, parts = {0, len(points) - 1}, [(0, len(points) - 1)]
    while parts:
        start, end = parts.pop()
        away = [(_distance(points[start], points[end], point), index) for index, point in enumerate(points[start + 1 : end], start + 1)]
        worst, index = max(away, default=(0.0, 0))
        if worst > off:
            kept.add(index)
            parts += [(start, index), (index, end)]
    return [points[index] for index in sorted(kept)]


def _distance(a: Point, b: Point, point: Point) -> float:
    """From a point to the nearest of the straight line from a to b."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    share = min(1.0, max(0.0, ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / length)) if length else 0.0
    return math.hypot(a[0] + share * dx - point[0], a[1] + share * dy - point[1])


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places for labels as near as can be to those wanted (ascending), at least `gap` apart, from low to high.

    Least squares: less index * gap each, the places must not decrease (isotonic regression by pooling neighbours, Ayer et
    al. 1955). When they cannot all fit between low and high, they run over high.
    """
    pools: list[tuple[float, int]] = []
    for index, value in enumerate(wanted):
        mean, size = value - index * gap, 1
        while pools and pools[-1][0] > mean:
            other, count = pools.pop()
            mean, size = (mean * size + other * count) / (size + count), size + count
        pools.append((mean, size))
    flat = [mean for mean, size in pools for _ in range(size)]
    most = max(low, high - (len(flat) - 1) * gap)
    return [min(max(value, low), most) + index * gap for index, value in enumerate(flat)]


def text_width(text: str, size: float) -> float:
    """About how wide a text is at a font size, on the wide side: 0.64 of the size a letter, all of it beyond Latin."""
    return sum(0.64 * size if ord(letter) < 0x2E80 else 1.05 * size for letter in text)
