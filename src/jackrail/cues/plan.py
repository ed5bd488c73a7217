"""From the setting to cues: every lead time is applied here and nowhere else.

A cue is early by as much as its device takes: a pick by the part of its turn before it strikes, a coil by its relay and
its pull-in, a finger by those and the settling of the string, a carriage by its whole move and settling.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from jackrail.machine.mechanism import ChordBar, FrettedString, Hammer, KickedPick, Mechanism, Pluck, TravellingStop
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.voice import GUARD_S, Voice, coil_lead_s, coil_release_s
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
            cues += _finger_cues(notes, part, voice, mechanism)
            cues += _pluck_cues(notes, part.pluck, voice)
        elif isinstance(part, Hammer):
            cues += [Cue(note.onset_s - voice.lead_s, part.coil, "pulse", part.pulse_s) for note in notes]
    for at_s, v in [*((s.onset_s, s.voice) for s in setting.strokes), *((b.onset_s, b.voice) for b in setting.beats)]:
        struck = mechanism.voices[v]
        if isinstance(struck, ChordBar | Hammer):
            cues.append(Cue(at_s - voices[v].lead_s, struck.coil, "pulse", struck.pulse_s))
    return tuple(sorted(cues))


def _travel_cues(notes: list[SetNote], part: TravellingStop, voice: Voice) -> Iterator[Cue]:
    """One move before the first note, then one for each change of stop."""
    motor = part.carriage.motor
    yield Cue(0.0, motor, "move", voice.places[notes[0].place].steps)
    for note, after in pairwise(notes):
        if note.leave_s is not None:
            yield Cue(note.leave_s, motor, "move", voice.places[after.place].steps)


def _pluck_cues(notes: list[SetNote], pluck: Pluck, voice: Voice) -> Iterator[Cue]:
    for note in notes:
        at_s = note.onset_s - voice.lead_s
        if isinstance(pluck, KickedPick):
            yield Cue(at_s, pluck.coil, "pulse", pluck.pulse_s)
        else:
            yield Cue(at_s, pluck.motor, "turn")


def _finger_cues(notes: list[SetNote], part: FrettedString, voice: Voice, mechanism: Mechanism) -> Iterator[Cue]:
    """Press each finger before its note and lift it for the next one, never longer than its coil may be on.

    A finger stays down over repeated notes of its fret while max_on allows; then it is lifted once between two of them.
    """
    coil_of = {finger.fret: mechanism.coil(finger.coil) for finger in part.fingers}
    down_since: float | None = None
    for note, after in zip(notes, [*notes[1:], None], strict=True):
        fret = voice.places[note.place].fret
        if fret == 0:
            continue
        coil = coil_of[fret]
        fit_s = part.settle_s + GUARD_S
        if down_since is None:
            down_since = note.onset_s - fit_s - coil_lead_s(coil, mechanism)
            yield Cue(down_since, coil.id, "hold")
        over_s, latest_s = note.onset_s + note.written_s, down_since + coil.max_on_s
        lift_s = over_s
        if after is not None:
            again = after.place == note.place
            press_again_s = after.onset_s - fit_s - (coil_lead_s(coil, mechanism) + GUARD_S if again else 0.0)
            lift_s = press_again_s - coil_release_s(coil, mechanism)
            if again and after.onset_s + after.written_s <= latest_s:
                continue
        if lift_s > latest_s:  # a rest follows that is longer than the coil may be on
            lift_s = min(over_s, latest_s)
        yield Cue(max(lift_s, note.onset_s), coil.id, "release")
        down_since = None
