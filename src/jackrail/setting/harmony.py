"""Chords for a tune that has none, proposed from the machine's own chord bars: marked as proposed, never passed off as written.

The tune is cut at its bar lines, long bars at their half too. Each span costs something for each chord of the machine, moved back
into the written key, and for silence: the share of the melody that is outside the chord, weighed by length and accent, and what
wishes there are for beginning and cadence. A change of chord costs too. The cheapest row of chords is found exactly (Viterbi 1967).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, moved_signature, moved_symbol, parse_chord
from jackrail.tune.inference.viterbi import best_path
from jackrail.tune.model import NO_CHORD, ChordSymbol, KeyMark, Tune

from .spans import Span, clash, spans_of

SILENCE = 0.6
"""A bar without a chord, where a bar with no note of its chord is 1."""
COLOUR = 0.1
"""A bar of a chord, for each tone beyond three: else the larger of two chords would always be nearer to the melody."""
RARE = 0.05
"""A bar of a chord that stands on neither tonic, subdominant nor dominant."""
FOREIGN = 0.05
"""A bar of a chord with a tone outside the scale."""
CHANGE, FALLING_FIFTH = 0.05, 0.025
"""A change of chord, and one from a chord to that a fifth below, the commonest."""
NOT_HOME = 0.3
"""The first or the last chord is not that of the tonic."""
NO_CADENCE = 0.05
"""The chord before the last is neither dominant nor subdominant, nor in a mode without leading note the one below the tonic."""


@dataclass(frozen=True)
class Proposal:
    """Chords for one key, named in the written key, and what they cost in bars that have nothing in common with their chord."""

    chords: tuple[ChordSymbol, ...]
    cost: float

    def added_to(self, tune: Tune) -> Tune:
        """`tune` with these chords, marked as proposed."""
        return replace(tune, chords=self.chords, harmony="proposed") if self.chords else tune


def with_harmony(tune: Tune, wanted: str) -> Tune:
    """`tune` with such chords only as `Wishes.harmony` allows."""
    unwanted = wanted == "none" or (wanted == "written" and tune.harmony in ("estimated", "proposed"))
    return replace(tune, chords=(), harmony="") if tune.chords and unwanted else tune


def chord_bars(voices: Iterable[Voice]) -> list[str]:
    """Names of the machine's chord bars, one for each set of tones. The machine file refuses a name that cannot be read."""
    found: dict[frozenset[int], str] = {}
    for voice in voices:
        if voice.part == "chord":
            found.setdefault(parse_chord(voice.chord).classes, voice.chord)
    return list(found.values())


class Proposer:
    """Proposes chords for a tune from the chord bars of these names, for one transposition at a time."""

    def __init__(self, tune: Tune, bars: Sequence[str]) -> None:
        self._tune, self._bars = tune, bars
        self._known: dict[frozenset[int], list[float]] = {}

    def proposal(self, transpose: int) -> Proposal:
        """The cheapest chords where the machine plays so many semitones higher than written, 0 to 11."""
        chords = [parse_chord(bar).transposed(-transpose) for bar in self._bars]
        costs = span_costs(self._spans, chords, [self._clashes(chord) for chord in chords])
        path, cost = best_path(costs, change_costs(chords))
        symbols: list[ChordSymbol] = []
        for span, choice, before in zip(self._spans, path, [len(chords), *path], strict=False):
            if choice != before:
                symbols.append(ChordSymbol(span.onset_q, self._named(choice, transpose, span)))
        return Proposal(tuple(symbols), cost)

    def _named(self, choice: int, transpose: int, span: Span) -> str:
        """The bar chosen for a span, named in the written key; the last choice is silence."""
        if choice == len(self._bars):
            return NO_CHORD
        sharps = self._tune.sharps_at(span.onset_q)
        return moved_symbol(self._bars[choice], -transpose, moved_signature(sharps, transpose))

    @cached_property
    def _spans(self) -> list[Span]:
        return spans_of(self._tune)

    def _clashes(self, chord: Chord) -> list[float]:
        """The cost of a chord for each span, worked out once for all the keys in which some bar gives it."""
        if chord.classes not in self._known:
            self._known[chord.classes] = [clash(span, chord.classes) for span in self._spans]
        return self._known[chord.classes]


def propose(tune: Tune, bars: Sequence[str], transpositions: Iterable[int]) -> dict[int, Proposal]:
    """The cheapest chords for each transposition (0 to 11 semitones) from the chord bars of these names."""
    proposer = Proposer(tune, bars)
    return {transpose: proposer.proposal(transpose) for transpose in transpositions}


def change_costs(chords: Sequence[Chord]) -> list[list[float]]:
    """What it costs to go from each chord, or from silence, the last, to each other."""

    def change(a: int, b: int) -> float:
        if a == b:
            return 0.0
        falls = max(a, b) < len(chords) and (chords[a].root - chords[b].root) % 12 == 7
        return FALLING_FIFTH if falls else CHANGE

    every = range(len(chords) + 1)
    return [[change(a, b) for b in every] for a in every]


def span_costs(spans: Sequence[Span], chords: Sequence[Chord], clashes: Sequence[Sequence[float]]) -> list[list[float]]:
    """For each span what each chord costs, and at the end of the row what silence costs. clashes: as of `clash`, by chord and span."""
    odd = {id(key): [_oddity(chord, key) for chord in chords] for key in {id(span.key): span.key for span in spans}.values()}
    costs = [
        [span.size * (clashes[c][s] + odd[id(span.key)][c]) for c in range(len(chords))] + [span.size * SILENCE]
        for s, span in enumerate(spans)
    ]
    if not costs:
        return costs
    for at, wish in ((0, _home), (-1, _home), (-2, _leads_home)):
        key = spans[max(at, -len(spans))].key
        wished = [] if key is None or key.tonic_fifths is None or len(spans) < abs(at) else [wish(chord, key) for chord in chords]
        if any(wished):
            dear = NO_CADENCE if at == -2 else NOT_HOME
            costs[at] = [cost + (0.0 if fits else dear) for cost, fits in zip(costs[at], [*wished, False], strict=True)]
    return costs


def _oddity(chord: Chord, key: KeyMark | None) -> float:
    """What a bar of a chord costs whatever the melody. The leading note of a minor key belongs to its scale as well."""
    cost = COLOUR * max(0, len(chord.classes) - 3)
    if key is None:
        return cost
    scale = {7 * fifths % 12 for fifths in range(key.sharps - 1, key.sharps + 6)}
    if key.tonic_fifths is not None:
        tonic = 7 * key.tonic_fifths % 12
        scale |= {(tonic - 1) % 12} if key.minor else set()
        cost += 0.0 if (chord.root - tonic) % 12 in (0, 5, 7) else RARE
    return cost + (0.0 if chord.classes <= scale else FOREIGN)


def _home(chord: Chord, key: KeyMark) -> bool:
    """Whether it stands on the tonic, with the third of the mode."""
    tonic = 7 * (key.tonic_fifths or 0) % 12
    return chord.root == tonic and (tonic + (4 if key.minor else 3)) % 12 not in chord.classes


def _leads_home(chord: Chord, key: KeyMark) -> bool:
    """Whether it commonly comes before the last: V, IV, and the tone below the tonic in modes where that is a whole tone."""
    degree = (chord.root - 7 * (key.tonic_fifths or 0)) % 12
    return degree in ((7, 5, 10) if key.minor or key.mode == "mixolydian" else (7, 5))
