"""The roll played on paper: from its cues forward to what would sound, without looking at the setting.

Planning works backwards from the beat; this works forwards from the unpacked roll: where is the bar, which finger is
down, when does the pick leave the string? Comparing the two catches a lead applied twice, a move that is not over, a
finger that is late, and all rounding. It is arithmetic, not physics: a motor here never misses a step.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace

from jackrail.machine.geometry import semitones_at
from jackrail.machine.mechanism import ChordBar, FrettedString, Hammer, KickedPick, Pluck, TravellingStop
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.voice import Voice, coil_lead_s, coil_release_s
from jackrail.performance import Performance, SoundedNote, Stroke

from .format import Op
from .machine_block import Numbering
from .roll import Roll, seconds_of


@dataclass(frozen=True)
class Span:
    """A carriage on its way: from and to in steps, start and end in seconds."""

    start_s: float
    end_s: float
    origin: int
    target: int


def play_on_paper(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> Performance:
    """What the board would make sound by playing `roll`. Notes carry no glide; they last until the next of their voice."""
    notes: list[SoundedNote] = []
    strokes: list[Stroke] = []
    for part, voice in zip(ensemble.mechanism.voices, ensemble.voices, strict=True):
        if isinstance(part, TravellingStop):
            axis = ensemble.axes[part.carriage.motor]
            spans = spans_of(roll, numbering, axis)
            string = ensemble.instrument.string(part.string)
            for at_s in plucks_of(roll, numbering, part.pluck, voice):
                position_mm = axis.position_at(_steps_at(at_s, spans, axis))
                pitch = string.midi + semitones_at(string.scale_length_mm, position_mm)
                notes.append(_note(at_s, pitch, voice))
        elif isinstance(part, FrettedString):
            open_midi, fingers = ensemble.instrument.string(part.string).midi, _fingers(roll, numbering, part, ensemble)
            notes += [_note(at_s, open_midi + _fret_at(at_s, fingers), voice) for at_s in plucks_of(roll, numbering, part.pluck, voice)]
        elif isinstance(part, Hammer | ChordBar):
            blows = list(_blows(roll, numbering, part.coil, voice))
            if voice.part == "melody":
                notes += [replace(_note(at_s, float(voice.places[0].midi or 0), voice), strength=strength) for at_s, strength in blows]
            else:
                strokes += [Stroke(at_s, voice.id, voice.chord, voice.sources, strength) for at_s, strength in blows]
    return Performance(
        tuple(sorted(notes, key=lambda note: note.onset_s)),
        tuple(sorted(strokes, key=lambda stroke: stroke.onset_s)),
        seconds_of(roll.end_tick),
    )


def _note(at_s: float, pitch: float, voice: Voice) -> SoundedNote:
    return SoundedNote(at_s, 0.0, round(pitch), 100 * (pitch - round(pitch)), voice.id, voice.sources[0])


def _blows(roll: Roll, numbering: Numbering, coil: str, voice: Voice) -> Iterator[tuple[float, float]]:
    """When a hammer or chord bar strikes, and how strongly."""
    full, *softer = numbering.pulses_of(coil)
    yield from ((seconds_of(tick) + voice.lead_s, 1.0) for tick in ticks_where(roll, Op.PULSE, full))
    for number, touch in zip(softer, voice.touches[1:], strict=True):
        yield from ((seconds_of(tick) + touch.lead_s, touch.strength) for tick in ticks_where(roll, Op.PULSE, number))


def ticks_where(roll: Roll, op: Op, argument: int) -> Iterator[int]:
    """Timer ticks of all commands of one kind for one device."""
    return (cue.tick for cue in roll.cues if cue.op is op and cue.argument == argument)


def plucks_of(roll: Roll, numbering: Numbering, pluck: Pluck, voice: Voice) -> Iterator[float]:
    """When the string is plucked."""
    if isinstance(pluck, KickedPick):
        ticks = ticks_where(roll, Op.PULSE, numbering.coils.index(pluck.coil))
    else:
        ticks = ticks_where(roll, Op.TURN, numbering.axes.index(pluck.motor))
    return (seconds_of(tick) + voice.lead_s for tick in ticks)


def spans_of(roll: Roll, numbering: Numbering, axis: Axis) -> list[Span]:
    """Every move of a carriage, in time order."""
    spans, at = [], 0
    for cue in roll.cues:
        if cue.op is Op.MOVE and numbering.stops[cue.argument][0] == axis.motor:
            target, start_s = numbering.stops[cue.argument][1], seconds_of(cue.tick)
            spans.append(Span(start_s, start_s + axis.ramp.duration_s(abs(target - at)), at, target))
            at = target
    return spans


def _steps_at(at_s: float, spans: list[Span], axis: Axis) -> int:
    """Where the carriage is at a moment."""
    begun = bisect_right(spans, at_s, key=lambda span: span.start_s)
    if not begun:
        return 0
    span = spans[begun - 1]
    done = axis.ramp.steps_done(at_s - span.start_s, abs(span.target - span.origin))
    return span.origin + (done if span.target > span.origin else -done)


def _fingers(roll: Roll, numbering: Numbering, part: FrettedString, ensemble: Ensemble) -> list[tuple[int, float, float]]:
    """(fret, down from, up again at) for each time a finger is on the string."""
    fingers = []
    for finger in part.fingers:
        number, coil = numbering.coils.index(finger.coil), ensemble.mechanism.coil(finger.coil)
        down_s: float | None = None
        for cue in roll.cues:
            if cue.op is Op.HOLD and cue.argument == number:
                down_s = seconds_of(cue.tick) + coil_lead_s(coil, ensemble.mechanism)
            elif cue.op is Op.RELEASE and cue.argument == number and down_s is not None:
                fingers.append((finger.fret, down_s, seconds_of(cue.tick) + coil_release_s(coil, ensemble.mechanism)))
                down_s = None
        if down_s is not None:
            fingers.append((finger.fret, down_s, math.inf))
    return fingers


def _fret_at(at_s: float, fingers: list[tuple[int, float, float]]) -> int:
    """The highest fret held down at a moment, 0 for none."""
    return max((fret for fret, down, up in fingers if down <= at_s < up), default=0)
