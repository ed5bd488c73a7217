"""From the setting to cues: every lead time is applied here and nowhere else.

A cue is early by as much as its device takes: a pick by the part of its turn before it strikes, a coil by its relay and
its pull-in, a finger by those and the settling of the string, a carriage by its whole move and settling.
"""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.machine.mechanism import ChordBar, FrettedString, Hammer, KickedPick, Pluck, TravellingStop
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.voice import Voice
from jackrail.setting.fingers import finger_holds
from jackrail.setting.legs import legs_of, struck_at_s
from jackrail.setting.model import SetNote, Setting

from .model import Cue


def plan_cues(setting: Setting, ensemble: Ensemble) -> tuple[Cue, ...]:
    """All cues of a setting in time order. Times are at or after 0, the start of play with every axis homed."""
    voices, mechanism = ensemble.voices, ensemble.mechanism
    notes_of: dict[int, list[SetNote]] = {}
    for note in setting.notes:
        notes_of.setdefault(note.voice, []).append(note)
    cues: list[Cue] = []
    for v, notes in notes_of.items():
        part, voice = mechanism.voices[v], voices[v]
        if isinstance(part, TravellingStop):
            cues += _travel_cues(notes, part, voice)
            cues += _pluck_cues(notes, part.pluck, voice)
        elif isinstance(part, FrettedString):
            for hold in finger_holds(notes, voice):
                cues += [Cue(hold.on_s, hold.coil, "hold"), Cue(hold.off_s, hold.coil, "release")]
            cues += _pluck_cues(notes, part.pluck, voice)
        elif isinstance(part, Hammer):
            cues += _hammer_cues(notes, part, voice)
    for at_s, v in [*((s.onset_s, s.voice) for s in setting.strokes), *((b.onset_s, b.voice) for b in setting.beats)]:
        struck = mechanism.voices[v]
        if isinstance(struck, ChordBar | Hammer):
            cues.append(Cue(at_s - voices[v].lead_s, struck.coil, "pulse", struck.pulse_s))
    return tuple(sorted(cues))


def _travel_cues(notes: list[SetNote], part: TravellingStop, voice: Voice) -> Iterator[Cue]:
    """One move before the first note, then every one that the setting knows of."""
    motor = part.carriage.motor
    yield Cue(0.0, motor, "move", voice.places[notes[0].place].steps)
    yield from (Cue(leg.start_s, motor, "move", leg.target) for leg in legs_of(notes, voice))


def _hammer_cues(notes: list[SetNote], part: Hammer, voice: Voice) -> Iterator[Cue]:
    """The pulse of each note's touch, as long before the blow as that touch takes."""
    for note in notes:
        touch = voice.touch(note.touch)
        yield from (Cue(at_s - touch.lead_s, part.coil, "pulse", touch.pulse_s) for at_s in struck_at_s(note))


def _pluck_cues(notes: list[SetNote], pluck: Pluck, voice: Voice) -> Iterator[Cue]:
    for at_s in (struck_s - voice.lead_s for note in notes for struck_s in struck_at_s(note)):
        if isinstance(pluck, KickedPick):
            yield Cue(at_s, pluck.coil, "pulse", pluck.pulse_s)
        else:
            yield Cue(at_s, pluck.motor, "turn")
