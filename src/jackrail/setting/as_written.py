"""The tune as it is written, for the ear: every note at the written tempo, in the key as played, on strings like the machine's.

What no machine could do is done here: strings stand under any pitch, and there are as many of each as sound at once. So it differs
from what is played by what was given up, and by nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

from jackrail.machine.instrument import Instrument
from jackrail.machine.mechanism import FrettedString
from jackrail.motion.ensemble import Ensemble
from jackrail.performance import Performance, SoundedNote, Stroke
from jackrail.pitch import parse_chord
from jackrail.tune.model import Tune

from .chord_bars import fitting_bars
from .model import Setting
from .strokes import chord_moments

_BEFORE_S = 0.25
_TAIL_S = 1.0
_KEYS = range(128)


def as_written(setting: Setting, tune: Tune, ensemble: Ensemble) -> tuple[Performance, Instrument]:
    """What a machine without limits would play, and the instrument that it would play it on. tune: as it is played.

    A note rings as on the machine: until its string sounds again, until a finger lifts, or until it has
    died away. Chords are struck at their symbols and on downbeats; a chord that no bar has sounds on the strings of the bars, tuned
    to it; without chord bars there are none.
    """
    bench = _Bench(setting, ensemble)
    shift = setting.transpose_semitones
    notes = list(bench.melody(tune, shift))
    strokes, chords = bench.chords(tune, shift)
    notes = sorted([*notes, *chords], key=lambda note: note.onset_s)
    return Performance(tuple(notes), tuple(strokes), written_s(tune)), bench.instrument()


def written_s(tune: Tune) -> float:
    """How long a tune lasts as it is written, with a moment before and after."""
    return _BEFORE_S + tune.seconds_at(tune.end_q) + _TAIL_S


@dataclass
class _Bench:
    """The sources of a machine, and how many copies of each string are in use."""

    setting: Setting
    ensemble: Ensemble
    _free_s: dict[str, list[float]] = field(default_factory=dict)

    def melody(self, tune: Tune, shift: int) -> Iterator[SoundedNote]:
        """Every note of the tune whose key there is."""
        ends: dict[str, float] = {}
        made = []
        for note in tune.notes:
            midi = note.midi + shift
            if midi not in _KEYS or not self._places:
                continue
            _, source, stopped = min(self._places, key=lambda place: abs(place[0] - midi))
            onset_s, until_s = (_BEFORE_S + tune.seconds_at(at_q) for at_q in (note.onset_q, note.onset_q + note.duration_q))
            copy = self._copy(source, onset_s, until_s)
            made.append((onset_s, until_s if stopped else math.inf, midi, copy, source))
        for onset_s, until_s, midi, copy, source in reversed(made):
            lasts_s = min(until_s, ends.get(copy, math.inf)) - onset_s
            ends[copy] = onset_s
            yield SoundedNote(onset_s, min(lasts_s, self.ensemble.instrument.ring_s(source)), midi, 0.0, "", copy)

    def chords(self, tune: Tune, shift: int) -> tuple[list[Stroke], list[SoundedNote]]:
        """Strokes of the bars that have a chord, and the notes of chords that none has."""
        voices = self.ensemble.voices
        bars = [(v, parse_chord(voice.chord)) for v, voice in enumerate(voices) if voice.part == "chord"]
        strokes: list[Stroke] = []
        notes: list[SoundedNote] = []
        for moment in chord_moments(tune) if bars else ():
            onset_s, chord = _BEFORE_S + moment.onset_s, moment.symbol.chord.transposed(shift)
            exact = next((v for v, far in fitting_bars(bars, chord) if not far), None)
            if exact is not None:
                strokes.append(Stroke(onset_s, voices[exact].id, voices[exact].chord, voices[exact].sources))
            else:
                notes += self._tuned(chord.classes, [source for v, _ in bars for source in voices[v].sources], onset_s)
        return strokes, notes

    def _tuned(self, classes: frozenset[int], sources: list[str], onset_s: float) -> Iterator[SoundedNote]:
        """A chord on the open strings nearest to its tones, each tuned to one of them."""
        instrument = self.ensemble.instrument
        strings = sorted({instrument.string(source).midi: source for source in sources if instrument.sounder(source) is None}.items())
        for tone in sorted(classes):
            if strings:
                open_midi, source = min(strings, key=lambda string: abs((tone - string[0] + 6) % 12 - 6))
                strings.remove((open_midi, source))
                midi = open_midi + (tone - open_midi + 6) % 12 - 6
                yield SoundedNote(
                    onset_s, self.ensemble.instrument.ring_s(source), midi, 0.0, "", source, strength=1 / math.sqrt(len(classes))
                )

    def instrument(self) -> Instrument:
        """The instrument with as many strings of each kind as were needed."""
        mine = self.ensemble.instrument
        copies = [
            mine.string(source).model_copy(update={"id": _name(source, number)})
            for source, copies in self._free_s.items()
            for number in range(1, len(copies))
        ]
        return mine.model_copy(update={"strings": (*mine.strings, *copies)})

    @cached_property
    def _places(self) -> list[tuple[int, str, bool]]:
        """MIDI key, source, and whether a finger holds it there, of all places of the melody; without any, of all that sounds a pitch."""
        pairs = zip(self.ensemble.voices, self.ensemble.mechanism.voices, strict=True)
        found = [
            (place.midi, voice.sources[0], isinstance(part, FrettedString) and place.fret > 0)
            for voice, part in pairs
            for place in voice.places
            if voice.part == "melody" and place.midi is not None
        ]
        return found or [(string.midi, string.id, False) for string in self.ensemble.instrument.strings]

    def _copy(self, source: str, onset_s: float, until_s: float) -> str:
        """The first copy of a string that is free; a bell sounds any number of times at once."""
        if self.ensemble.instrument.sounder(source) is not None:
            return source
        free_s = self._free_s.setdefault(source, [])
        number = next((number for number, free in enumerate(free_s) if free <= onset_s + 1e-9), len(free_s))
        free_s[number : number + 1] = [until_s]
        return _name(source, number)


def _name(source: str, number: int) -> str:
    return f"{source} {number + 1}" if number else source
