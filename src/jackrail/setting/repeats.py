"""Music that comes again: which notes are the same, so that they can be treated alike.

Two bars are the same music when they hold the same notes and so do their neighbours on one side: a run of at least two bars
comes again, by repeat signs or written out. Bars that are played again by repeat signs are so by themselves. The chords do not
count: it is the melody that a listener knows again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Hashable, Iterable
from itertools import pairwise

from jackrail.tune.model import Tune

Content = tuple[tuple[object, ...], ...]
"""The notes that begin in a bar: (where in the full bar, length, key, how many the same there before it)."""


def alike_groups(tune: Tune) -> list[tuple[int, ...]]:
    """Indices of the notes that are to be treated alike, in groups of two or more; each note is in one group at most.

    Small notes of ornaments are in none. A tune without bars has none.
    """
    if not tune.bars:
        return []
    members = _members(tune)
    contents: list[Content] = [tuple(place for place, _ in bar) for bar in members]
    classes = _classes(tune, contents)
    groups: dict[Hashable, list[int]] = {}
    for bar, kind in zip(members, classes, strict=True):
        for place, index in bar:
            groups.setdefault((kind, place), []).append(index)
    return [tuple(group) for group in groups.values() if len(group) > 1]


def _members(tune: Tune) -> list[list[tuple[tuple[object, ...], int]]]:
    """For each bar the place and the index of each of its notes."""
    starts = [float(bar.onset_q) for bar in tune.bars]  # exact enough to compare, and ten times as fast as fractions
    members: list[list[tuple[tuple[object, ...], int]]] = [[] for _ in starts]
    same: Counter[tuple[object, ...]] = Counter()
    for index, note in enumerate(tune.notes):
        onset = float(note.onset_q)
        number = bisect_right(starts, onset) - 1
        if note.ornamental or number < 0:
            continue
        into = round(float(tune.bars[number].starts_q) + onset - starts[number], 9)
        place = (into, float(note.duration_q), note.midi)
        members[number].append(((*place, same[number, *place]), index))
        same[number, *place] += 1
    return members


def _classes(tune: Tune, contents: list[Content]) -> list[int]:
    """For each bar a number: equal for bars that are the same music."""
    kinds = _Kinds(len(contents))
    kinds.join_equal(((bar.number, bar.starts_q, content), n) for n, (bar, content) in enumerate(zip(tune.bars, contents, strict=True)))
    pairs = list(enumerate(pairwise(contents)))
    kinds.join_equal((pair, n) for n, pair in pairs)
    kinds.join_equal((pair, n + 1) for n, pair in pairs)
    return [kinds.of(n) for n in range(len(contents))]


class _Kinds:
    """Numbers from 0, joined into classes (union and find)."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))

    def of(self, number: int) -> int:
        """The number that stands for the class of this one."""
        while self._parent[number] != number:
            self._parent[number] = self._parent[self._parent[number]]
            number = self._parent[number]
        return number

    def join_equal(self, keyed: Iterable[tuple[Hashable, int]]) -> None:
        """Join all numbers of the same key."""
        first: dict[Hashable, int] = {}
        for key, number in keyed:
            self._parent[self.of(number)] = self.of(first.setdefault(key, number))
