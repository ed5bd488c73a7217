"""The performance a setting states: what should sound, when, at which pitch, and how it glides while it rings."""

from __future__ import annotations

import math

from jackrail.machine.geometry import semitones_at
from jackrail.machine.instrument import Instrument, String
from jackrail.machine.mechanism import FrettedString, TravellingStop
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.voice import Place
from jackrail.performance import Glide, Performance, SoundedNote, Stroke

from .fingers import finger_holds
from .model import SetNote, Setting

_GLIDE_POINTS = 12
_TAIL_S = 1.0


def expected_performance(setting: Setting, ensemble: Ensemble) -> Performance:
    """What sounds if the machine does exactly what the setting says.

    A note rings until its voice sounds again, a finger lifts from its string, or its source has died away. A string
    under a travelling bar goes on ringing while the bar slides to the next stop: that is its glide.
    """
    voices = ensemble.voices
    lifts_s = _lifts_s(setting, ensemble)
    following: dict[int, SetNote] = {}
    notes = []
    for note in reversed(setting.notes):
        notes.append(_sounded(note, following.get(note.voice), lifts_s, ensemble))
        following[note.voice] = note
    strokes = [Stroke(s.onset_s, voices[s.voice].id, voices[s.voice].chord, voices[s.voice].sources) for s in setting.strokes]
    strokes += [Stroke(b.onset_s, voices[b.voice].id, "", voices[b.voice].sources) for b in setting.beats]
    strokes.sort(key=lambda stroke: stroke.onset_s)
    ends = [note.onset_s + max(note.written_s, voices[note.voice].rearm_s) for note in setting.notes]
    ends += [stroke.onset_s + voices[stroke.voice].rearm_s for stroke in setting.strokes]
    ends += [beat.onset_s + voices[beat.voice].rearm_s for beat in setting.beats]
    return Performance(tuple(reversed(notes)), tuple(strokes), max(ends, default=0.0) + _TAIL_S)


def _lifts_s(setting: Setting, ensemble: Ensemble) -> dict[int, float]:
    """For each note (by index) after which a finger is let go, when that is."""
    lifts_s: dict[int, float] = {}
    for v, (part, voice) in enumerate(zip(ensemble.mechanism.voices, ensemble.voices, strict=True)):
        if isinstance(part, FrettedString):
            notes = [note for note in setting.notes if note.voice == v]
            lifts_s |= {hold.notes[-1]: hold.off_s for hold in finger_holds(notes, part, voice, ensemble.mechanism)}
    return lifts_s


def _sounded(note: SetNote, after: SetNote | None, lifts_s: dict[int, float], ensemble: Ensemble) -> SoundedNote:
    voice, part = ensemble.voices[note.voice], ensemble.mechanism.voices[note.voice]
    place, source = voice.places[note.place], voice.sources[0]
    ring_s = _ring_s(source, ensemble.instrument)
    until_s = after.onset_s if after is not None else math.inf
    glide: tuple[Glide, ...] = ()
    if note.leave_s is not None and after is not None:
        if isinstance(part, TravellingStop):
            path = _glide(place, voice.places[after.place], ensemble.instrument.string(source), ensemble.axes[part.carriage.motor])
            waits_s = note.leave_s - note.onset_s
            glide = tuple(Glide(waits_s + point.after_s, point.cents) for point in path if waits_s + point.after_s < ring_s)
        else:
            until_s = note.leave_s
    until_s = min(until_s, lifts_s.get(note.index, math.inf))
    return SoundedNote(
        onset_s=note.onset_s,
        duration_s=min(until_s - note.onset_s, ring_s),
        midi=note.midi,
        cents=place.cents,
        voice=voice.id,
        source=source,
        glide=glide,
    )


def _ring_s(source: str, instrument: Instrument) -> float:
    sounder = instrument.sounder(source)
    return sounder.ring_s if sounder is not None else instrument.string(source).ring_s


def _glide(start: Place, end: Place, string: String, axis: Axis) -> tuple[Glide, ...]:
    """Pitch while the bar slides, from its leaving, at steps crowded towards both ends, where it changes speed."""
    total, sign = abs(end.steps - start.steps), 1 if end.steps > start.steps else -1
    struck = semitones_at(string.scale_length_mm, start.position_mm)
    points = []
    for index in range(_GLIDE_POINTS + 1):
        step = round(total * (1 - math.cos(math.pi * index / _GLIDE_POINTS)) / 2)
        here = semitones_at(string.scale_length_mm, axis.position_at(start.steps + sign * step))
        points.append(Glide(axis.ramp.step_time_s(step, total), 100 * (here - struck)))
    return tuple(points)
