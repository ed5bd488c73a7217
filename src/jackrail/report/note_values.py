"""Lengths as music writes them: exact fractions of a quarter become note values with dots, ties and tuplets, or nothing at all.

A line of notes and rests that fills a bar is cut into values. Where all edges are halves of halves, plain and dotted values are
taken, the longest that the beat allows. Elsewhere the smallest cell of the beat that holds the odd edges becomes a tuplet: three in
the time of two, five in the time of four and so on. Nothing is ever rounded: what cannot be written raises `Unwritable`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, lcm
from typing import Generic, TypeVar

Item = TypeVar("Item")

_BASES = [Fraction(2) ** power for power in range(3, -6, -1)]
"""Quarters in a breve down to a 128th."""
_SHORTEST = _BASES[-1]
_ODD = (3, 5, 7, 9)
"""How many may share the time of fewer."""


class Unwritable(Exception):  # noqa: N818 - no error: a tune that this notation has no signs for
    """Why a tune has no picture in notation, as the rest of a sentence."""


@dataclass(frozen=True)
class Metre:
    """What the beat allows. beat_q: its length; compound: whether it has three parts."""

    beat_q: Fraction
    compound: bool


@dataclass(frozen=True)
class Segment(Generic[Item]):
    """From starts_q to ends_q, counted from the beginning of a full bar, `item` sounds; None is a rest."""

    starts_q: Fraction
    ends_q: Fraction
    item: Item | None


@dataclass(frozen=True)
class Value(Generic[Item]):
    """A written note or rest. base_q: its value without dots; dots: 0 or 1.

    tuplet: how many share the time of how many, None outside; opens, closes: first and last of its tuplet.
    """

    starts_q: Fraction
    length_q: Fraction
    item: Item | None
    base_q: Fraction
    dots: int
    tuplet: tuple[int, int] | None = None
    opens: bool = False
    closes: bool = False


@dataclass(frozen=True)
class _Cell:
    """A stretch of a bar in which `many` share the time of `fewer`; plain where they are alike."""

    starts_q: Fraction
    ends_q: Fraction
    many: int = 1
    fewer: int = 1


def written(segments: Sequence[Segment[Item]], metre: Metre) -> list[Value[Item]]:
    """The values of a line. segments: in time order, each beginning where the last one ended. Raises Unwritable."""
    starts_q, ends_q = segments[0].starts_q, segments[-1].ends_q
    edges = sorted({segment.starts_q for segment in segments} | {ends_q})
    values = []
    for cell in _cells(starts_q, ends_q, edges, metre):
        inside = [
            replace(segment, starts_q=max(segment.starts_q, cell.starts_q), ends_q=min(segment.ends_q, cell.ends_q))
            for segment in segments
            if segment.starts_q < cell.ends_q and segment.ends_q > cell.starts_q
        ]
        made = [value for segment in inside for value in _values(segment, cell, metre)]
        if cell.many != cell.fewer:
            made[0], made[-1] = replace(made[0], opens=True), replace(made[-1], closes=True)
        values += made
    return values


def plain(at_q: Fraction) -> bool:
    """Whether a moment lies on a grid of halves of halves."""
    return not at_q.denominator & (at_q.denominator - 1)


def writable(at_q: Fraction) -> bool:
    """Whether a moment could be the edge of a note: on a fine grid of halves, thirds, fifths, sevenths or ninths of them."""
    odd = at_q.denominator
    halves = 0
    while odd % 2 == 0:
        odd, halves = odd // 2, halves + 1
    return odd in (1, *_ODD) and halves <= 5


def _cells(starts_q: Fraction, ends_q: Fraction, edges: list[Fraction], metre: Metre) -> Iterator[_Cell]:
    """The bar from starts_q to ends_q, cut where its edges need tuplets."""
    chosen: list[_Cell] = []
    for edge in edges:
        if not plain(edge) and not any(cell.starts_q < edge < cell.ends_q for cell in chosen):
            chosen.append(_tuplet(edge, starts_q, ends_q, edges, metre))
    # a cell found later may hold one found before: the larger serves for both, since it was found to suit all edges inside it
    outer = [cell for cell in chosen if not any(_holds(other, cell) for other in chosen if other is not cell)]
    at_q = starts_q
    for cell in sorted(outer, key=lambda cell: cell.starts_q):
        if cell.starts_q < at_q:
            raise Unwritable("its tuplets overlap")
        if cell.starts_q > at_q:
            yield _Cell(at_q, cell.starts_q)
        yield cell
        at_q = cell.ends_q
    if at_q < ends_q:
        yield _Cell(at_q, ends_q)


def _holds(outer: _Cell, inner: _Cell) -> bool:
    return outer.starts_q <= inner.starts_q and inner.ends_q <= outer.ends_q and outer != inner


def _tuplet(edge: Fraction, starts_q: Fraction, ends_q: Fraction, edges: list[Fraction], metre: Metre) -> _Cell:
    """The smallest cell around an edge that is a tuplet by itself; else the part of a beat that cuts the fewest notes, the longest such."""
    found = [cell for size_q, at_q in _places(edge, metre) for cell in _as_tuplet(at_q, at_q + size_q, edges)]
    inside = [cell for cell in found if starts_q <= cell.starts_q and cell.ends_q <= ends_q]
    even = [cell for cell in inside if _even(cell, edges)]
    if even:
        return even[0]
    beats = [cell for cell in inside if cell.ends_q - cell.starts_q <= metre.beat_q]
    if not beats:
        raise Unwritable("it has notes at moments that no simple tuplet reaches")
    return min(beats, key=lambda cell: ((cell.starts_q not in edges) + (cell.ends_q not in edges), cell.starts_q - cell.ends_q))


def _even(cell: _Cell, edges: list[Fraction]) -> bool:
    """Whether a tuplet begins and ends with notes of its own, none much longer than one of its parts or cut finer than their halves."""
    part_q = (cell.ends_q - cell.starts_q) / cell.many
    inside = [edge for edge in edges if cell.starts_q <= edge <= cell.ends_q]
    whole = inside[0] == cell.starts_q and inside[-1] == cell.ends_q
    fine = all((2 * (edge - cell.starts_q) / part_q).denominator == 1 for edge in inside)
    return whole and fine and all(b - a <= 2 * part_q for a, b in pairwise(inside))


def _places(edge: Fraction, metre: Metre) -> Iterator[tuple[Fraction, Fraction]]:
    """Size and start of every cell of the beat around a moment, the smallest first: parts of beats, a beat, two, four."""
    part_q = metre.beat_q / 3 if metre.compound else metre.beat_q
    sizes = [part_q / 8, part_q / 4, part_q / 2, part_q, *([metre.beat_q] if metre.compound else []), 2 * metre.beat_q, 4 * metre.beat_q]
    for size_q in sizes:
        step_q = min(size_q, metre.beat_q)
        first, last = floor((edge - size_q) / step_q) + 1, ceil(edge / step_q) - 1
        for place in range(last, first - 1, -1):
            yield size_q, place * step_q


def _as_tuplet(starts_q: Fraction, ends_q: Fraction, edges: list[Fraction]) -> Iterator[_Cell]:
    """A cell as the tuplet that all edges inside it need, if there is one."""
    size_q = ends_q - starts_q
    parts = lcm(*(((edge - starts_q) / size_q).denominator for edge in edges if starts_q < edge < ends_q))
    odd = parts // (parts & -parts)
    if odd not in _ODD:
        return
    fewer = 1 << (odd.bit_length() - 1)  # three in the time of two, five to seven of four, nine of eight
    if size_q.numerator % 3 == 0:
        fewer = max(size for size in (3, 6) if size < odd) if odd > 3 else 0
    if fewer and plain(size_q / fewer):
        yield _Cell(starts_q, ends_q, odd, fewer)


def _values(segment: Segment[Item], cell: _Cell, metre: Metre) -> Iterator[Value[Item]]:
    """The values of one segment within one cell."""
    tuplet = (cell.many, cell.fewer) if cell.many != cell.fewer else None
    shrink = Fraction(cell.fewer, cell.many)
    origin_q = cell.starts_q if tuplet else Fraction(0)
    at_q = segment.starts_q
    while at_q < segment.ends_q:
        left_q, place_q = (segment.ends_q - at_q) / shrink, (at_q - origin_q) / shrink
        base_q, dots = _longest(place_q, left_q, metre if not tuplet else None, rest=segment.item is None)
        length_q = base_q * (Fraction(3, 2) if dots else 1) * shrink
        yield Value(at_q, length_q, segment.item, base_q, dots, tuplet)
        at_q += length_q


def _longest(place_q: Fraction, left_q: Fraction, metre: Metre | None, *, rest: bool) -> tuple[Fraction, int]:
    """The longest value, with its dots, that may stand at a place and is no longer than what is left. metre: None within a tuplet."""
    for base_q in _BASES:
        for dots in (1, 0):
            length_q = base_q * 3 / 2 if dots else base_q
            if length_q <= left_q and _may_stand(place_q, base_q, dots, metre, rest=rest):
                return base_q, dots
    raise Unwritable("it has notes shorter than a 128th")


def _may_stand(place_q: Fraction, base_q: Fraction, dots: int, metre: Metre | None, *, rest: bool) -> bool:
    """Whether a value shows the beat where it stands: common practice, no source.

    A plain value may be off its own grid by half, a dotted one by its third; rests not at all. In compound time only whole beats cross
    the edge of a beat.
    """
    length_q = base_q * 3 / 2 if dots else base_q
    if base_q == _SHORTEST and dots:
        return False
    if metre is not None and metre.compound:
        into_q = place_q % metre.beat_q
        if into_q + length_q > metre.beat_q and (into_q or length_q % metre.beat_q):
            return False
        if dots and length_q % metre.beat_q == 0 and not into_q:
            return True
    if rest:
        return not dots and place_q % base_q == 0
    return place_q % (base_q / 2) == 0
