"""The tune taken apart into events for a given transposition: melody notes, chord strokes, drum beats."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, parse_chord
from jackrail.tune.model import ChordSymbol, Tune

from .solver import Event, Option, Rules
from .taste import Taste, note_weights


@dataclass(frozen=True)
class ChordMoment:
    """A moment where a chord is struck: the symbol written, or the downbeat where it is renewed."""

    symbol: ChordSymbol
    onset_s: float
    repeated: bool


class Parts:
    """A tune prepared once for fitting to some voices; events for each transposition are made on demand."""

    def __init__(self, tune: Tune, voices: tuple[Voice, ...], taste: Taste) -> None:
        self.tune, self.voices, self.taste = tune, voices, taste
        self.rules = Rules(voices, taste.least_ring_s)
        self.onsets_s = [tune.seconds_at(note.onset_q) for note in tune.notes]
        self.lengths_s = [tune.seconds_at(note.onset_q + note.duration_q) - at for note, at in zip(tune.notes, self.onsets_s, strict=True)]
        self.weights = note_weights(tune)
        self.moments = _chord_moments(tune)
        self._bars = [(v, parse_chord(voice.chord).classes) for v, voice in enumerate(voices) if voice.part == "chord"]
        self._places: dict[int, list[tuple[int, int]]] = {}
        for v, voice in enumerate(voices):
            for p, place in enumerate(voice.places):
                if voice.part == "melody" and place.midi is not None:
                    self._places.setdefault(place.midi, []).append((v, p))

    @cached_property
    def weight(self) -> float:
        """Cost of leaving the whole melody out."""
        return sum(self.weights)

    def transpositions(self) -> range:
        """Every transposition in semitones that could bring at least one note onto a place in its own octave."""
        if not self._places:
            return range(1)
        keys = [note.midi for note in self.tune.notes]
        return range(min(self._places) - max(keys), max(self._places) - min(keys) + 1)

    def notes(self, transpose: int) -> tuple[Event, ...]:
        """Melody events. Options are every place of the pitch, and of its octaves at a price."""
        ways = {midi: self._ways(midi + transpose) for midi in self._weight_of}
        return tuple(
            Event(at, lost, tuple(Option(v, p, share * lost, octaves) for v, p, share, octaves in ways[note.midi]))
            for note, at, lost in zip(self.tune.notes, self.onsets_s, self.weights, strict=True)
        )

    def _ways(self, midi: int) -> list[tuple[int, int, float, int]]:
        """Voice, place, cost as a share of leaving the note out, octaves moved."""
        once, twice = self.taste.folded, self.taste.folded_twice
        shares = {0: 0.0, 1: once, -1: once, 2: twice, -2: twice}
        return [(v, p, share, octaves) for octaves, share in shares.items() for v, p in self._places.get(midi + 12 * octaves, ())]

    def chords(self, transpose: int) -> tuple[Event, ...]:
        """Chord events: one for each symbol, one for each downbeat on which its chord still holds."""
        bars = {symbol: self.chord_options(chord.transposed(transpose)) for symbol, chord in self._chords.items()}
        return tuple(self._chord_event(moment, bars[moment.symbol.symbol]) for moment in self.moments)

    def _chord_event(self, moment: ChordMoment, bars: list[tuple[int, int]]) -> Event:
        if moment.repeated:
            return Event(moment.onset_s, self.taste.restroke_lost, tuple(Option(v, 0, 0.0) for v, _ in bars))
        return Event(moment.onset_s, self.taste.chord_lost, tuple(Option(v, 0, self.taste.chord_changed * far) for v, far in bars))

    def chord_options(self, chord: Chord) -> list[tuple[int, int]]:
        """Chord bars fit for a chord: (voice, 0) for the same tones, (voice, 1) for its triad without the added tones.

        The same chord in another inversion is the same. A bar with a tone that the chord has not would clash: silence is
        better. Of several plain triads inside a chord the one on its root is meant.
        """
        triad = frozenset((chord.root + interval) % 12 for interval in chord.intervals[:3])
        exact = [(v, 0) for v, bar in self._bars if bar == chord.classes]
        return exact or [(v, 1) for v, bar in self._bars if bar == triad]

    def floor(self, transpose: int) -> float:
        """What this transposition costs at the least, however slow: each note and chord by itself at its cheapest.

        Worked out from sums over equal notes and symbols, so that most keys are set aside without making their events.
        """
        cost = 0.0
        for midi, lost in self._weight_of.items():
            cost += lost * min([1.0, *(share for _, _, share, _ in self._ways(midi + transpose))])
        for (symbol, repeated), count in self._moments_of.items():
            bars = self.chord_options(self._chords[symbol].transposed(transpose))
            lost = self.taste.restroke_lost if repeated else self.taste.chord_lost
            found = 0.0 if repeated else self.taste.chord_changed
            cost += count * min([lost, *(found * far for _, far in bars)])
        return cost

    @cached_property
    def _chords(self) -> dict[str, Chord]:
        """Each chord symbol of the tune, read once for all transpositions."""
        return {symbol: parse_chord(symbol) for symbol, _ in self._moments_of}

    @cached_property
    def _weight_of(self) -> dict[int, float]:
        """Sum of the weights of the notes of each key."""
        sums: dict[int, float] = {}
        for note, weight in zip(self.tune.notes, self.weights, strict=True):
            sums[note.midi] = sums.get(note.midi, 0.0) + weight
        return sums

    @cached_property
    def _moments_of(self) -> Counter[tuple[str, bool]]:
        """How many chord moments there are of each symbol, written and repeated."""
        return Counter((moment.symbol.symbol, moment.repeated) for moment in self.moments)


def _chord_moments(tune: Tune) -> list[ChordMoment]:
    """Each symbol at its onset, and on each later downbeat until the next symbol or the last note's end."""
    if not tune.chords:
        return []
    end_q = max((note.onset_q + note.duration_q for note in tune.notes), default=tune.end_q)
    ends = [later.onset_q for _, later in pairwise(tune.chords)] + [end_q]
    downbeats = [bar.onset_q for bar in tune.bars if bar.downbeat]
    moments = []
    for symbol, end in zip(tune.chords, ends, strict=True):
        moments.append(ChordMoment(symbol, tune.seconds_at(symbol.onset_q), repeated=False))
        held = downbeats[bisect_right(downbeats, symbol.onset_q) : bisect_left(downbeats, end)]
        moments += [ChordMoment(symbol, tune.seconds_at(onset_q), repeated=True) for onset_q in held]
    return moments
