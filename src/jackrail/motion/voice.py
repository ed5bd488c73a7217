"""Voices: what fitting knows of a machine. A bar, a fretted string, a hammer and a chord bar all become one.

A voice is a set of places it can sound from, the time between any two of them, a re-arm time, a lead from command to
sound. Nothing later asks what kind of mechanism makes it; a new mechanism needs a function here and no more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from jackrail.machine.geometry import semitones_at
from jackrail.machine.instrument import Instrument, String
from jackrail.machine.mechanism import (
    ChordBar,
    Coil,
    FrettedString,
    Hammer,
    KickedPick,
    Mechanism,
    Pluck,
    TravellingStop,
)
from jackrail.machine.stops import stops_of

from .axis import Axis
from .heat import Blow, Endurance, Press
from .sway import Sway, sway_at

GUARD_S = 0.0005
"""Kept free between two commands to one device, so that the packing of a roll (50 us either way) never makes them overlap."""
_SPEAKS_S = 0.02
"""A finger that is lifted between two notes of its fret stays down so long after the pluck."""

Part = Literal["melody", "chord", "beat"]


@dataclass(frozen=True)
class Place:
    """Where a voice can sound from. midi: key, None for a drum; cents: error of this place; position_mm from the nut.

    steps: carriage position, 0 for a voice that does not travel. fret: 0 for the open string.
    """

    name: str
    midi: int | None
    cents: float = 0.0
    position_mm: float = 0.0
    steps: int = 0
    fret: int = 0


@dataclass(frozen=True)
class Touch:
    """A way to strike. strength: 0 to 1, of the full blow; pulse_s: its coil is on so long; lead_s: from that command to the sound."""

    strength: float
    pulse_s: float
    lead_s: float


@dataclass(frozen=True)
class Voice:
    """One voice.

    part: what it plays. sources: ids of the strings or sounder that ring. move_s[p][q]: from leaving place p to being fit
    to sound at place q (0 for p == q). ready_s[p]: from homed and at rest to the first sound at place p. rearm_s: least time
    between two onsets. lead_s: from the command that strikes to the sound. chord: its name, for a chord bar. settle_s: how much of
    each move is settling. slide_s[p][q]: of gliding from p to q while the string rings, infinite where it cannot; empty for a voice that
    cannot glide at all. ring_s: in which its string fades by 60 dB. blow: the coil that strikes, None where a motor does. presses[p]:
    the finger that holds the string down at p, None where none does; empty for a voice without fingers. sways[p]: how its bar can sway
    there, None where it cannot; empty for a voice without a bar. touches: the ways it can strike, the full blow first, each softer than
    the one before; empty for a voice that strikes in one way only. rearm_s and ready_s hold whatever the touches.
    """

    id: str
    part: Part
    sources: tuple[str, ...]
    places: tuple[Place, ...]
    move_s: tuple[tuple[float, ...], ...]
    ready_s: tuple[float, ...]
    rearm_s: float
    lead_s: float
    chord: str = ""
    slide_s: tuple[tuple[float, ...], ...] = ()
    ring_s: float = 0.0
    settle_s: float = 0.0
    blow: Blow | None = None
    presses: tuple[Press | None, ...] = ()
    sways: tuple[Sway | None, ...] = ()
    touches: tuple[Touch, ...] = ()

    def touch(self, number: int) -> Touch:
        """A way to strike; a voice that strikes in one way only has just the full blow."""
        return self.touches[number] if self.touches else Touch(1.0, self.blow.pulse_s if self.blow else 0.0, self.lead_s)

    def bears(self, strikes_s: Iterable[float]) -> bool:
        """Whether the coil that strikes, if one does, bears full blows at some moments, in whatever order."""
        return self.blow is None or self.blow.bears(sorted(strikes_s))

    @property
    def travels(self) -> bool:
        """Whether a carriage moves between the places."""
        return any(place.steps for place in self.places)


def voices_of(instrument: Instrument, mechanism: Mechanism, axes: dict[str, Axis]) -> tuple[Voice, ...]:
    """All voices of a machine, in the order of its file. axes: by motor id, from `axes_of`."""
    return tuple(_voice(part, instrument, mechanism, axes) for part in mechanism.voices)


def coil_lead_s(coil: Coil, mechanism: Mechanism) -> float:
    """From switching a coil on to its blow, in seconds: relay operate time plus pull-in."""
    relay = mechanism.relay_of(coil)
    return coil.pull_in_s + (relay.operate_s if relay else 0.0)


def coil_release_s(coil: Coil, mechanism: Mechanism) -> float:
    """From switching a coil off to its plunger at rest, in seconds: relay release time plus the coil's own."""
    relay = mechanism.relay_of(coil)
    return coil.release_s + (relay.release_s if relay else 0.0)


