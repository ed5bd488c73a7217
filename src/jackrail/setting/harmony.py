"""Chords for a tune that has none, proposed from the machine's own chord bars: marked as proposed, never passed off as written.

The tune is cut at its bar lines, long bars at their half too. Each span costs something for each chord of the machine, moved back
into the written key, and for silence: the share of the melody that is outside the chord, weighed by length and accent, and what
wishes there are for beginning and cadence. A change of chord costs too. The cheapest row of chords is found exactly (Viterbi 1967).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter

from jackrail.faults import BadInput
from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, moved_signature, moved_symbol, parse_chord
from jackrail.tune.inference.viterbi import best_path
from jackrail.tune.model import NO_CHORD, ChordSymbol, KeyMark, Quarters, Tune, TuneNote, beat_length_q

from .taste import accent

SILENCE = 0.6
"""A bar without a chord, where a bar with no note of its chord is 1."""
PASSING = 0.4
"""What is left of the cost of a note between two chord tones a step away, off the first beat."""
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
SPAN_Q = Fraction(4)
"""Length of a span in a tune without bars."""


@dataclass(frozen=True)
class Proposal:
    """Chords for one key, named in the written key, and what they cost in bars that have nothing in common with their chord."""

    chords: tuple[ChordSymbol, ...]
    cost: float

    def added_to(self, tune: Tune) -> Tune:
        """`tune` with these chords, marked as proposed."""
        return replace(tune, chords=self.chords, harmony="proposed") if self.chords else tune


@dataclass(frozen=True)
class Span:
    """A stretch of the tune with one chord. size: in bars. tones: pitch class, weight, and the classes a step before and after or -1.

    weight: of all tones together. key: the one in force.
    """

    onset_q: Quarters
    size: float
    tones: tuple[tuple[int, float, int, int], ...]
    weight: float
    key: KeyMark | None = None


def with_harmony(tune: Tune, wanted: str) -> Tune:
    """`tune` with such chords only as `Wishes.harmony` allows."""
    unwanted = ("estimated", "proposed") if wanted == "written" else ("written", "estimated", "proposed", "") if wanted == "none" else ()
    return replace(tune, chords=(), harmony="") if tune.chords and tune.harmony in unwanted else tune


def chord_bars(voices: Iterable[Voice]) -> list[str]:
    """Names of the machine's chord bars, one for each set of tones; bars without a name that can be read are left out."""
    found: dict[frozenset[int], str] = {}
    for voice in voices:
        if voice.part == "chord":
            try:
                found.setdefault(parse_chord(voice.chord).classes, voice.chord)
            except BadInput:
                continue
    return list(found.values())


def propose(tune: Tune, bars: Sequence[str], transpositions: Iterable[int]) -> dict[int, Proposal]:
    """The cheapest chords for each transposition (0 to 11 semitones) from the chord bars of these names."""
    spans = spans_of(tune)
    known: dict[frozenset[int], list[float]] = {}

    def clashes(chord: Chord) -> list[float]:
        """The cost of a chord for each span, worked out once for all the keys in which some bar gives it."""
        if chord.classes not in known:
            known[chord.classes] = [clash(span, chord.classes) for span in spans]
        return known[chord.classes]

    return {key: _propose(tune, spans, bars, key, clashes) for key in transpositions}


def _propose(tune: Tune, spans: Sequence[Span], bars: Sequence[str], transpose: int, clashes: Callable[[Chord], list[float]]) -> Proposal:
    chords = [parse_chord(bar).transposed(-transpose) for bar in bars]
    costs = span_costs(spans, chords, [clashes(chord) for chord in chords])
    path, cost = best_path(costs, change_costs(chords))
    symbols: list[ChordSymbol] = []
    for span, choice, before in zip(spans, path, [len(bars), *path], strict=False):
        if choice != before:
            sharps = tune.sharps_at(span.onset_q)
            name = moved_symbol(bars[choice], -transpose, moved_signature(sharps, transpose)) if choice < len(bars) else NO_CHORD
            symbols.append(ChordSymbol(span.onset_q, name))
    return Proposal(tuple(symbols), cost)


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


