"""The tune taken apart into events for a given transposition: melody notes, chord strokes, drum beats."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from functools import cached_property

from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, parse_chord
from jackrail.tune.model import Tune

from .chord_bars import fitting_bars
from .events import Event, Option, Rules
from .folded import Kind, Notes, folded
from .lengths import Lengths
from .solver import Prepared
from .strokes import DEFAULT_STRUM, Beats, ChordMoment, beats_of, chord_moments
from .taste import Taste, note_weights

_SLOWEST = 4.0
"""No tempo asked for is more than so many times the written one (`wishes.slowdown_for`)."""


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
        self.lengths = Lengths(tune)
        self.onsets_s = self.lengths.onsets_s
        self.weights = note_weights(tune, taste)
        self.harmony_cost = 0.0
        # what has been made, by how many notes were barred then: none is ever let in again
        self._notes_made: dict[tuple[int, int], tuple[Event, ...]] = {}
        self._folded: dict[int, Notes] = {}
        self._ways_known: dict[tuple[int, bool], list[tuple[int, int, float, int, bool]]] = {}
        self._beats_known: list[Beats] = []
        self._fitting: dict[Chord, list[tuple[int, float]]] = {}
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
        for name in ("moments", "_chords", "_moments_of", "_chords_ready", "_chords_floors"):
            other.__dict__.pop(name, None)
        other.tune, other.harmony_cost = tune, harmony_cost
        return other

    def weighing(self, taste: Taste) -> Parts:
        """The same notes, of the same weights, where all else counts by `taste`."""
        other = copy(self)
        for name in ("_cuts", "_holds_s", "_least_shares", "_chords_ready", "_chords_floors"):
            other.__dict__.pop(name, None)
        vars(other).update(taste=taste, _notes_made={}, _folded={}, _ways_known={})
        return other

    @cached_property
    def moments(self) -> list[ChordMoment]:
        """When chords are struck."""
        return chord_moments(self.tune, self.manner.strum, self._beats())

    def _beats(self) -> Beats:
        """The beats on which chords may be renewed, the same for all that `with_chords` makes."""
        if not self._beats_known:
            self._beats_known.append(beats_of(self.tune, self.manner.strum))
        return self._beats_known[0]

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
        events = self._notes_made.get((transpose, len(self.barred)))
        if events is None:
            events = self._notes_made[transpose, len(self.barred)] = self._notes(transpose)
        return events

    def _notes(self, transpose: int) -> tuple[Event, ...]:
        options = {kind: self._options(kind, transpose) for kind in set(self._kinds)}
        events = list(map(Event, self.onsets_s, self.weights, map(options.__getitem__, self._kinds), self._holds_s, self._cuts))
        for index in self.barred:
            events[index] = events[index]._replace(options=())
        if self.lengths.lent:  # time lent to what cannot sound is a note's own
            lengths_s = self.lengths.with_time_lent({index for index, event in enumerate(events) if event.options})
            share = self.taste.least_share
            events = [event._replace(hold_s=share * length_s) for event, length_s in zip(events, lengths_s, strict=True)]
        return tuple(events)

    def _options(self, kind: Kind, transpose: int) -> tuple[Option, ...]:
        """The ways to sound notes of a kind."""
        midi, small, lost = kind
        ways = self._ways(midi + transpose, small=small)
        return tuple(Option(v, p, share * lost, octaves, slid) for v, p, share, octaves, slid in ways)

    def folded_notes(self, transpose: int) -> tuple[Event, ...]:
        """Melody events with those that are to be treated alike folded together, see `folded`: none of slides, which it cannot tell."""
        notes = self._folded.get(len(self.barred))
        if notes is None:
            far_s = _SLOWEST * max(max(row) for row in self.rules.free)
            every = Notes(self._kinds, self.onsets_s, self._holds_s, self._cuts)
            notes = self._folded[len(self.barred)] = folded(every, self.manner.alike, self.barred, far_s)
        options = {kind: self._options(kind, transpose) for kind in set(notes.kinds)}
        return tuple(map(Event, notes.onsets_s, notes.lost, map(options.__getitem__, notes.kinds), notes.holds_s, notes.cuts))

    @cached_property
    def _holds_s(self) -> list[float]:
        return [self.taste.least_share * length_s for length_s in self.lengths.written_s]

    @cached_property
    def _cuts(self) -> list[float]:
        return [self.taste.cut * weight for weight in self.weights]

    @cached_property
    def _kinds(self) -> list[Kind]:
        """Key, whether it is a small note, and weight of each note: equal ones can be sounded in the same ways."""
        return [(note.midi, note.ornamental, weight) for note, weight in zip(self.tune.notes, self.weights, strict=True)]

    def _ways(self, midi: int, *, small: bool) -> list[tuple[int, int, float, int, bool]]:
        """Voice, place, cost as a share of leaving the note out, octaves moved: none for a small note, which would be a leap; slid."""
        known = self._ways_known.get((midi, small))
        if known is not None:
            return known
        shares = {octaves: self.taste.moved(octaves) for octaves in ((0,) if small else (0, 1, -1, 2, -2))}
        ways = [(v, p, share, octaves, False) for octaves, share in shares.items() for v, p in self._places.get(midi + 12 * octaves, ())]
        ways += [(v, p, share + self.taste.slid, octaves, True) for v, p, share, octaves, _ in ways if v in self._sliding]
        self._ways_known[midi, small] = ways
        return ways

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
            return Event(moment.onset_s, self.taste.restroke_lost * moment.share, tuple(Option(v, 0, 0.0) for v, _ in bars))
        return Event(moment.onset_s, self.taste.chord_lost, tuple(Option(v, 0, self.taste.chord_changed * far) for v, far in bars))

    def chord_options(self, chord: Chord) -> list[tuple[int, float]]:
        """Chord bars fit for a chord, each with its distance, see `chord_bars.fitting_bars`."""
        fitting = self._fitting.get(chord)
        if fitting is None:
            fitting = self._fitting[chord] = fitting_bars(self._bars, chord)
        return fitting

    def floor(self, transpose: int) -> float:
        """What this transposition costs at the least, however slow: each note and chord by itself at its cheapest."""
        chords = self._chords_floors.get(transpose % 12)
        if chords is None:
            chords = self._chords_floors[transpose % 12] = self._chords_floor(transpose)
        return self.notes_floor(transpose) + chords

    @cached_property
    def _chords_floors(self) -> dict[int, float]:
        """What chords cost at the least, by transposition modulo 12; filled as keys are asked for."""
        return {}

    def notes_floor(self, transpose: int) -> float:
        """That of the notes alone. Worked out from sums over equal notes, so that most keys are set aside without making their events."""
        return sum(lost * self._least_share(midi + transpose, small) for (midi, small), lost in self._weight_of.items())

    def _least_share(self, midi: int, small: bool) -> float:  # noqa: FBT001 - as it is in the keys of `_weight_of`
        share = self._least_shares.get((midi, small))
        if share is None:
            share = self._least_shares[midi, small] = min([1.0, *(share for _, _, share, *_ in self._ways(midi, small=small))])
        return share

    @cached_property
    def _least_shares(self) -> dict[tuple[int, bool], float]:
        """What a sounding key costs at the least, as a share of leaving it out; filled as keys are asked for."""
        return {}

    def _chords_floor(self, transpose: int) -> float:
        cost = 0.0
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

    @cached_property
    def _moments_of(self) -> dict[tuple[str, bool], float]:
        """How many chord moments there are of each symbol, written and repeated, each counted by its share."""
        shares: dict[tuple[str, bool], float] = {}
        for moment in self.moments:
            kind = moment.symbol.symbol, moment.repeated
            shares[kind] = shares.get(kind, 0.0) + moment.share
        return shares