def pluck_lead_s(pluck: Pluck, mechanism: Mechanism, axes: dict[str, Axis]) -> float:
    """From the pick's command to the string sounding, in seconds."""
    if isinstance(pluck, KickedPick):
        return coil_lead_s(mechanism.coil(pluck.coil), mechanism)
    turn_steps = mechanism.motor(pluck.motor).microsteps_per_turn
    return axes[pluck.motor].ramp.step_time_s(round(pluck.strike_at_turn * turn_steps), turn_steps)


def pluck_rearm_s(pluck: Pluck, mechanism: Mechanism, axes: dict[str, Axis]) -> float:
    """Least time between two plucks, in seconds."""
    if isinstance(pluck, KickedPick):
        return _pulse_rearm_s(pluck.coil, pluck.pulse_s, mechanism)
    return axes[pluck.motor].ramp.duration_s(mechanism.motor(pluck.motor).microsteps_per_turn) + GUARD_S


def _pluck_blow(pluck: Pluck, mechanism: Mechanism) -> Blow | None:
    return _blow(pluck.coil, pluck.pulse_s, mechanism) if isinstance(pluck, KickedPick) else None


def _blow(coil_id: str, pulse_s: float, mechanism: Mechanism) -> Blow:
    return Blow(pulse_s, _endurance(mechanism.coil(coil_id)))


def _endurance(coil: Coil) -> Endurance:
    return Endurance(coil.max_on_s, coil.max_duty)


def _pulse_rearm_s(coil_id: str, pulse_s: float, mechanism: Mechanism) -> float:
    return pulse_s + coil_release_s(mechanism.coil(coil_id), mechanism) + GUARD_S


def _voice(part: object, instrument: Instrument, mechanism: Mechanism, axes: dict[str, Axis]) -> Voice:
    if isinstance(part, TravellingStop):
        return _travelling(part, instrument.string(part.string), mechanism, axes)
    if isinstance(part, FrettedString):
        return _fretted(part, instrument.string(part.string), mechanism, axes)
    if isinstance(part, Hammer):
        return _hammer(part, instrument, mechanism)
    if isinstance(part, ChordBar):
        return _chord_bar(part, mechanism)
    raise TypeError(f"no voice is made of {type(part).__name__}")


def _travelling(part: TravellingStop, string: String, mechanism: Mechanism, axes: dict[str, Axis]) -> Voice:
    axis = axes[part.carriage.motor]
    places = []
    for stop in stops_of(part, string):
        steps = axis.steps_at(stop.position_mm)
        sounding = string.midi + semitones_at(string.scale_length_mm, axis.position_at(steps))
        places.append(Place(stop.name, stop.midi, 100 * (sounding - stop.midi), axis.position_at(steps), steps))
    travel_s = partial(_travel_s, axis=axis, settle_s=part.carriage.settle_s)
    home, lead_s = Place("home", None), pluck_lead_s(part.pluck, mechanism, axes)
    return Voice(
        id=part.id,
        part="melody",
        sources=(part.string,),
        places=tuple(places),
        move_s=tuple(tuple(travel_s(p, q) for q in places) for p in places),
        ready_s=tuple(max(travel_s(home, place), lead_s) for place in places),
        rearm_s=pluck_rearm_s(part.pluck, mechanism, axes),
        lead_s=lead_s,
        slide_s=tuple(tuple(_travel_s(p, q, axis, settle_s=0.0) or math.inf for q in places) for p in places),
        ring_s=string.ring_s,
        settle_s=part.carriage.settle_s,
        sways=tuple(sway_at(place.steps, part.carriage, string, axis, 2 * GUARD_S) for place in places),
        blow=_pluck_blow(part.pluck, mechanism),
    )


