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

from .model import SetNote, Setting

_GLIDE_POINTS = 12
_TAIL_S = 1.0


def expected_performance(setting: Setting, ensemble: Ensemble) -> Performance:
    """What sounds if the machine does exactly what the setting says.

    A note rings until its voice sounds again, a finger lifts from its string, or its source has died away. A string
    under a travelling bar goes on ringing while the bar slides to the next stop: that is its glide.
    """
    voices = ensemble.voices
    following: dict[int, SetNote] = {}
    notes = []
    for note in reversed(setting.notes):
        notes.append(_sounded(note, following.get(note.voice), ensemble))
        following[note.voice] = note
    strokes = [Stroke(s.onset_s, voices[s.voice].id, voices[s.voice].chord, voices[s.voice].sources) for s in setting.strokes]
    strokes += [Stroke(b.onset_s, voices[b.voice].id, "", voices[b.voice].sources) for b in setting.beats]
    strokes.sort(key=lambda stroke: stroke.onset_s)
    ends = [note.onset_s + note.written_s for note in setting.notes] + [stroke.onset_s for stroke in strokes]
    return Performance(tuple(reversed(notes)), tuple(strokes), max(ends, default=0.0) + _TAIL_S)


def _sounded(note: SetNote, after: SetNote | None, ensemble: Ensemble) -> SoundedNote:
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
    if isinstance(part, FrettedString) and place.fret:
        until_s = min(until_s, note.onset_s + _held_s(note, after, part, ensemble))
    return SoundedNote(
        onset_s=note.onset_s,
        duration_s=min(until_s - note.onset_s, ring_s),
        midi=note.midi,
        cents=place.cents,
        voice=voice.id,
        source=source,
        glide=glide,
    )


def _held_s(note: SetNote, after: SetNote | None, part: FrettedString, ensemble: Ensemble) -> float:
    """How long a finger can stay on its note: to its written end after the last note, else as long as its coil may be on."""
    coil_id = next(finger.coil for finger in part.fingers if finger.fret == ensemble.voices[note.voice].places[note.place].fret)
    return note.written_s if after is None else max(note.written_s, ensemble.mechanism.coil(coil_id).max_on_s)


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
