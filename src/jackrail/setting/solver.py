"""The exact choice: which voice and place sounds each event, and which events are left out, at one tempo.

Events that have no voice in common, even through others, cannot hinder each other and are solved apart: hammers of different keys,
most of all. Those of one voice are a line (`line.py`), those of several are solved in layers (`layers.py`). Both are exact.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
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


class Prepared:
    """Events in time order, made ready once for choosing at many slowdowns."""

    def __init__(self, events: Sequence[Event], rules: Rules) -> None:
        self._events, self._rules = events, rules
        self._whole = _Group(events, range(len(events)), rules)

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown` (1 is the written tempo, 2 is half as fast).

        Cost is the sum of the chosen options' costs, of `lost` for events left out and of `cut` for those whose voice leaves too soon.
        """
        if slowdown >= self._whole.apart_from or len(self._groups) == 1:
            return self._whole.at(slowdown)
        choices = [group.at(slowdown) for group in self._groups]
        options: list[Option | None] = [None] * len(self._events)
        for group, choice in zip(self._groups, choices, strict=True):
            for index, option in zip(group.indices, choice.options, strict=True):
                options[index] = option
        cost, bound = sum(choice.cost for choice in choices), sum(choice.bound for choice in choices)
        proven, states = all(choice.proven for choice in choices), sum(choice.states for choice in choices)
        return Choice(cost, tuple(options), proven, states, bound, max(choice.steady_from for choice in choices))

    @cached_property
    def _groups(self) -> list[_Group]:
        """The events taken apart into those that share voices, directly or through others."""
        return [_Group([self._events[i] for i in indices], indices, self._rules) for indices in _groups(self._events)]


def solve(events: Sequence[Event], rules: Rules, slowdown: float) -> Choice:
    """The cheapest choice at one slowdown, see `Prepared.at`."""
    return Prepared(events, rules).at(slowdown)


class _Group:
    """Events to be solved together, with their indices in the whole. From the slowdown `apart_from` on none can hinder another."""

    def __init__(self, events: Sequence[Event], indices: Sequence[int], rules: Rules) -> None:
        self.indices, self._events, self._rules = indices, events, rules
        self.apart_from = _apart_from(events, rules)

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown`."""
        return self._apart if slowdown >= self.apart_from else self._solver.at(slowdown)

    @cached_property
    def _apart(self) -> Choice:
        """Each event by itself at its cheapest. Slides play no part in it: they need a neighbour, and save nothing where all have room."""
        best = [min(event.options, key=lambda option: option.cost, default=None) for event in self._events]
        pairs = list(zip(best, self._events, strict=True))
        chosen = tuple(option if option is not None and option.cost < event.lost else None for option, event in pairs)
        cost = sum(event.lost if option is None else option.cost for option, event in zip(chosen, self._events, strict=True))
        return Choice(cost, chosen, proven=True, bound=cost, steady_from=self.apart_from)

    @cached_property
    def _solver(self) -> Solver:
        """One voice is a line; what slides depends on more than the event before."""
        voices = {option.voice for event in self._events for option in event.options}
        return Layers(self._events, self._rules) if len(voices) > 1 or self._rules.slides(self._events) else Line(self._events, self._rules)


def _groups(events: Sequence[Event]) -> list[list[int]]:
    """Indices of the events that share voices, directly or through others, in time order; those without options are one group."""
    root: dict[int, int] = {}

    def find(voice: int) -> int:
        while root.setdefault(voice, voice) != voice:
            voice = root[voice]
        return voice

    for event in events:
        for option in event.options[1:]:
            if option.voice != event.options[0].voice:
                root[find(option.voice)] = find(event.options[0].voice)
    groups: dict[int, list[int]] = {}
    for index, event in enumerate(events):
        groups.setdefault(find(event.options[0].voice) if event.options else -1, []).append(index)
    return list(groups.values())


def _apart_from(events: Sequence[Event], rules: Rules) -> float:
    """The slowdown from which events stand so far apart that none can hinder another; infinity where some could slide."""
    used = {option.voice for options in {id(event.options): event.options for event in events}.values() for option in options}
    if not used:
        return 0.0
    if rules.slides(events):
        return math.inf
    longest_s, furthest_s = (max(max(table[voice]) for voice in used) for table in (rules.free, rules.moves_free))
    gap_s = min((after.onset_s - before.onset_s for before, after in pairwise(events)), default=math.inf)
    held = [after.onset_s - before.onset_s - before.hold_s for before, after in pairwise(events) if before.cut]
    return max(slowdown_for(longest_s, gap_s), slowdown_for(furthest_s, min(held, default=math.inf)))


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
