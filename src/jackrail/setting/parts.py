"""The tune taken apart into events for a given transposition: melody notes, chord strokes, drum beats."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container
from copy import copy
from dataclasses import dataclass
from functools import cached_property

from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, parse_chord
from jackrail.tune.model import Tune

from .events import Event, Option, Rules
from .melody import lent, melody_of
from .solver import Prepared
from .strokes import DEFAULT_STRUM, ChordMoment, chord_moments, fitting_bars
from .taste import Taste, note_weights

_AT_ONCE_S = 1e-6
"""One note ends where another begins when they are no further apart: sums of seconds are not exact."""


@dataclass(frozen=True)
class Manner:
    """How a tune is to be played. strum: when chords are struck. alike: groups of notes, by their index, that are to be treated alike.

    slides: a bar may glide into a note that is not struck.
    """

    strum: str = DEFAULT_STRUM
    alike: tuple[tuple[int, ...], ...] = ()
    slides: bool = False


class Parts:
    """A tune prepared once for fitting to some voices; events for each transposition are made on demand.

    harmony_cost: what its chords cost by themselves, where they are proposed: how ill they go with the melody. barred: indices of
    small notes that may not sound, the same set for all that `with_chords` makes.
    """

    def __init__(self, tune: Tune, voices: tuple[Voice, ...], taste: Taste, manner: Manner | None = None) -> None:
        self.tune, self.voices, self.taste, self.manner = tune, voices, taste, manner or Manner()
        self.rules = Rules(voices, taste.least_ring_s, taste.least_tempo)
        self._sliding = {v for v, voice in enumerate(voices) if self.manner.slides and voice.slide_s}
        self.onsets_s = [tune.seconds_at(note.onset_q) for note in tune.notes]
        self.lengths_s = [tune.seconds_at(note.onset_q + note.duration_q) - at for note, at in zip(tune.notes, self.onsets_s, strict=True)]
        self.weights = note_weights(tune, taste)
        self.moments = chord_moments(tune, self.manner.strum)
        self.harmony_cost = 0.0
        self.barred: set[int] = set()
        self._bars = [(v, parse_chord(voice.chord)) for v, voice in enumerate(voices) if voice.part == "chord"]
        self._places: dict[int, list[tuple[int, int]]] = {}
        for v, voice in enumerate(voices):
            for p, place in enumerate(voice.places):
                if voice.part == "melody" and place.midi is not None:
                    self._places.setdefault(place.midi, []).append((v, p))

    def with_chords(self, tune: Tune, harmony_cost: float) -> Parts:
        """The same notes, prepared, with the chords of `tune`, which differs in nothing else."""
        other = copy(self)
        for name in ("_chords", "_moments_of", "_chords_ready"):
            other.__dict__.pop(name, None)
        other.tune, other.harmony_cost, other.moments = tune, harmony_cost, chord_moments(tune, self.manner.strum)
        return other

    @cached_property
    def weight(self) -> float:
        """Cost of leaving the whole melody out."""
        return sum(weight for (_, small), weight in self._weight_of.items() if not small)

    def transpositions(self) -> range:
        """Every transposition in semitones that could bring at least one note onto a place in its own octave."""
        if not self._places:
            return range(1)
        keys = [note.midi for note in self.tune.notes if not note.ornamental]
        return range(min(self._places) - max(keys), max(self._places) - min(keys) + 1)

    def notes(self, transpose: int) -> tuple[Event, ...]:
        """Melody events. Options are every place of the pitch and, but for small notes, of its octaves at a price."""
        ways = {key: self._ways(key[0] + transpose, small=key[1]) for key in self._weight_of}
        options = {
            (midi, small, lost): tuple(Option(v, p, share * lost, octaves, slid) for v, p, share, octaves, slid in ways[midi, small])
            for midi, small, lost in set(self._kinds)
        }
        share, cut = self.taste.least_share, self.taste.cut
        events = [
            Event(onset_s, kind[2], options[kind], share * length_s, cut * kind[2])
            for kind, onset_s, length_s in zip(self._kinds, self.onsets_s, self.lengths_s, strict=True)
        ]
        for index in self.barred:
            events[index] = events[index]._replace(options=())
        return tuple(events)

    @cached_property
    def _kinds(self) -> list[tuple[int, bool, float]]:
        """Key, whether it is a small note, and weight of each note: equal ones can be sounded in the same ways."""
        return [(note.midi, note.ornamental, weight) for note, weight in zip(self.tune.notes, self.weights, strict=True)]

    def _ways(self, midi: int, *, small: bool) -> list[tuple[int, int, float, int, bool]]:
        """Voice, place, cost as a share of leaving the note out, octaves moved: none for a small note, which would be a leap; slid."""
        once, twice = self.taste.folded, self.taste.folded_twice
        shares = {0: 0.0} if small else {0: 0.0, 1: once, -1: once, 2: twice, -2: twice}
        ways = [(v, p, share, octaves, False) for octaves, share in shares.items() for v, p in self._places.get(midi + 12 * octaves, ())]
        return ways + [(v, p, share + self.taste.slid, octaves, True) for v, p, share, octaves, _ in ways if v in self._sliding]

    def chords(self, transpose: int) -> tuple[Event, ...]:
        """Chord events: one for each symbol, one for each downbeat on which its chord still holds."""
        bars = {symbol: self.chord_options(chord.transposed(transpose)) for symbol, chord in self._chords.items()}
        return tuple(self._chord_event(moment, bars[moment.symbol.symbol]) for moment in self.moments)

    def prepared_chords(self, transpose: int) -> Prepared:
        """Chord events made ready for choosing; they are the same in every octave."""
        ready = self._chords_ready.get(transpose % 12)
        if ready is None:
            ready = self._chords_ready[transpose % 12] = Prepared(self.chords(transpose), self.rules)
        return ready

    @cached_property
    def _chords_ready(self) -> dict[int, Prepared]:
        """What `prepared_chords` has made, by transposition modulo 12."""
        return {}

    def _chord_event(self, moment: ChordMoment, bars: list[tuple[int, float]]) -> Event:
        if moment.repeated:
            return Event(moment.onset_s, self.taste.restroke_lost, tuple(Option(v, 0, 0.0) for v, _ in bars))
        return Event(moment.onset_s, self.taste.chord_lost, tuple(Option(v, 0, self.taste.chord_changed * far) for v, far in bars))

    def chord_options(self, chord: Chord) -> list[tuple[int, float]]:
        """Chord bars fit for a chord, each with its distance, see `strokes.fitting_bars`."""
        return fitting_bars(self._bars, chord)

    def floor(self, transpose: int) -> float:
        """What this transposition costs at the least, however slow: each note and chord by itself at its cheapest.

        Worked out from sums over equal notes and symbols, so that most keys are set aside without making their events.
        """
        cost = 0.0
        for (midi, small), lost in self._weight_of.items():
            cost += lost * min([1.0, *(share for _, _, share, *_ in self._ways(midi + transpose, small=small))])
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
    def _weight_of(self) -> dict[tuple[int, bool], float]:
        """Sum of the weights of the notes of each key, those of the melody and small ones apart."""
        sums: dict[tuple[int, bool], float] = {}
        for note, weight in zip(self.tune.notes, self.weights, strict=True):
            sums[note.midi, note.ornamental] = sums.get((note.midi, note.ornamental), 0.0) + weight
        return sums

    def lengths_kept_s(self, kept: Container[int]) -> list[float]:
        """Written length of each note when only those of the indices `kept` sound.

        Time lent to small notes that are left out comes back, and a note of the melody rings on through those after it that are left
        out: a lost note leaves no hole. It does not ring on over a rest.
        """
        lengths_s = list(self.lengths_s)
        sounding: dict[int, int] = {}
        for small, main in self.lent.items():
            last = sounding.setdefault(main, main)
            if small in kept:
                sounding[main] = small
            else:
                lengths_s[last] = self.onsets_s[small] + self.lengths_s[small] - self.onsets_s[last]
        ringing: int | None = None
        for index, note in enumerate(self.tune.notes):
            if index in kept and (note.ornamental or index in self._melody):
                ringing = index
            elif ringing is not None and index in self._melody:
                gap_s = self.onsets_s[index] - self.onsets_s[ringing] - lengths_s[ringing]
                lengths_s[ringing] += lengths_s[index] if abs(gap_s) < _AT_ONCE_S else 0.0
        return lengths_s

    @cached_property
    def _melody(self) -> frozenset[int]:
        return melody_of(self.tune)

    def torn(self, kept: Container[int]) -> set[int]:
        """Small notes to bar when only those of the indices `kept` sound in their octave, so that no sign is torn.

        What leaves a main note and comes back to it, a trill or a turn, sounds whole or not at all: without its upper note a trill is
        a stutter, without its end a mordent is a wrong note.
        """
        rows: dict[int, list[int]] = {}
        for small, main in self.lent.items():
            rows.setdefault(main, []).append(small)
        found: set[int] = set()
        for main, row in rows.items():
            back = max((place for place, small in enumerate(row) if self.tune.notes[small].midi == self.tune.notes[main].midi), default=-1)
            sign = row[: back + 1]
            if main not in kept or any(small not in kept for small in sign):
                found.update(sign)
        return found - self.barred

    @cached_property
    def lent(self) -> dict[int, int]:
        """For each small note the one whose time it takes, see `melody.lent`."""
        return lent(self.tune)

    @cached_property
    def _moments_of(self) -> Counter[tuple[str, bool]]:
        """How many chord moments there are of each symbol, written and repeated."""
        return Counter((moment.symbol.symbol, moment.repeated) for moment in self.moments)
