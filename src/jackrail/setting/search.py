"""Key and tempo together: a best-first search over transpositions and slowdowns whose end is a proof.

For one transposition the cost of the music falls in steps as the tune slows, and the steps lie only at the critical
slowdowns of the solver. So for slowdowns between a and b nothing can cost less than the music at b plus the tempo at a.
The search takes the box with the lowest such bound, tries a slowdown inside it, splits it, and stops when no bound beats
the best found.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from heapq import heappop, heappush

from .parts import Parts
from .solver import Choice, Event, critical_slowdowns, solve


@dataclass(frozen=True)
class Found:
    """The best arrangement: transposition, slowdown, choices for notes and chords, cost, and whether it is proven."""

    transpose: int
    slowdown: float
    notes: Choice
    chords: Choice
    cost: float
    proven: bool


class _Key:
    """One transposition: its events, and the music's cost at any slowdown."""

    def __init__(self, transpose: int, parts: Parts) -> None:
        self.transpose, self._rules = transpose, parts.rules
        self.notes: tuple[Event, ...] = parts.notes(transpose)
        self.chords: tuple[Event, ...] = parts.chords(transpose)

    def at(self, slowdown: float) -> tuple[Choice, Choice]:
        """Best choices for notes and chords at a slowdown."""
        return solve(self.notes, self._rules, slowdown), solve(self.chords, self._rules, slowdown)

    def slowdowns(self, most: float) -> list[float]:
        """1 and every slowdown up to `most` at which something more becomes possible."""
        found = {*critical_slowdowns(self.notes, self._rules, most), *critical_slowdowns(self.chords, self._rules, most)}
        return [1.0, *sorted(found)]


MOST_STATES_IN_ALL = 6_000_000
"""States looked at before a search gives up its proof and keeps the best it has: some twenty seconds. An ordinary tune on one
string takes some ten thousand."""


class Search:
    """One search. `best` is the best arrangement found so far.

    by_key: where chords are proposed, the parts with those for each transposition, by its semitones modulo 12.
    """

    def __init__(self, parts: Parts, by_key: Mapping[int, Parts] | None = None) -> None:
        self._parts, self._taste, self._by_key = parts, parts.taste, by_key or {}
        self.best: Found | None = None
        self._proven = True
        self._states = 0

    def run(self, transpositions: list[int], slowdown: float | None) -> Found:
        """The arrangement of least cost over the transpositions, at `slowdown` or, with None, at the best one."""
        for floor, transpose in sorted((self._price(t) + self._parts_for(t).floor(t), t) for t in transpositions):
            if self._beaten(floor) or self._tired():
                break
            key = _Key(transpose, self._parts_for(transpose))
            if slowdown is None:
                self._search_tempo(key, floor)
            else:
                self._try(key, slowdown)
        if self.best is None:
            raise ValueError("no transposition to try")
        return replace(self.best, proven=self._proven)

    def _parts_for(self, transpose: int) -> Parts:
        """The tune as it is in this key."""
        return self._by_key.get(transpose % 12, self._parts)

    def _tired(self) -> bool:
        """Whether the search has done all it may; what is left untried costs it its proof."""
        if self.best is None or self._states < MOST_STATES_IN_ALL:
            return False
        self._proven = False
        return True

    def _price(self, transpose: int) -> float:
        """What the key costs by itself: little, to break ties in favour of the written one, and what its proposed chords do."""
        moving = self._taste.semitone * abs(transpose) + (self._taste.new_key if transpose % 12 else 0.0)
        return moving + self._parts_for(transpose).harmony_cost

    def _beaten(self, bound: float) -> bool:
        return self.best is not None and bound >= self.best.cost - 1e-12

    def _tempo_cost(self, slowdown: float) -> float:
        return self._taste.slower * max(0.0, slowdown - 1.0) * self._parts.weight

    def _try(self, key: _Key, slowdown: float) -> float:
        """The music's cost of a key at a slowdown; remembered when it is the best yet."""
        notes, chords = key.at(slowdown)
        self._states += notes.states + chords.states
        self._proven = self._proven and notes.proven and chords.proven
        music = self._price(key.transpose) + notes.cost + chords.cost
        total = music + self._tempo_cost(slowdown)
        if not self._beaten(total):
            self.best = Found(key.transpose, slowdown, notes, chords, total, self._proven)
        return music

    def _search_tempo(self, key: _Key, floor: float) -> None:
        music_written = self._try(key, 1.0)
        if music_written <= floor + 1e-12:
            return  # nothing is left to gain by slowing down
        slowdowns = key.slowdowns(1.0 / self._taste.least_tempo)
        boxes: list[tuple[float, int, int, float]] = []

        def push(low: int, high: int, music_high: float) -> None:
            """Keep the slowdowns strictly between two tried ones while their bound can win."""
            if low + 1 < high:
                heappush(boxes, (music_high + self._tempo_cost(slowdowns[low + 1]), low, high, music_high))

        push(0, len(slowdowns), floor)
        while boxes and not self._beaten(boxes[0][0]) and not self._tired():
            _, low, high, music_high = heappop(boxes)
            # slowdowns cost more the slower, so those worth trying stand first
            worth = bisect_left(range(low + 1, high), 1, key=lambda i: int(self._beaten(music_high + self._tempo_cost(slowdowns[i]))))
            middle = low + 1 + worth // 2 if worth > 1 else low + 1
            music_middle = self._try(key, slowdowns[middle])
            push(low, middle, music_middle)
            push(middle, low + 1 + worth, music_high)
