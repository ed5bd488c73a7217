"""The grid of the beat: how human-played notes lie on it, and moving them onto it.

Each beat (a quarter, in compound metres such as 6/8 the dotted one) is divided evenly: straight into 1, 2, 4, 8 or 16, in triplets
into 3, 6 or 12; a compound beat into 1, 3, 6, 12 or 24, or straight into 2 or 4; either into 48 where nothing else keeps notes
apart. The division taken is the one of least cost

    sum over the onsets of ((distance / spread)^2 / 2 + ln(division))  -  ln(how often the tune uses that division)

which is the likeliest one where hands scatter by a normal distribution and all places of a division are equally likely. Spread and
frequencies are not known beforehand, so the beats are fitted three times: first with the guesses below, where a finer division costs
more, then with what the last fit found, the guesses still counting as `_GUESS_WEIGHS` beats. A division that would put two notes of
a row on one place is not taken.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import cos, exp, hypot, log, pi, sin, sqrt

from jackrail.tune.model import Bar, Quarters, TuneNote, beat_length_q

from .line import TOGETHER_Q, lingers

_SIMPLE = {1: 0.0, 2: 0.5, 4: 1.5, 3: 3.0, 6: 5.0, 8: 5.0, 12: 8.0, 16: 8.0, 48: 12.0}
_COMPOUND = {1: 0.0, 3: 0.5, 6: 1.5, 2: 3.5, 4: 4.5, 12: 5.0, 24: 8.0, 48: 12.0}
"""Division of a beat -> what it costs at first, in nats. Judgements, no source: fiddle tunes are straight or in triplets, seldom finer."""
_FINEST = 48
_GUESS_WEIGHS = 4.0
_FITS = 3
_FIRST_SPREAD, _LEAST_SPREAD, _MOST_SPREAD = 0.03, 0.008, 0.06
"""How far hands scatter, as a share of the beat: at first 18 ms of a beat of 0.6 s. A judgement, no source."""
_JOINED_Q = Fraction(1, 8)
"""A note that ends nearer than this to the next onset is joined to it."""
_FEWEST_ONSETS = 16
_WANDERING = 0.3
_HEAPS = (1, 2, 3, 4, 6, 8)


@dataclass(frozen=True)
class _Beat:
    start_q: Quarters
    length_q: Quarters
    compound: bool

    def phase(self, moment: Quarters) -> float:
        """How far into the beat, 0 to 1; the last beat goes on for ever."""
        return float((moment - self.start_q) / self.length_q)

    def nearest(self, moment: Quarters, division: int) -> Quarters:
        """The place nearest to `moment`."""
        return self.start_q + self.length_q * Fraction(round((moment - self.start_q) / self.length_q * division), division)

    def after(self, moment: Quarters, division: int) -> Quarters:
        """The first place after `moment`."""
        return self.start_q + self.length_q * Fraction(int((moment - self.start_q) / self.length_q * division) + 1, division)


def by_hand(onsets: Sequence[int], ticks_per_quarter: int) -> bool:
    """Whether onsets (ticks) were played by hand: most lie on no 24th of a quarter, which is every usual division of the beat.

    A file of few ticks a quarter cannot tell: there all places are near a 24th. False for fewer than 16 onsets.
    """
    chance = 1 - min(1.0, 24 * 3 / ticks_per_quarter)  # of a random tick to be more than one tick off
    off = sum(24 < (tick * 24) % ticks_per_quarter < ticks_per_quarter - 24 for tick in onsets)
    return len(onsets) >= _FEWEST_ONSETS and chance >= 0.2 and off >= 0.5 * chance * len(onsets)


def follows_beat(notes: Sequence[TuneNote], bars: Sequence[Bar]) -> bool:
    """Whether the notes keep to the beats of the bars at all, False for a recording made without hearing them.

    The onsets of a beat divided by n are angles of n turns; whatever the division, in played music they heap up at some n, so that
    the mean of their unit vectors is long (Rayleigh's test): at random it is about 1/sqrt(onsets). True for fewer than 16 onsets.
    """
    grid = _Grid(bars)
    onsets = {note.onset_q for note in notes}
    if len(onsets) < _FEWEST_ONSETS or not bars:
        return True
    angles = [2 * pi * grid.beat_at(onset).phase(onset) for onset in onsets]
    least = max(_WANDERING, 2.5 / sqrt(len(angles))) * len(angles)
    return any(hypot(sum(cos(n * angle) for angle in angles), sum(sin(n * angle) for angle in angles)) >= least for n in _HEAPS)


def quantised(notes: Sequence[TuneNote], bars: Sequence[Bar], strength: float) -> tuple[TuneNote, ...]:
    """The notes (in time order) moved towards their places on the grid by `strength`, 0 (as played) to 1 (onto them).

    Ends move too: to the next onset's place where they lie within a 32nd of it, else to the nearest 16th or triplet of their beat.
    Notes of a chord begin together. No note is lost or of no length, and none overtakes another. Needs bars; without them and
    at strength 0 the notes come back as they are.
    """
    if not bars or not notes or strength <= 0:
        return tuple(notes)
    share = Fraction(strength).limit_denominator(1000)
    grid = _Grid(bars)
    heads = _heads(notes)
    onsets = list(dict.fromkeys(heads))
    grid.fit(onsets)
    places = grid.places(onsets)
    moved = []
    for note, head in zip(notes, heads, strict=True):
        index = bisect_left(onsets, head)
        end_q = note.onset_q + note.duration_q
        onset_q = note.onset_q + share * (places[index] - note.onset_q)
        new_end_q = end_q + share * (grid.end_place(end_q, index, onsets, places) - end_q)
        moved.append(replace(note, onset_q=onset_q, duration_q=new_end_q - onset_q))
    return tuple(sorted(moved, key=lambda note: (note.onset_q, note.midi)))


def _heads(notes: Sequence[TuneNote]) -> list[Quarters]:
    """For each note the onset of the chord it belongs to: its own, or that of the first of notes struck not quite at once."""
    heads: list[Quarters] = []
    first = notes[0]
    for note in notes:
        together = note.onset_q - first.onset_q < TOGETHER_Q and not lingers(_span(first), _span(note))
        if note.onset_q != first.onset_q and not together:
            first = note
        heads.append(first.onset_q)
    return heads


def _span(note: TuneNote) -> tuple[Quarters, Quarters, int]:
    return (note.onset_q, note.onset_q + note.duration_q, note.midi)


class _Grid:
    """The beats of a tune, each with the division fitted to it."""

    def __init__(self, bars: Iterable[Bar]) -> None:
        self._beats: list[_Beat] = []
        self._divisions: dict[int, int] = {}  # index of a beat -> its division, where something begins in it
        for bar in bars:
            length_q = beat_length_q(bar.beats, bar.beat_unit)
            compound = length_q == Fraction(12, bar.beat_unit) and length_q <= Fraction(3, 2)
            if length_q > 1 and not compound:
                length_q = Fraction(1)
            start_q = bar.onset_q - bar.starts_q % length_q
            while start_q < bar.onset_q + bar.length_q:
                self._beats.append(_Beat(start_q, length_q, compound))
                start_q += length_q
        self._starts = [beat.start_q for beat in self._beats]

    def _index(self, moment: Quarters) -> int:
        return max(0, bisect_right(self._starts, moment) - 1)

    def beat_at(self, moment: Quarters) -> _Beat:
        return self._beats[self._index(moment)]

    def fit(self, onsets: Iterable[Quarters]) -> None:
        """Find the division of each beat that has onsets, by the rule of the module."""
        held: dict[int, list[float]] = {}
        for onset in onsets:
            index = self._index(onset)
            held.setdefault(index, []).append(self._beats[index].phase(onset))
        spread = _FIRST_SPREAD
        for _ in range(_FITS):
            costs = {compound: self._costs(compound=compound) for compound in (False, True)}
            self._divisions = {at: _division(phases, costs[self._beats[at].compound], spread) for at, phases in held.items()}
            squares = [_distance(phase, self._divisions[at]) ** 2 for at, phases in held.items() for phase in phases]
            spread = min(_MOST_SPREAD, max(_LEAST_SPREAD, sqrt(sum(squares) / len(squares))))

    def _costs(self, *, compound: bool) -> dict[int, float]:
        """- ln of how often each division is used so far, the guess counting as `_GUESS_WEIGHS` beats."""
        used = Counter(division for at, division in self._divisions.items() if self._beats[at].compound == compound)
        guess = _COMPOUND if compound else _SIMPLE
        whole = sum(exp(-cost) for cost in guess.values())
        beats = used.total() + _GUESS_WEIGHS
        return {division: -log((used[division] + _GUESS_WEIGHS * exp(-cost) / whole) / beats) for division, cost in guess.items()}

    def places(self, onsets: Iterable[Quarters]) -> list[Quarters]:
        """The place of each onset; one that would not come after the one before goes to the next fine place that does."""
        places: list[Quarters] = []
        for onset in onsets:
            at = self._index(onset)
            place = self._beats[at].nearest(onset, self._divisions[at])
            if places and place <= places[-1]:
                place = self._beats[at].after(places[-1], _FINEST)
            places.append(place)
        return places

    def end_place(self, end_q: Quarters, index: int, onsets: Sequence[Quarters], places: Sequence[Quarters]) -> Quarters:
        """Where a note goes to end that belongs to the onset number `index`, always after the place of that."""
        after = bisect_left(onsets, end_q, index + 1)
        near = [other for other in (after - 1, after) if index < other < len(onsets) and abs(onsets[other] - end_q) <= _JOINED_Q]
        if near:
            return places[min(near, key=lambda other: abs(onsets[other] - end_q))]
        at = self._index(end_q)
        beat, division = self._beats[at], self._divisions.get(at, 1)
        if division in {1, 2, 3}:  # so few onsets say little of where notes end
            division = 6 if beat.compound or division == 3 else 4
        place = beat.nearest(end_q, division)
        if after < len(onsets):
            place = min(place, places[after])
        if place <= places[index]:
            place = beat.after(places[index], division)
            place = min(place, places[index + 1]) if index + 1 < len(places) else place
        return place


def _division(phases: Sequence[float], costs: dict[int, float], spread: float) -> int:
    """The cheapest division that keeps the onsets of a beat apart, the finest where none does."""

    def cost(division: int) -> float:
        return costs[division] + len(phases) * log(division) + sum(_distance(phase, division) ** 2 for phase in phases) / (2 * spread**2)

    apart = [division for division in costs if len({round(phase * division) for phase in phases}) == len(phases)]
    return min(apart, key=cost, default=_FINEST)


def _distance(phase: float, division: int) -> float:
    return phase - round(phase * division) / division
