"""The exact choice for events that can use one voice only: a travelling bar, a fretted string, one hammer, one chord bar.

Dynamic programming over (event, option): the most that a row of sounded events can save which ends there. Leaving everything out
saves nothing; sounding an event saves what leaving it out costs less the option's own cost. The row before it is the one that saves
most among those whose last event leaves the voice time to come, so rows are kept in order of what they save and the first that
fits is the best: mostly the first or second.
"""

from __future__ import annotations

import math
from bisect import insort
from collections.abc import Mapping, Sequence
from copy import copy
from operator import itemgetter

from .events import SHORT, Choice, Event, Option, Rules

Row = tuple["Row | None", int, Option]
"""Events sounded, newest first: (earlier, index of the event, option)."""
Way = tuple[int, float, Option]
"""A way to sound an event that saves something: place, what it saves, the option."""
Step = tuple[int, float, float, float, list[Way]]
"""An event that can be sounded: index, onset, until when it should ring, what it costs when it does not, ways."""
_GRID = 2.0**40
"""Costs are whole multiples of 2**-40: sums are exact, so equal rows tie exactly and the choice among them is always the same."""


class Line:
    """Events of one voice, in time order, prepared once for choosing at many slowdowns."""

    def __init__(self, events: Sequence[Event], rules: Rules) -> None:
        self._events = events
        voice = next((event.options[0].voice for event in events if event.options), 0)
        self._arrivals = rules.arrivals[voice]
        self._forced = self._dear = 0.0
        self._lost = 0.0
        self._steps: list[Step] = []
        known: dict[tuple[int, float, float], tuple[list[Way], float, float]] = {}
        for index, (onset_s, lost, options, hold_s, cut) in enumerate(events):
            key = id(options), lost, cut
            kind = known.get(key)
            if kind is None:
                ways = [(o.place, _exact(lost) - _exact(o.cost), o) for o in options if o.cost < lost]
                kind = known[key] = ways, _exact(lost), _exact(cut)
            self._lost += kind[1]
            if kind[0]:
                self._steps.append((index, onset_s, onset_s + hold_s, kind[2], kind[0]))

    def decided(self, does: Mapping[int, int | None]) -> Line:
        """The same events of which some, by their index, are to sound moved by so many octaves, or with None are to be left out."""
        forced = {index: octaves for index, octaves in does.items() if octaves is not None}
        # sounding one of these saves more than all else together; a power of two, for sums to stay exact
        most = self._lost + sum(option.cost for index in forced for option in self._events[index].options)
        dear = 2.0 ** math.ceil(math.log2(2.0 * most + 1.0))
        steps = [step for step in self._steps if step[0] not in does]
        for index, octaves in forced.items():
            onset_s, lost, options, hold_s, cut = self._events[index]
            ways = [(o.place, dear + _exact(lost) - _exact(o.cost), o) for o in options if o.octaves == octaves]
            steps.append((index, onset_s, onset_s + hold_s, _exact(cut), ways))
        return self._with_steps(sorted(steps, key=itemgetter(0)), dear, len(forced))

    def _with_steps(self, steps: list[Step], dear: float, forced: int) -> Line:
        other = copy(self)
        vars(other).update(_steps=steps, _dear=dear, _forced=dear * forced)
        return other

    def bound(self, slowdown: float) -> float:
        """What the cheapest choice costs."""
        return self._lost + (self._forced - self._best_row(slowdown)[0])

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown`; infinite when what is decided cannot be."""
        saved, row, looked = self._best_row(slowdown)
        cost = self._lost + (self._forced - saved)
        if cost > self._lost and 2.0 * (self._forced - saved) >= self._dear:
            return Choice(math.inf, (), proven=True, states=looked, bound=math.inf, steady_from=slowdown)
        options: list[Option | None] = [None] * len(self._events)
        steady_from, after = self._steady_from(row, slowdown), row
        while after is not None:
            after, index, options[index] = after
        return Choice(cost, tuple(options), proven=True, states=looked, bound=cost, steady_from=steady_from)

    def _steady_from(self, row: Row | None, slowdown: float) -> float:
        """From which slowdown on a row that was chosen at `slowdown` is possible at the same cost."""
        least, reach, events = 0.0, slowdown * (1 + SHORT), self._events
        while row is not None and row[0] is not None:
            (_, early, first), late, option = row[0], row[1], row[2]
            needs, moves = self._arrivals[option.place]
            onset_s, _, _, hold_s, cut = events[early]
            gap_s = events[late][0] - onset_s
            least = max(least, needs[first.place] / gap_s)
            if cut and first.place != option.place and (gap_s - hold_s) * reach >= moves[first.place]:
                least = max(least, moves[first.place] / (gap_s - hold_s))
            row = row[0]
        return min(least, slowdown)

    def _best_row(self, slowdown: float) -> tuple[float, Row | None, int]:
        """What the best row of events saves, the row, and how many rows there were.

        The inner loop of fitting. A row that is cut, because its voice must leave before its last event has rung its share, saves
        less by `cut`, so one further down may still be better until what it saves is too little by itself.
        """
        arrivals = self._arrivals
        stretch = slowdown * (1 + SHORT)
        ranked: list[tuple[float, int, float, float, float, int, Row]] = []
        count = 0
        for index, onset_s, held_s, cut, ways in self._steps:
            now = onset_s * stretch
            held = held_s * stretch
            fresh = []
            for place, saves, option in ways:
                needs, moves = arrivals[place]
                best, before = 0.0, None
                for total, _, at, until, dear, start, row in reversed(ranked):
                    if total <= best:
                        break
                    if now - at >= needs[start]:
                        if start == place or now - until >= moves[start]:
                            best, before = total, row
                            break
                        if total - dear > best:
                            best, before = total - dear, row
                count += 1
                fresh.append((best + saves, count, now, held, cut, place, (before, index, option)))
            for one in fresh:
                if ranked and one < ranked[-1]:
                    insort(ranked, one)
                else:
                    ranked.append(one)
        return (ranked[-1][0], ranked[-1][6], count) if ranked else (0.0, None, 0)


def _exact(cost: float) -> float:
    """A cost on the grid."""
    return round(cost * _GRID) / _GRID
