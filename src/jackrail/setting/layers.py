"""The exact choice for events of several voices, and for slides.

Dynamic programming over events in time order. The state is what still binds: for each voice that may not yet be free, or might be
cut short, or slid on, the event it sounded last. Two histories with the same state merge, the cheaper one stays. A voice is
forgotten once so much time has passed that it could be anywhere, so a few voices have a handful of states. The result is the proven
optimum unless the state limit was reached, and it says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from .events import SHORT, Choice, Event, Link, Option, Rules, Sounded, steady_from

MOST_STATES = 4000
Chain = tuple["Chain | None", int, Option]
"""Events chosen so far, newest first: (earlier, event index, option)."""
Busy = tuple[int, int, int, float]
"""A voice that is still bound: its index, that of the event it sounded last, of the option there, its last strike in seconds."""
State = tuple[Busy, ...]
Layer = dict[State, tuple[float, Chain | None]]


class Layers:
    """Events in time order, prepared for choosing at any slowdown."""

    def __init__(self, events: Sequence[Event], rules: Rules) -> None:
        self._events, self._rules = events, rules
        self._slides = {option.voice for event in events for option in event.options if option.slid}
        self._links: dict[tuple[Busy, int, int], Link] = {}

    def decided(self, does: Mapping[int, int | None]) -> Layers:
        """The same events of which some, by their index, are to sound moved by so many octaves, or with None are to be left out."""
        events = list(self._events)
        for index, octaves in does.items():
            options = tuple(option for option in events[index].options if option.octaves == octaves)
            events[index] = events[index]._replace(options=options, lost=events[index].lost if octaves is None else math.inf)
        return Layers(events, self._rules)

    def at(self, slowdown: float) -> Choice:
        """The cheapest choice with every onset times `slowdown`; infinite where what is decided cannot be."""
        layer: Layer = {(): (0.0, None)}
        states, dropped = 0, math.inf
        for index in range(len(self._events)):
            layer = self._after(layer, index, slowdown)
            states += len(layer)
            if len(layer) > MOST_STATES:
                ranked = sorted(layer.items(), key=lambda item: item[1][0])
                layer = dict(ranked[:MOST_STATES])
                dropped = min(dropped, ranked[MOST_STATES][1][0] + self._least_after(index))
        cost, chain = min(layer.values(), key=lambda value: value[0])
        options = _unwind(chain, len(self._events))
        steady = steady_from(self._events, options, self._rules, slowdown)
        return Choice(cost, options, dropped >= cost, states, min(cost, dropped), steady)

    def bound(self, slowdown: float) -> float:
        """What no choice costs less than."""
        return self.at(slowdown).bound

    def _least_after(self, index: int) -> float:
        """What the events after one cost at the least, each by itself at its cheapest."""
        return sum(min([event.lost, *(option.cost for option in event.options)]) for event in self._events[index + 1 :])

    def _after(self, layer: Layer, index: int, slowdown: float) -> Layer:
        """The states after one event: each state leaves it out, or sounds it by each option that its voice is ready for."""
        following: Layer = {}
        event = self._events[index]
        for state, (cost, chain) in layer.items():
            bound = tuple(busy for busy in state if self._binds(busy, event.onset_s, slowdown))
            _offer(following, bound, cost + event.lost, chain)
            for number, option in enumerate(event.options):
                before = next((busy for busy in bound if busy[0] == option.voice), None)
                if before is None and option.slid:
                    continue
                joined = 0.0 if before is None else self._link_cost(before, index, number, slowdown)
                if joined < math.inf:
                    struck_s = before[3] if option.slid and before is not None else event.onset_s
                    after = tuple(sorted((*(b for b in bound if b is not before), (option.voice, index, number, struck_s))))
                    _offer(following, after, cost + option.cost + joined, (chain, index, option))
        return following

    def _link_cost(self, before: Busy, index: int, number: int, slowdown: float) -> float:
        """What it costs a voice to go on, infinity where it cannot. Links are worked out once for all slowdowns."""
        key = before, index, number
        link = self._links.get(key)
        if link is None:
            event = self._events[index]
            link = self._links[key] = self._rules.link(self._sounded(before), event, event.options[number])
        return link.cost(slowdown)

    def _sounded(self, busy: Busy) -> Sounded:
        _, index, number, struck_s = busy
        return Sounded(self._events[index], self._events[index].options[number], struck_s)

    def _binds(self, busy: Busy, now_s: float, slowdown: float) -> bool:
        """Whether it matters at a moment what a voice sounded last: not free, or it may be cut, or slid from."""
        voice, index, number, struck_s = busy
        event, rules = self._events[index], self._rules
        place, gap_s, reach = event.options[number].place, now_s - event.onset_s, slowdown * (1 + SHORT)
        if gap_s * reach < rules.free[voice][place]:
            return True
        if event.cut and (gap_s - event.hold_s) * reach < rules.moves_free[voice][place]:
            return True
        return voice in self._slides and now_s - struck_s <= rules.slides_within_s[voice] * (1 + SHORT)


def _offer(layer: Layer, state: State, cost: float, chain: Chain | None) -> None:
    """Keep a way into a state when it is the first or the cheapest."""
    known = layer.get(state)
    if known is None or cost < known[0]:
        layer[state] = (cost, chain)


def _unwind(chain: Chain | None, count: int) -> tuple[Option | None, ...]:
    options: list[Option | None] = [None] * count
    while chain is not None:
        chain, index, option = chain
        options[index] = option
    return tuple(options)