def clash(span: Span, classes: frozenset[int]) -> float:
    """The weighed share, 0 to 1, of the melody that is outside a chord; notes passing between its tones count `PASSING`."""
    if not span.weight:
        return 0.0
    outside = ((weight, before in classes and after in classes) for tone, weight, before, after in span.tones if tone not in classes)
    return sum(weight * (PASSING if passing else 1.0) for weight, passing in outside) / span.weight


def _key_at(tune: Tune, onset_q: Quarters) -> KeyMark | None:
    return next((mark for mark in reversed(tune.keys) if mark.onset_q <= onset_q), None)


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


def spans_of(tune: Tune) -> list[Span]:
    """The spans from the first downbeat on that sounds to the last note. Bars of four felt beats and more are two spans."""
    end_q = max(note.onset_q + note.duration_q for note in tune.notes)
    cuts = _cuts(tune, end_q)
    first = next((index for index, (_, until_q, _) in enumerate(cuts) if tune.notes[0].onset_q < until_q), 0)
    cuts = cuts[first:]
    tones: list[list[tuple[int, float, int, int]]] = [[] for _ in cuts]
    for note in _weighed(tune):
        for index in range(max(0, bisect_right(cuts, note.onset_q, key=itemgetter(0)) - 1), len(cuts)):
            onset_q, until_q, _ = cuts[index]
            if note.end_q <= onset_q:
                break
            sounding_q = min(note.end_q, until_q) - max(note.onset_q, onset_q)
            if sounding_q > 0:
                struck = note.accent if note.onset_q >= onset_q else 1.0
                tones[index].append((note.tone, float(sounding_q) * struck, note.before, note.after))
    return [
        Span(onset_q, float((until_q - onset_q) / bar_q), tuple(inside), sum(tone[1] for tone in inside), _key_at(tune, onset_q))
        for (onset_q, until_q, bar_q), inside in zip(cuts, tones, strict=True)
    ]


def _cuts(tune: Tune, end_q: Quarters) -> list[tuple[Quarters, Quarters, Quarters]]:
    """Start, end and whole bar of each span; the two parts of a bar that a repeat sign cuts in two are one."""
    starts = [(bar.onset_q, bar) for bar in tune.bars if bar.downbeat and bar.onset_q < end_q]
    if not starts:
        count = -(-end_q // SPAN_Q)
        return [(SPAN_Q * n, SPAN_Q * (n + 1), SPAN_Q) for n in range(int(count))]
    cuts = []
    for (onset_q, bar), (until_q, _) in pairwise([*starts, (end_q, starts[-1][1])]):
        whole_q = Fraction(4 * bar.beats, bar.beat_unit)
        beats = whole_q / beat_length_q(bar.beats, bar.beat_unit)
        half_q = onset_q + whole_q / 2
        if beats >= 4 and beats % 2 == 0 and half_q < until_q:
            cuts += [(onset_q, half_q, whole_q), (half_q, until_q, whole_q)]
        else:
            cuts.append((onset_q, until_q, whole_q))
    return cuts


@dataclass(frozen=True)
class _Tone:
    """A note as harmony hears it. before, after: pitch classes of the notes a step away just before and after it, else -1."""

    onset_q: Quarters
    end_q: Quarters
    tone: int
    accent: float
    before: int
    after: int


def _weighed(tune: Tune) -> list[_Tone]:
    notes = [note for note in tune.notes if not note.ornamental]
    tones = []
    for before, note, after in zip([None, *notes], notes, [*notes[1:], None], strict=False):
        strong = accent(tune, note)
        steps = (-1, -1) if strong > 1 else (_step(before, note), _step(after, note))
        tones.append(_Tone(note.onset_q, note.onset_q + note.duration_q, note.midi % 12, strong, *steps))
    return tones


def _step(other: TuneNote | None, note: TuneNote) -> int:
    apart = 0 if other is None or other.onset_q == note.onset_q else abs(other.midi - note.midi)
    return other.midi % 12 if other is not None and apart in (1, 2) else -1
