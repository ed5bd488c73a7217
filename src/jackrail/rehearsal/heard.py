"""What the plant did, as heard: its events turned into a `Performance`.

A string under a bar sounds at the length where the bar truly is when it is plucked, and glides with it while it rings. A
fretted string sounds by the finger that is truly down: one that is on its way, nearer the bridge than any that is down,
chokes the string and nothing is heard. Nothing of what was planned is known here.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from jackrail.machine.geometry import semitones_at
from jackrail.machine.instrument import Instrument, String
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import ChordBar, FrettedString, Hammer, KickedPick, Pluck, TravellingStop
from jackrail.machine.stops import MUTE_SHARE
from jackrail.performance import Glide, Performance, SoundedNote, Stroke

from .plant import Configuration
from .plant_run import KINDS

_GLIDE_CENTS = 1.0
"""Glides are told this closely: a tenth of what people notice (check value G24)."""


@dataclass(frozen=True)
class Happening:
    """One event of the plant: when, in seconds from time zero, its value and the rest of it."""

    at_s: float
    kind: str
    value: float
    extra: float


@dataclass(frozen=True)
class Told:
    """All that a plant told, by device, times in seconds from time zero.

    motors, coils: events by id. paths: by motor, (time, position) in time order while it moved.
    """

    motors: dict[str, list[Happening]]
    coils: dict[str, list[Happening]]
    paths: dict[str, list[tuple[float, float]]]


_OF_MOTORS = {"pluck", "starts", "rests"}
_OF_COILS = {"blow", "leaves", "pressed", "lets go", "lifted"}


def told(events: NDArray[Any], places: NDArray[Any], configuration: Configuration, zero_cycle: int) -> Told:
    """Events and places of a plant (`Plant.events`, `Plant.places`) sorted by device, counted from a cycle."""
    tick_s = 1 / configuration.clock_hz
    motors: dict[str, list[Happening]] = {ident: [] for ident in configuration.motor_ids}
    coils: dict[str, list[Happening]] = {ident: [] for ident in configuration.coil_ids}
    paths: dict[str, list[tuple[float, float]]] = {ident: [] for ident in configuration.motor_ids}
    for cycle, number, device, value, extra in events.tolist():
        kind, at_s = KINDS[number], (cycle - zero_cycle) * tick_s
        if kind in _OF_MOTORS:
            motors[configuration.motor_ids[device]].append(Happening(at_s, kind, value, extra))
            if kind != "pluck":
                paths[configuration.motor_ids[device]].append((at_s, value))
        elif kind in _OF_COILS:
            coils[configuration.coil_ids[device]].append(Happening(at_s, kind, value, extra))
    for number, ident in enumerate(configuration.motor_ids):
        mine = places[places["motor"] == number]
        times_s = (mine["cycle"].astype("i8") - zero_cycle) * tick_s
        paths[ident] += zip(times_s.tolist(), mine["position"].tolist(), strict=True)
    for path in paths.values():
        path.sort(key=lambda point: point[0])
    return Told(motors, coils, paths)


def heard_performance(machine: Machine, heard: Told, end_s: float) -> Performance:
    """What sounded from time zero to end_s."""
    notes: list[SoundedNote] = []
    strokes: list[Stroke] = []
    for voice in machine.mechanism.voices:
        if isinstance(voice, TravellingStop):
            notes += _under_bar(voice, machine.instrument.string(voice.string), heard)
        elif isinstance(voice, FrettedString):
            notes += _fretted(voice, machine.instrument.string(voice.string), heard)
        elif isinstance(voice, Hammer):
            midi = _midi_of(voice.sounds, machine.instrument)
            blows = _blows(heard.coils[voice.coil])
            if midi is None:
                strokes += [Stroke(blow.at_s, voice.id, "", (voice.sounds,), _strength(blow)) for blow in blows]
            else:
                notes += _struck(blows, midi, voice, machine.instrument)
        elif isinstance(voice, ChordBar):
            strokes += [Stroke(b.at_s, voice.id, voice.chord, voice.strings, _strength(b)) for b in _blows(heard.coils[voice.coil])]
    return Performance(
        tuple(sorted((note for note in notes if 0 <= note.onset_s <= end_s), key=lambda note: note.onset_s)),
        tuple(sorted((stroke for stroke in strokes if 0 <= stroke.onset_s <= end_s), key=lambda stroke: stroke.onset_s)),
        end_s,
    )


def _blows(happenings: list[Happening]) -> list[Happening]:
    return [one for one in happenings if one.kind == "blow"]


def _strength(blow: Happening) -> float:
    """Speed of impact over that at nominal voltage, 1 at most."""
    return round(min(1.0, blow.extra), 3)


def _plucks(pluck: Pluck, heard: Told) -> list[Happening]:
    if isinstance(pluck, KickedPick):
        return _blows(heard.coils[pluck.coil])
    return [one for one in heard.motors[pluck.motor] if one.kind == "pluck"]


def _midi_of(source: str, instrument: Instrument) -> int | None:
    sounder = instrument.sounder(source)
    return instrument.string(source).midi if sounder is None else sounder.midi


def _struck(blows: list[Happening], midi: int, voice: Hammer, instrument: Instrument) -> list[SoundedNote]:
    ring_s = instrument.ring_s(voice.sounds)
    ends = [*(blow.at_s for blow in blows[1:]), math.inf]
    return [
        SoundedNote(blow.at_s, min(end_s - blow.at_s, ring_s), midi, 0.0, voice.id, voice.sounds, strength=_strength(blow))
        for blow, end_s in zip(blows, ends, strict=False)
    ]


def _raised(string: String, position_mm: float) -> float | None:
    """Semitones above the open string under a bar; None where there is no string left to sound."""
    if position_mm >= MUTE_SHARE * string.scale_length_mm:
        return None
    return semitones_at(string.scale_length_mm, max(position_mm, 0.0))


def _under_bar(voice: TravellingStop, string: String, heard: Told) -> list[SoundedNote]:
    plucks = _plucks(voice.pluck, heard)
    path = heard.paths[voice.carriage.motor]
    notes = []
    for index, pluck in enumerate(plucks):
        raised = _raised(string, pluck.value)
        if raised is None:
            continue
        next_s = plucks[index + 1].at_s if index + 1 < len(plucks) else math.inf
        duration_s = min(next_s - pluck.at_s, string.ring_s)
        glide = _glide(path, pluck.at_s, duration_s, string, raised)
        pitch = string.midi + raised
        midi = round(pitch)
        notes.append(SoundedNote(pluck.at_s, duration_s, midi, 100 * (pitch - midi), voice.id, string.id, glide))
    return notes


def _glide(path: list[tuple[float, float]], onset_s: float, duration_s: float, string: String, struck: float) -> tuple[Glide, ...]:
    """Pitch while the bar moves under the ringing string, with no more points than it takes."""
    first = bisect_left(path, onset_s, key=lambda point: point[0])
    last = bisect_right(path, onset_s + duration_s, key=lambda point: point[0])
    points = [(0.0, 0.0)]
    for at_s, position_mm in path[first:last]:
        raised = _raised(string, position_mm)
        if raised is not None:
            points.append((at_s - onset_s, 100 * (raised - struck)))
    if all(abs(cents) < _GLIDE_CENTS for _, cents in points):
        return ()
    return tuple(Glide(after_s, cents) for after_s, cents in _thinned(points))


def _thinned(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """A line through as few of the points as keeps all within _GLIDE_CENTS of it (Ramer 1972, Douglas and Peucker 1973)."""
    kept, parts = {0, len(points) - 1}, [(0, len(points) - 1)]
    while parts:
        start, end = parts.pop()
        (t0, c0), (t1, c1) = points[start], points[end]
        slope = (c1 - c0) / (t1 - t0) if t1 > t0 else 0.0
        off = [(abs(c - c0 - slope * (t - t0)), index) for index, (t, c) in enumerate(points[start:end], start)]
        worst, index = max(off, default=(0.0, 0))
        if worst > _GLIDE_CENTS:
            kept.add(index)
            parts += [(start, index), (index, end)]
    return [points[index] for index in sorted(kept)]


def _fretted(voice: FrettedString, string: String, heard: Told) -> list[SoundedNote]:
    plucks = _plucks(voice.pluck, heard)
    moves = sorted((one.at_s, finger.fret, one.kind) for finger in voice.fingers for one in heard.coils[finger.coil])
    starts = [at_s for at_s, _, _ in moves]
    fingers: dict[int, str] = {}
    done, notes = 0, []
    for index, pluck in enumerate(plucks):
        begun = bisect_right(starts, pluck.at_s)
        fingers |= {fret: kind for _, fret, kind in moves[done:begun]}
        done = begun
        fret = max((fret for fret, kind in fingers.items() if kind != "lifted"), default=0)
        if fret and fingers[fret] != "pressed":
            continue
        next_s = plucks[index + 1].at_s if index + 1 < len(plucks) else math.inf
        stops_s = next((at_s for at_s, other, kind in moves[begun:] if _ends_note(fret, other, kind)), math.inf)
        duration_s = min(next_s - pluck.at_s, stops_s - pluck.at_s, string.ring_s)
        notes.append(SoundedNote(pluck.at_s, duration_s, string.midi + fret, 0.0, voice.id, string.id))
    return notes


def _ends_note(fret: int, other: int, kind: str) -> bool:
    """Whether a finger's doing stops a string that sounds at a fret: its own finger lets go, or one comes down beyond it."""
    return (other == fret and kind == "lets go") or (other > fret and kind == "pressed")
