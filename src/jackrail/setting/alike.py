"""What comes again is treated alike: all members of a group are left out, or all are sounded, moved by the same number of octaves.

Branch and bound. Solved without that condition nothing can cost more; where a group differs, its members are decided together, once
for each thing that they could do, and solved again; the least costly of the open cases is taken first. So the first case in which
nothing differs is the best. Voice and place may differ, and one may be slid into where another is struck.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from heapq import heappop, heappush
from itertools import count

from .events import Choice, Event, Rules
from .solver import Prepared

MOST_CASES = 200
"""Cases looked at for one tempo of one key before the proof is given up."""
_EQUAL = 1e-9
"""Costs nearer than this are equal."""
Group = tuple[int, ...]
"""Indices of events to be treated alike."""
Decided = Mapping[Group, int | None]
"""What all members of a group do: sound, moved by so many octaves, or None, be left out."""


class Alike:
    """Events in time order of which some are to be treated alike, made ready for choosing at many slowdowns.

    groups: each event in at most one. Members that cannot all do the same things are held to those that can.
    """

    def __init__(self, events: Sequence[Event], rules: Rules, groups: Sequence[Group]) -> None:
        self._events, self._rules = events, rules
        self._groups = [part for group in groups for part in _comparable(events, group)]
        self._free = Prepared(events, rules)

    def free(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown`, alike or not: none that is alike costs less."""
        return self._free.at(slowdown)

    def alike(self, free: Choice, slowdown: float, enough: float = math.inf) -> Choice:
        """The cheapest choice that is alike. free: what `free` gives at this slowdown.

        Once nothing can cost less than `enough` it need not be the cheapest, its bound is true all the same.
        """
        return free if self._differing(free) is None else self._branched(free, slowdown, enough)

    def _branched(self, free: Choice, slowdown: float, enough: float) -> Choice:
        """The cheapest choice without differences, from one that has some."""
        order, states = count(), free.states
        cases: list[tuple[float, int, Choice, Decided]] = [(free.bound, next(order), free, {})]
        for _ in range(MOST_CASES):
            bound, _, choice, decided = cases[0]
            differing = self._differing(choice)
            if differing is None and choice.cost <= bound + _EQUAL:
                return Choice(choice.cost, choice.options, choice.proven, states, bound, choice.steady_from)
            if bound >= enough or differing is None:
                break
            heappop(cases)
            for does in self._ways(differing):
                case = self._solved({**decided, differing: does}, slowdown)
                states += case.states
                heappush(cases, (max(bound, case.bound), next(order), case, {**decided, differing: does}))
        bound, _, choice, _ = cases[0]
        settled = self._settled(choice, slowdown)
        return Choice(settled.cost, settled.options, settled.cost <= bound + _EQUAL, states, min(bound, settled.cost), settled.steady_from)

    def _settled(self, choice: Choice, slowdown: float) -> Choice:
        """A choice without differences near one that has some: what differs is left out, which is always possible."""
        decided: dict[Group, int | None] = {}
        while (differing := self._differing(choice)) is not None:
            decided[differing] = None
            choice = self._solved(decided, slowdown)
        return choice

    def _solved(self, decided: Decided, slowdown: float) -> Choice:
        """The cheapest choice in which some groups do what is decided; infinite where they cannot."""
        return self._free.decided({index: does for group, does in decided.items() for index in group}).at(slowdown)

    def _differing(self, choice: Choice) -> Group | None:
        """Of the groups whose members do not all do the same the weightiest, None when there is none."""
        does = [option and option.octaves for option in choice.options]
        differing = [group for group in self._groups if len({does[index] for index in group}) > 1]
        return max(differing, key=lambda group: sum(self._events[index].lost for index in group), default=None)

    def _ways(self, group: Group) -> list[int | None]:
        """All that the members of a group can do together."""
        return [None, *sorted({option.octaves for option in self._events[group[0]].options}, key=abs)]


def _comparable(events: Sequence[Event], group: Group) -> list[Group]:
    """A group taken apart into those that have the same choice of octaves; alone or without any there is nothing to compare."""
    parts: dict[frozenset[int], list[int]] = {}
    for index in group:
        parts.setdefault(frozenset(option.octaves for option in events[index].options), []).append(index)
    return [tuple(part) for octaves, part in parts.items() if octaves and len(part) > 1]
