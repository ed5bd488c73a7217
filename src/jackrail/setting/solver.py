"""The exact choice: which voice and place sounds each event, and which events are left out, at one tempo.

Events that have no voice in common, even through others, cannot hinder each other and are solved apart: hammers of different keys,
most of all. Those of one voice are a line (`line.py`), those of several are solved in layers (`layers.py`). Both are exact.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from functools import cached_property
from itertools import pairwise, product, zip_longest
from typing import Protocol

from .events import SHORT, Choice, Event, Option, Rules, Sounded, slowdown_for
from .layers import Layers
from .line import Line

__all__ = ["Choice", "Event", "Option", "Prepared", "Rules", "critical_slowdowns", "solve"]


class Solver(Protocol):
    """Events made ready for choosing at any slowdown."""

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown`."""

    def bound(self, slowdown: float) -> float:
        """The bound of that choice, at less work where only that is asked for."""

    def decided(self, does: Mapping[int, int | None]) -> Solver:
        """The same of which some events, by index, are to sound moved by so many octaves or, None, to be left out.

        The choice costs infinitely much where that cannot be.
        """


class Prepared:
    """Events in time order, made ready once for choosing at many slowdowns."""

    def __init__(self, events: Sequence[Event], rules: Rules) -> None:
        self._events, self._rules = events, rules
        self._kinds = {id(event.options): event.options for event in events}.values()
        self._slides = any(option.slid for options in self._kinds for option in options)
        self._apart_from = math.inf if self._slides else _apart_from(events, self._kinds, rules)

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown` (1 is the written tempo, 2 is half as fast).

        Cost is the sum of the chosen options' costs, of `lost` for events left out and of `cut` for those whose voice leaves too soon.
        """
        return self._apart if slowdown >= self._apart_from else self._solver.at(slowdown)

    def bound(self, slowdown: float) -> float:
        """See `Solver`."""
        return self._apart.bound if slowdown >= self._apart_from else self._solver.bound(slowdown)

    def decided(self, does: Mapping[int, int | None]) -> Solver:
        """See `Solver`."""
        return self._solver.decided(does)

    @cached_property
    def _apart(self) -> Choice:
        """Each event by itself at its cheapest, for slowdowns at which none can hinder another."""
        best = [min(event.options, key=lambda option: option.cost, default=None) for event in self._events]
        pairs = list(zip(best, self._events, strict=True))
        chosen = tuple(option if option is not None and option.cost < event.lost else None for option, event in pairs)
        cost = sum(event.lost if option is None else option.cost for option, event in zip(chosen, self._events, strict=True))
        return Choice(cost, chosen, proven=True, bound=cost, steady_from=self._apart_from)

    @cached_property
    def _solver(self) -> Solver:
        """One voice is a line, but what slides depends on more than the event before; what shares no voice is solved apart."""
        groups = _groups(self._events, self._kinds)
        if len(groups) > 1:
            return _Several(self._events, groups, self._rules)
        voices = {option.voice for options in self._kinds for option in options}
        return Layers(self._events, self._rules) if len(voices) > 1 or self._slides else Line(self._events, self._rules)


class _Several:
    """Events taken apart into groups that share no voice. groups: the indices of each."""

    def __init__(self, events: Sequence[Event], groups: Sequence[Sequence[int]], rules: Rules) -> None:
        self._count, self._groups = len(events), groups
        self._solvers: list[Solver] = [Prepared([events[index] for index in indices], rules) for indices in groups]

    def at(self, slowdown: float) -> Choice:
        """See `Solver`."""
        choices = [solver.at(slowdown) for solver in self._solvers]
        options: list[Option | None] = [None] * self._count
        for indices, choice in zip(self._groups, choices, strict=True):
            for index, option in zip(indices, choice.options, strict=False):
                options[index] = option
        cost, bound = sum(choice.cost for choice in choices), sum(choice.bound for choice in choices)
        proven, states = all(choice.proven for choice in choices), sum(choice.states for choice in choices)
        return Choice(cost, tuple(options), proven, states, bound, max(choice.steady_from for choice in choices))

    def bound(self, slowdown: float) -> float:
        """See `Solver`."""
        return sum(solver.bound(slowdown) for solver in self._solvers)

    def decided(self, does: Mapping[int, int | None]) -> Solver:
        """See `Solver`."""
        other = copy(self)
        mine = [{place: does[index] for place, index in enumerate(indices) if index in does} for indices in self._groups]
        pairs = zip(self._solvers, mine, strict=True)
        vars(other).update(_solvers=[solver.decided(some) if some else solver for solver, some in pairs])
        return other


def solve(events: Sequence[Event], rules: Rules, slowdown: float) -> Choice:
    """The cheapest choice at one slowdown, see `Prepared.at`."""
    return Prepared(events, rules).at(slowdown)


def _groups(events: Sequence[Event], kinds: Iterable[tuple[Option, ...]]) -> list[list[int]]:
    """Indices of the events that share voices, directly or through others, in time order. Events without options go with the first.

    kinds: all rows of options that events have.
    """
    root: dict[int, int] = {}

    def find(voice: int) -> int:
        while root.setdefault(voice, voice) != voice:
            voice = root[voice]
        return voice

    for options in kinds:
        for option in options:
            root[find(option.voice)] = find(options[0].voice)
    roots = {find(voice) for voice in root}
    if len(roots) < 2:
        return [list(range(len(events)))]
    groups: dict[int, list[int]] = {one: [] for one in sorted(roots)}
    for index, event in enumerate(events):
        groups[find(event.options[0].voice) if event.options else min(roots)].append(index)
    return list(groups.values())


def _apart_from(events: Sequence[Event], kinds: Iterable[tuple[Option, ...]], rules: Rules) -> float:
    """The slowdown from which events stand so far apart that none can hinder another."""
    used = {option.voice for options in kinds for option in options}
    if not used:
        return 0.0
    longest_s, furthest_s = (max(max(table[voice]) for voice in used) for table in (rules.free, rules.moves_free))
    gaps_s = [after.onset_s - before.onset_s for before, after in pairwise(events)]
    held_s = [gap_s - event.hold_s for gap_s, event in zip(gaps_s, events, strict=False) if event.cut]
    return max(slowdown_for(longest_s, min(gaps_s, default=math.inf)), slowdown_for(furthest_s, min(held_s, default=math.inf)))


def critical_slowdowns(events: Sequence[Event], rules: Rules, most: float) -> list[float]:
    """Every slowdown in (1, most] at which some move between two events just becomes possible or leaves a note its share of ringing.

    In rising order. Between two neighbours of this list nothing changes, so the best tempo is 1 or one of these.
    """
    longest_s, most_held_s = rules.longest_s(events), max((event.hold_s for event in events if event.cut), default=0.0)
    slides = rules.slides(events)
    found: set[float] = set()
    for later, event in enumerate(events):
        for before in reversed(events[:later]):
            gap_s = event.onset_s - before.onset_s
            if gap_s >= longest_s + most_held_s:
                break
            found.update(_criticals(before, event, rules, slides=slides))
    within = sorted(ratio for ratio in found if 1.0 < ratio <= most)
    # Equal ratios differ in their last digits: of each such bunch the largest serves, at which all its moves are possible.
    return [a for a, b in zip_longest(within, within[1:], fillvalue=math.inf) if b - a > SHORT]


def _criticals(before: Event, after: Event, rules: Rules, *, slides: bool) -> Iterator[float]:
    """The slowdowns at which something changes between two events of which the second follows the first on one voice."""
    for first, option in product(before.options, after.options):
        if first.voice != option.voice:
            continue
        # what follows a slide waits for the pick since an earlier strike, which is a pair of its own
        struck_s = -math.inf if first.slid and not option.slid else before.onset_s
        possible_from, uncut_from, _ = rules.link(Sounded(before, first, struck_s), after, option)
        yield possible_from
        yield uncut_from
        if slides and not first.slid and not option.slid:
            yield slowdown_for(rules.voices[option.voice].rearm_s, after.onset_s - before.onset_s)
