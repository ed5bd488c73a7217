"""What the exact choice is about: events in time, the ways to sound each, what binds them, and what was chosen.

Events and options are made by the thousand for each key that is looked at, so they are named tuples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from jackrail.motion.voice import Voice

SHORT = 1e-10
"""Share by which a slowdown may fall short of a critical one and still serve: gaps of onsets are not exact."""


class Option(NamedTuple):
    """One way to sound an event: index of the voice and of its place, what it costs, octaves it is moved by.

    slid: the voice glides into it from the event it sounded before, and does not strike.
    """

    voice: int
    place: int
    cost: float
    octaves: int = 0
    slid: bool = False


class Event(NamedTuple):
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

    states: how many states were looked at, a measure of work that is the same on every machine. bound: no choice costs less; the
    cost itself when that is proven. steady_from: from this slowdown on these options are possible at this cost.
    """

    cost: float
    options: tuple[Option | None, ...]
    proven: bool
    states: int = 0
    bound: float = -math.inf
    steady_from: float = 0.0


class Sounded(NamedTuple):
    """An event that a voice sounds, and how; struck_s: when it last struck, at the written tempo, its onset unless it slid into it."""

    event: Event
    option: Option
    struck_s: float


class Link(NamedTuple):
    """A voice going from one sounded event straight to the next.

    possible_from: the least slowdown at which it can; uncut_from: at which the first event rings its share; cut: what it costs below.
    """

    possible_from: float
    uncut_from: float
    cut: float

    def cost(self, slowdown: float) -> float:
        """What it costs, infinity where it cannot be."""
        reach = slowdown * (1 + SHORT)
        if reach < self.possible_from:
            return math.inf
        return 0.0 if reach >= self.uncut_from else self.cut


class Rules:
    """How soon after one onset a voice can sound the next: needs[voice][from][to] and, for free[voice][from], anywhere.

    A voice that strikes must be re-armed since its last strike, and when it moves its note must have spoken for `least_ring_s` before.
    One that slides need not be re-armed, but the string must still ring: at the slowest tempo, `least_tempo`, no more than
    `RINGS_ON` of the time in which it fades by 60 dB may have passed since the strike. So slower is never dearer.
    moves[voice][from][to]: the travel alone, see `Voice.move_s`.
    """

    def __init__(self, voices: tuple[Voice, ...], least_ring_s: float, least_tempo: float = 1.0) -> None:
        self.voices, self.least_ring_s = voices, least_ring_s
        self.needs = [_needs(voice, least_ring_s) for voice in voices]
        self.free = [[max(row) for row in rows] for rows in self.needs]
        self.moves = [voice.move_s for voice in voices]
        self.moves_free = [[max(row) for row in rows] for rows in self.moves]
        self.slides_within_s = [RINGS_ON * voice.ring_s * least_tempo for voice in voices]

    def longest_s(self, events: Sequence[Event]) -> float:
        """Seconds after which every voice that these events could use is free, wherever it stands."""
        used = {option.voice for event in events for option in event.options}
        return max((max(self.free[voice]) for voice in used), default=0.0)

    def slides(self, events: Sequence[Event]) -> bool:
        """Whether some event may be slid into."""
        return any(option.slid for options in {id(event.options): event.options for event in events}.values() for option in options)

    def link(self, before: Sounded, after: Event, option: Option) -> Link:
        """A voice going from `before` straight to sounding `after` by `option`, one of the same voice."""
        v, p, q = option.voice, before.option.place, option.place
        gap_s, since_strike_s = after.onset_s - before.event.onset_s, after.onset_s - before.struck_s
        if option.slid:
            if p == q or since_strike_s > self.slides_within_s[v] * (1 + SHORT):
                return NEVER
            travel_s = self.voices[v].slide_s[p][q]
            possible_from = slowdown_for(self.least_ring_s + travel_s, gap_s)
        elif before.option.slid:
            travel_s = self.moves[v][p][q]
            possible_from = max(slowdown_for(self.least_ring_s + travel_s, gap_s), slowdown_for(self.voices[v].rearm_s, since_strike_s))
        else:
            travel_s, possible_from = self.moves[v][p][q], slowdown_for(self.needs[v][p][q], gap_s)
        if p == q or not before.event.cut:
            return Link(possible_from, 0.0, 0.0)
        return Link(possible_from, slowdown_for(travel_s, gap_s - before.event.hold_s), before.event.cut)

    @cached_property
    def arrivals(self) -> list[list[tuple[list[float], list[float]]]]:
        """[voice][to]: `needs` and `moves` from each place."""
        return [
            [([row[to] for row in needs], [row[to] for row in moves]) for to in range(len(needs))]
            for needs, moves in zip(self.needs, self.moves, strict=True)
        ]


NEVER = Link(math.inf, 0.0, 0.0)
RINGS_ON = 1 / 3
"""A string still rings for a slide until it is 20 dB down, a third of the way to 60 dB. Common practice, no source."""


def slowdown_for(need_s: float, have_s: float) -> float:
    """The least slowdown at which what there is grows to what is needed, both taken at the written tempo."""
    return 0.0 if need_s <= 0 else need_s / have_s if have_s > 0 else math.inf


def _needs(voice: Voice, least_ring_s: float) -> list[list[float]]:
    def need_s(start: int, end: int) -> float:
        return voice.rearm_s if start == end else max(voice.rearm_s, least_ring_s + voice.move_s[start][end])

    places = range(len(voice.places))
    return [[need_s(p, q) for q in places] for p in places]


def steady_from(events: Sequence[Event], options: Sequence[Option | None], rules: Rules, slowdown: float) -> float:
    """The least slowdown from which on, up to `slowdown`, options chosen there are possible at the same cost."""
    last: dict[int, Sounded] = {}
    least = 0.0
    for event, option in zip(events, options, strict=True):
        if option is None:
            continue
        before = last.get(option.voice)
        if before is not None:
            possible_from, uncut_from, _ = rules.link(before, event, option)
            least = max(least, possible_from, uncut_from if uncut_from <= slowdown * (1 + SHORT) else 0.0)
        last[option.voice] = Sounded(event, option, before.struck_s if option.slid and before is not None else event.onset_s)
    return min(least, slowdown)
