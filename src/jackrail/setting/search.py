"""Key and tempo together: a best-first search over transpositions and slowdowns whose end is a proof.

For one transposition the cost of the music falls in steps as the tune slows. So nothing faster than a slowdown that was tried costs
less than the music there, and as far as the price of the tempo leaves no room for that to win, nothing need be tried. The search goes
down from the slowest tempo that could win, each time as far as the last music allows. A choice made at a slowdown is possible down
to some faster one, where its step begins: that is what it is worth, and the search goes on below. Slowdowns are found, not sampled.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from heapq import heapify, heappop, heappush

from .events import Choice
from .keys import BELOW, Key, Music
from .parts import Parts

MOST_STATES_IN_ALL = 6_000_000
"""States looked at before a search gives up its proof and keeps the best it has: some twenty seconds. An ordinary tune on one
string takes some ten thousand."""
_AT_ONCE = 0.04
"""A slowdown whose music cannot win by so much more tempo need not be solved to the end."""
_EQUAL = 1e-12
"""Costs nearer than this are equal."""
_PROBES = (1.2, 1.7)
"""Slowdowns tried before anything is proven, in the keys that promise most: with a good arrangement at hand most need not be tried."""
_PROBED_KEYS = 1


@dataclass(frozen=True)
class Found:
    """The best arrangement: transposition, slowdown, choices for notes and chords, cost, and whether it is proven.

    bound: no arrangement costs less; the cost itself when that is proven. search_s: how long it took.
    """

    transpose: int
    slowdown: float
    notes: Choice
    chords: Choice
    cost: float
    proven: bool
    bound: float = -math.inf
    search_s: float = field(default=0.0, compare=False)


@dataclass
class _Range:
    """What is left to search of a transposition: slowdowns from `fastest` to `slowest`, where the music costs no less than `bound`.

    key: None until its chords are worked out.
    """

    transpose: int
    fastest: float
    slowest: float
    bound: float
    key: Key | None = None


class Search:
    """One search. `best` is the best arrangement found so far.

    by_key: where chords are proposed, the parts with those for each transposition, by its semitones modulo 12.
    """

    def __init__(self, parts: Parts, by_key: Mapping[int, Parts] | None = None) -> None:
        self._parts, self._taste, self._by_key = parts, parts.taste, by_key or {}
        self.best: Found | None = None
        self.states = 0
        self._open_bound = math.inf  # of what was given up without proof

    def run(self, transpositions: Sequence[int], slowdown: float | None) -> Found:
        """The arrangement of least cost over the transpositions, at `slowdown` or, with None, at the best one."""
        if not transpositions:
            raise ValueError("no transposition to try")
        fastest, slowest = (1.0, 1.0 / self._taste.least_tempo) if slowdown is None else (slowdown, slowdown)
        floors = [(self._moving(t) + self._parts.notes_floor(t), t) for t in transpositions]
        ranges = [_Range(transpose, fastest, slowest, floor) for floor, transpose in sorted(floors)]
        for one in ranges[:_PROBED_KEYS]:
            self._probe(one)
        self._prove(ranges)
        assert self.best is not None  # noqa: S101 - nothing is beaten before something is found
        bound = min(self.best.cost, self._open_bound)
        return replace(self.best, proven=bound >= self.best.cost - _EQUAL, bound=bound)

    def key(self, transpose: int) -> Key:
        """A key of the tune, to ask for its music at any slowdown."""
        return Key(transpose, self._parts_for(transpose), self.price(transpose))

    def price(self, transpose: int) -> float:
        """What the key costs by itself: little, to break ties in favour of the written one, and what its proposed chords do."""
        return self._moving(transpose) + self._parts_for(transpose).harmony_cost

    def _moving(self, transpose: int) -> float:
        return self._taste.semitone * abs(transpose) + (self._taste.new_key if transpose % 12 else 0.0)

    def floor(self, transpose: int) -> float:
        """What music in this key costs at the least, however slow."""
        return self.price(transpose) + self._parts_for(transpose).floor(transpose)

    def tempo_cost(self, slowdown: float) -> float:
        """What a slowdown costs by itself; playing faster than written costs nothing."""
        return self._taste.slower * max(0.0, slowdown - 1.0) * self._parts.weight

    def _parts_for(self, transpose: int) -> Parts:
        """The tune as it is in this key."""
        return self._by_key.get(transpose % 12, self._parts)

    def _probe(self, one: _Range) -> None:
        """Try a few slowdowns of a key, none further when nothing is left to gain by slowing down."""
        key = self._price(one)
        for slowdown in _PROBES:
            if one.fastest <= slowdown <= one.slowest and self._try(one, key, slowdown).cost <= one.bound + _EQUAL:
                return

    def _prove(self, ranges: list[_Range]) -> None:
        """Take the range of the lowest bound and narrow it, until none is left that could win."""
        queue = [(*self._promise(one), one) for one in ranges]
        heapify(queue)
        while queue and not self._beaten(queue[0][0]):
            if self.best is not None and self.states >= MOST_STATES_IN_ALL:
                self._open_bound = min(self._open_bound, queue[0][0])
                return
            one = heappop(queue)[2]
            if one.key is None:
                self._price(one)
            else:
                self._narrow(one, one.key)
            if one.fastest <= one.slowest:
                heappush(queue, (*self._promise(one), one))

    def _promise(self, one: _Range) -> tuple[float, int]:
        """Nothing in a range costs less; and its transposition, which tells equal ones apart."""
        return one.bound + self.tempo_cost(one.fastest), one.transpose

    def _price(self, one: _Range) -> Key:
        """The key of a range, with its chords and their price."""
        one.key = self.key(one.transpose)
        one.bound = self.floor(one.transpose)
        return one.key

    def _narrow(self, one: _Range, key: Key) -> None:
        """Try the slowest tempo of a range that could win, and keep what is left below."""
        one.slowest = min(one.slowest, self._slowest_worth(one.bound))
        if one.slowest < one.fastest:
            return
        if key.folds:
            one.bound = max(one.bound, key.bound(one.slowest))
            if self._slowest_worth(one.bound) < one.slowest - _AT_ONCE / 8:
                return
        music = self._try(one, key, one.slowest)
        one.bound = max(one.bound, music.bound)
        begins = max(one.fastest, music.steady_from)
        if music.cost > music.bound + _EQUAL:
            if self._slowest_worth(one.bound) < one.slowest:
                return
            self._open_bound = min(self._open_bound, music.bound + self.tempo_cost(begins))
        one.slowest = music.steady_from * BELOW

    def _slowest_worth(self, bound: float) -> float:
        """The slowest tempo at which music of this cost could still win."""
        a_time = self._taste.slower * self._parts.weight
        return 1.0 + (self.best.cost - bound) / a_time if self.best is not None and a_time else math.inf

    def _try(self, one: _Range, key: Key, slowdown: float) -> Music:
        """The music of a key at a slowdown; remembered, where its step begins, when it is the best yet."""
        music = key.free(slowdown)
        if not self._beaten(self._total(one, music)):
            music = key.alike(music, slowdown, self._enough(slowdown))
        self.states += music.states
        if not self._beaten(self._total(one, music)):
            begins = max(one.fastest, music.steady_from)
            self.best = Found(one.transpose, begins, music.notes, music.chords, self._total(one, music), proven=False)
        return music

    def _total(self, one: _Range, music: Music) -> float:
        """What music costs with its tempo, where its step begins."""
        return music.cost + self.tempo_cost(max(one.fastest, music.steady_from))

    def _enough(self, slowdown: float) -> float:
        """What music at a slowdown may cost to be set aside with all that is a little faster."""
        return math.inf if self.best is None else self.best.cost - self.tempo_cost(max(1.0, slowdown) - _AT_ONCE)

    def _beaten(self, bound: float) -> bool:
        return self.best is not None and bound >= self.best.cost - _EQUAL
