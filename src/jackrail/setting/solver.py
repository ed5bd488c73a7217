"""The exact choice: which voice and place sounds each event, and which events are left out, at one tempo.

Dynamic programming over events in time order. The state is what still binds: for each voice that may not yet be free,
where it stands and since when. Two histories with the same state merge, the cheaper one stays. A voice is forgotten once
so much time has passed that it could be anywhere, so one travelling voice has a handful of states and many hammers next
to none. The result is the proven optimum unless the state limit was reached, and it says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise, zip_longest

from jackrail.motion.voice import Voice

MOST_STATES = 4000
_EPSILON_S = 1e-9
_SAME_SLOWDOWN = 1e-10


@dataclass(frozen=True)
class Option:
    """One way to sound an event: index of the voice and of its place, what it costs, octaves it is moved by.

    slid: the voice glides into it from the event it sounded before, and does not strike.
    """

    voice: int
    place: int
    cost: float
    octaves: int = 0
    slid: bool = False


@dataclass(frozen=True)
class Event:
    """Something to sound. onset_s: at the written tempo; lost: cost of leaving it out; options: ways to sound it.

    hold_s: at the written tempo, how long it should ring before its voice leaves for another place; cut: what it costs if that
    leaves sooner.
    """

    onset_s: float
    lost: float
    options: tuple[Option, ...]
    hold_s: float = 0.0
    cut: float = 0.0


@dataclass(frozen=True)
class Choice:
    """What was chosen for each event (None: left out), the total cost, and whether it is proven the least possible.

    states: how many states were looked at, a measure of work that is the same on every machine.
    """

    cost: float
    options: tuple[Option | None, ...]
    proven: bool
    states: int = 0


Chain = tuple["Chain | None", int, Option]
"""Events chosen so far, newest first: (earlier, event index, option)."""
Busy = tuple[int, int, float]
"""A voice that may not be free: its index, its place, the onset in seconds."""
State = tuple[Busy, ...]
Layer = dict[State, tuple[float, Chain | None]]


class Rules:
    """How soon after one onset a voice can sound the next: needs[voice][from][to] and, for free[voice][from], anywhere."""

    def __init__(self, voices: tuple[Voice, ...], least_ring_s: float) -> None:
        self.needs = [_needs(voice, least_ring_s) for voice in voices]
        self.free = [[max(row) for row in rows] for rows in self.needs]

    def longest_s(self, events: tuple[Event, ...]) -> float:
        """Seconds after which every voice that these events could use is free, wherever it stands."""
        used = {option.voice for event in events for option in event.options}
        return max((max(self.free[voice]) for voice in used), default=0.0)


def _needs(voice: Voice, least_ring_s: float) -> list[list[float]]:
    def need_s(start: int, end: int) -> float:
        return voice.rearm_s if start == end else max(voice.rearm_s, least_ring_s + voice.move_s[start][end])

    places = range(len(voice.places))
    return [[need_s(p, q) for q in places] for p in places]


def solve(events: tuple[Event, ...], rules: Rules, slowdown: float) -> Choice:
    """The cheapest choice with every onset times `slowdown` (1 is the written tempo, 2 is half as fast).

    Cost is the sum of the chosen options' costs and of `lost` for events left out. Events that have no voice in common,
    even through others, cannot hinder each other and are solved apart: hammers of different keys, most of all.
    """
    chosen: list[Option | None] = [None] * len(events)
    cost, proven, states = 0.0, True, 0
    for indices in _groups(events):
        group = tuple(events[index] for index in indices)
        choice = _solve_each(group) if _independent(group, rules, slowdown) else _solve_together(group, rules, slowdown)
        cost, proven, states = cost + choice.cost, proven and choice.proven, states + choice.states
        for index, option in zip(indices, choice.options, strict=True):
            chosen[index] = option
    return Choice(cost, tuple(chosen), proven, states)


def _groups(events: tuple[Event, ...]) -> list[list[int]]:
    """Indices of the events that share voices, directly or through others, in time order; one without options is alone."""
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


def _solve_together(events: tuple[Event, ...], rules: Rules, slowdown: float) -> Choice:
    layer: Layer = {(): (0.0, None)}
    proven, states = True, 0
    for index, event in enumerate(events):
        layer = _after(layer, index, event, event.onset_s * slowdown, rules)
        states += len(layer)
        if len(layer) > MOST_STATES:
            proven = False
            layer = dict(sorted(layer.items(), key=lambda item: item[1][0])[:MOST_STATES])
    cost, chain = min(layer.values(), key=lambda value: value[0])
    return Choice(cost, _unwind(chain, len(events)), proven, states)


def _after(layer: Layer, index: int, event: Event, now: float, rules: Rules) -> Layer:
    """The states after one event: each state leaves it out, or sounds it by each option that its voice is ready for.

    The inner loop of fitting: plain tuples and tests in the order that ends soonest.
    """
    following: Layer = {}
    needs, free = rules.needs, rules.free
    sounding = [(option, (option.voice, option.place, now)) for option in event.options]
    for state, (cost, chain) in layer.items():
        busy = tuple(b for b in state if now - b[2] < free[b[0]][b[1]] - _EPSILON_S)
        _offer(following, busy, cost + event.lost, chain)
        for option, begins in sounding:
            for voice, place, since in busy:
                if voice == option.voice and now - since < needs[voice][place][option.place] - _EPSILON_S:
                    break
            else:
                others = [b for b in busy if b[0] != option.voice]
                after = tuple(sorted((*others, begins))) if others else (begins,)
                _offer(following, after, cost + option.cost, (chain, index, option))
    return following


def _offer(layer: Layer, state: State, cost: float, chain: Chain | None) -> None:
    """Keep a way into a state when it is the first or the cheapest."""
    known = layer.get(state)
    if known is None or cost < known[0]:
        layer[state] = (cost, chain)


def _independent(events: tuple[Event, ...], rules: Rules, slowdown: float) -> bool:
    """Whether events stand so far apart that none can hinder another."""
    longest_s = rules.longest_s(events)
    return all((b.onset_s - a.onset_s) * slowdown >= longest_s for a, b in pairwise(events))


def _solve_each(events: tuple[Event, ...]) -> Choice:
    best = [min(event.options, key=lambda option: option.cost, default=None) for event in events]
    chosen = tuple(option if option is not None and option.cost < event.lost else None for option, event in zip(best, events, strict=True))
    cost = sum(event.lost if option is None else option.cost for option, event in zip(chosen, events, strict=True))
    return Choice(cost, chosen, proven=True)


def _unwind(chain: Chain | None, count: int) -> tuple[Option | None, ...]:
    options: list[Option | None] = [None] * count
    while chain is not None:
        chain, index, option = chain
        options[index] = option
    return tuple(options)


def critical_slowdowns(events: tuple[Event, ...], rules: Rules, most: float) -> list[float]:
    """Every slowdown in (1, most] at which some move between two events just becomes possible, in rising order.

    Between two neighbours of this list nothing changes, so the best tempo is 1 or one of these: an exact search.
    """
    found: set[float] = set()
    longest_s = rules.longest_s(events)
    for later, event in enumerate(events):
        for earlier in range(later - 1, -1, -1):
            gap = event.onset_s - events[earlier].onset_s
            if gap >= longest_s:
                break
            if gap > 0:
                pairs = ((a, b) for a in events[earlier].options for b in event.options if a.voice == b.voice)
                found.update(rules.needs[a.voice][a.place][b.place] / gap for a, b in pairs)
    within = sorted(ratio for ratio in found if 1.0 < ratio <= most)
    # Equal ratios differ in their last digits: of each such bunch the largest serves, at which all its moves are possible.
    return [a for a, b in zip_longest(within, within[1:], fillvalue=math.inf) if b - a > _SAME_SLOWDOWN]
