"""Ladders: for each way a machine makes melody notes, the rungs up the side of its panel."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.machine.geometry import stop_position_mm
from jackrail.machine.mechanism import FrettedString, Hammer, TravellingStop
from jackrail.motion.axis import Axis
from jackrail.pitch import pitch_name
from jackrail.work import Work

from .panels import LABEL_GAP, Level
from .scales import Linear, Point

_PATH_POINTS = 16
_EDGE = 7.0
_TOP = 15.0
"""Room above the highest rung for the names of the notes on it."""
_ROW = 13.0


@dataclass(frozen=True)
class Ladder:
    """The rungs of a panel. places: y of each (voice, place); keys: y of MIDI keys, for notes that have no place here.

    compass: lowest and highest MIDI key that the panel's voices can sound. one_voice: its notes never overlap, so there is
    room for their names.
    """

    title: str
    about: str
    height: float
    levels: tuple[Level, ...]
    places: dict[tuple[int, int], float]
    keys: dict[int, float]
    compass: tuple[int, int]
    path: tuple[Point, ...] = ()
    one_voice: bool = True

    def y_of(self, midi: int) -> float:
        """Where a key would be; between two known ones in between, beyond all at the edge."""
        known = sorted(self.keys)
        index = bisect_left(known, midi)
        if index == len(known):
            return self.keys[known[-1]]
        if index == 0 or known[index] == midi:
            return self.keys[known[index]]
        low, high = known[index - 1], known[index]
        return Linear(low, high, self.keys[low], self.keys[high])(midi)

    def distance(self, midi: int) -> int:
        """Semitones from a key to the compass, 0 inside it."""
        return max(self.compass[0] - midi, 0, midi - self.compass[1])


def ladders_of(work: Work) -> list[Ladder]:
    """A ladder for each travelling bar and each fretted string, one for all pitched hammers, in the order of the file."""
    ladders: list[Ladder] = []
    hammers: list[int] = []
    for v, part in enumerate(work.ensemble.mechanism.voices):
        if isinstance(part, TravellingStop):
            ladders.append(_travelling(v, part, work))
        elif isinstance(part, FrettedString):
            ladders.append(_fretted(v, part, work))
        elif isinstance(part, Hammer) and work.ensemble.voices[v].part == "melody":
            hammers.append(v)
    return [*ladders, _hammers(hammers, work)] if hammers else ladders


def _travelling(v: int, part: TravellingStop, work: Work) -> Ladder:
    """Millimetres from the nut up the side: stops stand closer together towards the bridge, as on the string."""
    voice, string = work.ensemble.voices[v], work.ensemble.instrument.string(part.string)
    home_mm = part.carriage.home_at_mm
    stands_mm = [place.position_mm for place in voice.places]
    low_mm, high_mm = min(*stands_mm, home_mm), max(*stands_mm, home_mm)
    height = min(300.0, max(120.0, LABEL_GAP * (len(stands_mm) + 2)))
    y = Linear(low_mm, high_mm, height - _EDGE, _TOP)
    levels = [Level(y(place.position_mm), f"{_stop_name(place.name)} {place.position_mm:.0f}", "stop") for place in voice.places]
    if min(abs(home_mm - mm) for mm in stands_mm) > 0.5:
        levels.append(Level(y(home_mm), f"home {home_mm:.0f}", "home"))
    fits = {key: stop_position_mm(string.scale_length_mm, key - string.midi) for key in range(string.midi, 128)}
    keys = {key: y(mm) for key, mm in fits.items() if low_mm <= mm <= high_mm}
    places = {(v, p): y(place.position_mm) for p, place in enumerate(voice.places)}
    path = tuple((at_s, y(mm)) for at_s, mm in carriage_path(work, part.carriage.motor))
    about = f"{voice.id}: where the bar stands on its string, in mm from the nut, with the stops named; the line is its carriage"
    return Ladder(f"{voice.id} · bar on the string, mm from the nut", about, height, tuple(levels), places, keys, _compass(work, [v]), path)


def _stop_name(name: str) -> str:
    """The name of a stop without its millimetres, which stand beside it."""
    return name if name[:1].isalpha() else ""


def _fretted(v: int, part: FrettedString, work: Work) -> Ladder:
    voice = work.ensemble.voices[v]
    frets = [place.fret for place in voice.places]
    top = max(frets)
    y = Linear(0, top, _ROW * top + _TOP, _TOP)
    levels = tuple(Level(y(fret), f"{fret or 'open'} {_pitch(place.midi)}", "row") for fret, place in zip(frets, voice.places, strict=True))
    places = {(v, p): y(fret) for p, fret in enumerate(frets)}
    open_midi = work.ensemble.instrument.string(part.string).midi
    keys = {open_midi + fret: y(fret) for fret in range(top + 1)}
    about = f"{voice.id}: the fret held down on its string"
    return Ladder(f"{voice.id} · fret held down", about, _ROW * top + _TOP + _EDGE, levels, places, keys, _compass(work, [v]))


def _hammers(hammers: list[int], work: Work) -> Ladder:
    """One row for each sounding thing, the highest on top."""
    voices = work.ensemble.voices
    ordered = sorted(hammers, key=lambda v: (-(voices[v].places[0].midi or 0), v))
    rows = {v: _EDGE + _ROW * row for row, v in enumerate(ordered)}
    levels = tuple(Level(y, _pitch(voices[v].places[0].midi), "row") for v, y in rows.items())
    keys = {midi: y for v, y in rows.items() if (midi := voices[v].places[0].midi) is not None}
    height = _ROW * (len(rows) - 1) + 2 * _EDGE
    about = "hammers: one row for each thing struck, the highest on top"
    places = {(v, 0): y for v, y in rows.items()}
    return Ladder("hammers · what each strikes", about, height, levels, places, keys, _compass(work, hammers), one_voice=False)


def _compass(work: Work, voices: list[int]) -> tuple[int, int]:
    keys = [place.midi for v in voices for place in work.ensemble.voices[v].places if place.midi is not None]
    return min(keys), max(keys)


def _pitch(midi: int | None) -> str:
    return "" if midi is None else pitch_name(midi)


def carriage_path(work: Work, motor: str) -> list[Point]:
    """Where a carriage is: (seconds, mm from the nut) from its home to the end, along the very ramp the board runs."""
    axis, at = work.ensemble.axes[motor], 0
    points = [(0.0, axis.position_at(0))]
    for cue in work.cues:
        if cue.device == motor and cue.action == "move":
            points += _move(axis, cue.time_s, at, int(cue.value))
            at = int(cue.value)
    return [*points, (max(work.performance.end_s, points[-1][0]), axis.position_at(at))]


def _move(axis: Axis, start_s: float, origin: int, target: int) -> Iterator[Point]:
    """A move at points crowded towards both ends, where it changes speed."""
    total, sign = abs(target - origin), 1 if target > origin else -1
    for index in range(_PATH_POINTS + 1):
        step = round(total * (1 - math.cos(math.pi * index / _PATH_POINTS)) / 2)
        yield start_s + axis.ramp.step_time_s(step, total), axis.position_at(origin + sign * step)
