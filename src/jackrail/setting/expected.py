"""The performance a setting states: what should sound, when, at which pitch, and how it glides while it rings."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import zip_longest

from jackrail.machine.mechanism import TravellingStop, VoicePart
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.voice import Voice
from jackrail.performance import Performance, SoundedNote, Stroke

from .fingers import finger_holds
from .gliding import BarOnString
from .legs import legs_of, struck_at_s
from .model import SetNote, Setting

_TAIL_S = 1.0


def expected_performance(setting: Setting, ensemble: Ensemble) -> Performance:
    """What sounds if the machine does exactly what the setting says: a `SoundedNote` for each strike.

    It rings until its voice strikes again, a finger lifts from its string, or its source has died away. A string under a travelling
    bar goes on ringing while the bar slides to the next stop or sways: that is its glide.
    """
    voices = ensemble.voices
    lifts_s = _lifts_s(setting, ensemble)
    notes_of: dict[int, list[SetNote]] = {}
    for note in setting.notes:
        notes_of.setdefault(note.voice, []).append(note)
    sounded = [one for v, notes in notes_of.items() for one in _sounded(v, notes, lifts_s, ensemble)]
    strokes = [Stroke(s.onset_s, voices[s.voice].id, voices[s.voice].chord, voices[s.voice].sources) for s in setting.strokes]
    strokes += [Stroke(b.onset_s, voices[b.voice].id, "", voices[b.voice].sources) for b in setting.beats]
    strokes.sort(key=lambda stroke: stroke.onset_s)
    ends = [note.onset_s + max(note.written_s, voices[note.voice].rearm_s) for note in setting.notes]
    ends += [at_s + voices[note.voice].rearm_s for note in setting.notes for at_s in note.again_s]
    ends += [stroke.onset_s + voices[stroke.voice].rearm_s for stroke in setting.strokes]
    ends += [beat.onset_s + voices[beat.voice].rearm_s for beat in setting.beats]
    order = {(voices[note.voice].id, at_s): number for number, note in enumerate(setting.notes) for at_s in struck_at_s(note)}
    sounded.sort(key=lambda one: (one.onset_s, order[one.voice, one.onset_s]))
    return Performance(tuple(sounded), tuple(strokes), max(ends, default=0.0) + _TAIL_S)


def _lifts_s(setting: Setting, ensemble: Ensemble) -> dict[int, float]:
    """For each note (by index) after which a finger is let go, when that is."""
    lifts_s: dict[int, float] = {}
    for v, voice in enumerate(ensemble.voices):
        if voice.presses:
            notes = [note for note in setting.notes if note.voice == v]
            lifts_s |= {hold.notes[-1]: hold.off_s for hold in finger_holds(notes, voice)}
    return lifts_s


def _sounded(v: int, notes: list[SetNote], lifts_s: dict[int, float], ensemble: Ensemble) -> Iterator[SoundedNote]:
    """Every strike of one voice. notes: those of this voice, in time order."""
    voice, part = ensemble.voices[v], ensemble.mechanism.voices[v]
    source, bar = voice.sources[0], _bar(part, notes, voice, ensemble)
    ring_s = ensemble.instrument.ring_s(source)
    strikes = [(at_s, note) for note in notes for at_s in struck_at_s(note)]
    for (at_s, note), (next_s, _) in zip_longest(strikes, strikes[1:], fillvalue=(math.inf, notes[-1])):
        place = voice.places[note.place]
        until_s = min(next_s, lifts_s.get(note.index, math.inf), math.inf if bar or note.leave_s is None else note.leave_s)
        yield SoundedNote(
            onset_s=at_s,
            duration_s=min(until_s - at_s, ring_s),
            midi=note.midi,
            cents=place.cents,
            voice=voice.id,
            source=source,
            glide=bar.glide(at_s, min(next_s, at_s + ring_s), place) if bar else (),
            strength=note.strength,
        )


def _bar(part: VoicePart, notes: list[SetNote], voice: Voice, ensemble: Ensemble) -> BarOnString | None:
    if not isinstance(part, TravellingStop):
        return None
    return BarOnString(ensemble.instrument.string(part.string), ensemble.axes[part.carriage.motor], list(legs_of(notes, voice)))