def _travel_s(start: Place, end: Place, axis: Axis, settle_s: float) -> float:
    steps = abs(end.steps - start.steps)
    return axis.ramp.duration_s(steps) + settle_s + GUARD_S if steps else 0.0


def _fretted(part: FrettedString, string: String, mechanism: Mechanism, axes: dict[str, Axis]) -> Voice:
    coils = {finger.fret: mechanism.coil(finger.coil) for finger in part.fingers}
    frets = [0, *sorted(coils)]
    press_s = {0: 0.0} | {fret: coil_lead_s(coil, mechanism) for fret, coil in coils.items()}
    lift_s = {0: 0.0} | {fret: coil_release_s(coil, mechanism) for fret, coil in coils.items()}

    lead_s = pluck_lead_s(part.pluck, mechanism, axes)
    # Between any two notes of one fret its finger can be lifted and pressed again: a coil may not be on for ever.
    afresh_s = _SPEAKS_S + max(press_s[fret] + lift_s[fret] for fret in coils) + part.settle_s + 2 * GUARD_S

    def change_s(start: int, end: int) -> float:
        return 0.0 if start == end else max(lift_s[start], press_s[end]) + part.settle_s + GUARD_S

    return Voice(
        id=part.id,
        part="melody",
        sources=(part.string,),
        places=tuple(Place(f"fret {fret}" if fret else "open", string.midi + fret, fret=fret) for fret in frets),
        move_s=tuple(tuple(change_s(p, q) for q in frets) for p in frets),
        ready_s=tuple(max(change_s(0, fret), lead_s) for fret in frets),
        rearm_s=max(pluck_rearm_s(part.pluck, mechanism, axes), afresh_s),
        lead_s=lead_s,
        settle_s=part.settle_s,
        blow=_pluck_blow(part.pluck, mechanism),
        presses=(None, *(Press(coil.id, press_s[fret], lift_s[fret], _endurance(coil)) for fret, coil in sorted(coils.items()))),
    )


def _hammer(part: Hammer, instrument: Instrument, mechanism: Mechanism) -> Voice:
    sounder = instrument.sounder(part.sounds)
    midi = sounder.midi if sounder is not None else instrument.string(part.sounds).midi
    lead_s = coil_lead_s(mechanism.coil(part.coil), mechanism)
    softer = tuple(Touch(one.strength, one.pulse_s, one.pull_in_s) for one in part.touches)
    longest_s = max([lead_s, *(touch.lead_s for touch in softer)])
    return Voice(
        id=part.id,
        part="beat" if midi is None else "melody",
        sources=(part.sounds,),
        places=(Place(part.sounds, midi),),
        move_s=((0.0,),),
        ready_s=(longest_s,),
        # The coil of a softer blow is switched on earlier by the difference of the leads, and its hammer is back later by as much.
        rearm_s=_pulse_rearm_s(part.coil, max(part.pulse_s, lead_s) if softer else part.pulse_s, mechanism) + longest_s - lead_s,
        lead_s=lead_s,
        blow=_blow(part.coil, part.pulse_s, mechanism),
        touches=(Touch(1.0, part.pulse_s, lead_s), *softer) if softer else (),
    )


def _chord_bar(part: ChordBar, mechanism: Mechanism) -> Voice:
    lead_s = coil_lead_s(mechanism.coil(part.coil), mechanism)
    return Voice(
        id=part.id,
        part="chord",
        sources=part.strings,
        places=(Place(part.chord, None),),
        move_s=((0.0,),),
        ready_s=(lead_s,),
        rearm_s=_pulse_rearm_s(part.coil, part.pulse_s, mechanism),
        lead_s=lead_s,
        blow=_blow(part.coil, part.pulse_s, mechanism),
        chord=part.chord,
    )
