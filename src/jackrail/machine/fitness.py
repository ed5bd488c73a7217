"""Faults between subjects: values that are each possible but cannot be together, such as a stop beyond the carriage.

Looks at every part that is itself valid, also when others are not, so that one slip never hides another.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from jackrail.faults import BadInput, Fault

from .board import STEP_PINS
from .instrument import String
from .mechanism import Carriage, ChordBar, Coil, FrettedString, Hammer, KickedPick, Motor, Relay, TravellingStop, TurningPick, VoicePart
from .pins import timer_pins_taken
from .stops import Stop, stops_of
from .touches import touch_faults

MOST_STEPS_PER_S = 40_000
"""The step rate the board is to reach on two axes at once with all else running: a budget for the firmware."""
MOST_EXTRA_STEPS_PER_S = 4_000
"""The same for a motor whose step line the timer does not drive: its edges are made by software on a grid of 50 us."""
MOST_TRAVEL_STEPS = 65_535
"""The board counts the steps of one move in 16 bits."""
MOST_STOPS = 128
MOST_STOPS_IN_ALL = 255
SWAY_RECORDS = 3
"""Stop records of a place where the bar may sway: the place, and where it turns on either side."""
MOST_STEPS_PER_TURN = 65_535
"""Both fixed by the size of their fields in the machine block (docs/SPEC-roll.md)."""
_LEAST_HOLD_S = 0.05
"""A press finger must bear at least so short a note."""


@dataclass
class ValidParts:
    """The parts of a machine file that are valid by themselves; voices with their place in the file."""

    strings: dict[str, String] = field(default_factory=dict)
    motors: dict[str, Motor] = field(default_factory=dict)
    relays: dict[str, Relay] = field(default_factory=dict)
    coils: dict[str, Coil] = field(default_factory=dict)
    voices: dict[int, VoicePart] = field(default_factory=dict)
    pins: dict[str, str] = field(default_factory=dict)


def fitness_faults(parts: ValidParts) -> list[Fault]:
    """All faults between parts. Names that refer to nothing are not told here (see `references`)."""
    faults: list[Fault] = []
    all_stops = 0
    for index, voice in parts.voices.items():
        found: list[Fault] = []
        if isinstance(voice, TravellingStop):
            found += _carriage_faults(voice.carriage, parts)
            if (voice.stops is None) == (voice.range is None):
                hint = "stops for places with a detent, range for a bar that stands anywhere"
                found.append(Fault("missing", "give either stops or range", hint=hint))
            elif voice.string in parts.strings:
                found += _bridge_faults(voice.carriage, parts.strings[voice.string])
                try:
                    stops = stops_of(voice, parts.strings[voice.string])
                    found += _stop_faults(voice, stops)
                    all_stops += len(stops) * (SWAY_RECORDS if voice.carriage.vibrato_mm else 1)
                except BadInput as bad:
                    found += bad.faults
        elif isinstance(voice, FrettedString):
            found += _finger_faults(voice, parts)
        found += _pulse_faults(voice, parts)
        if isinstance(voice, Hammer):
            found += touch_faults(voice, parts.coils.get(voice.coil))
        if isinstance(voice, TravellingStop | FrettedString) and isinstance(voice.pluck, TurningPick):
            found += [fault.within("pluck") for fault in _pick_faults(voice.pluck, parts)]
        faults += [fault.within(f"mechanism.voices[{index}]") for fault in found]
    if all_stops > MOST_STOPS_IN_ALL:
        hint = f"a bar with vibrato takes {SWAY_RECORDS} for each stop: where it stands, and where it turns on either side"
        faults.append(Fault("range", "too many stops in all", "mechanism.voices", str(all_stops), f"at most {MOST_STOPS_IN_ALL}", hint))
    return faults


def _stop_faults(voice: TravellingStop, stops: tuple[Stop, ...]) -> Iterator[Fault]:
    where = "stops" if voice.range is None else "range"
    if voice.range is not None and not stops:
        yield Fault("range", "the range ends below its start", where, " to ".join(voice.range), hint="the lowest pitch comes first")
    elif not 1 <= len(stops) <= MOST_STOPS:
        yield Fault("range", "too few or too many stops", where, str(len(stops)), f"1 to {MOST_STOPS}")
    carriage = voice.carriage
    beyond = [stop for stop in stops if not carriage.lowest_mm <= stop.position_mm <= carriage.highest_mm]
    if beyond and carriage.lowest_mm < carriage.highest_mm:
        limit = f"{carriage.lowest_mm:g} to {carriage.highest_mm:g} mm, the carriage's lowest and highest"
        shown = ", ".join(f"{stop.name} at {stop.position_mm:.1f} mm" for stop in beyond[:4]) + (" and more" if len(beyond) > 4 else "")
        yield Fault("range", f"the carriage does not reach {len(beyond)} of the stops", where, shown, limit)
    for name, count in Counter(stop.name for stop in stops).items():
        if count > 1:
            yield Fault("twice", f"the stop {name!r} is given {count} times", where)


def _bridge_faults(carriage: Carriage, string: String) -> Iterator[Fault]:
    """The soft limits are all that keeps a carriage from the bridge."""
    if carriage.highest_mm > string.scale_length_mm:
        limit = f"{string.scale_length_mm:g} mm, the scale length of {string.id!r}"
        yield Fault("range", "the carriage may run beyond the bridge", "carriage.highest", f"{carriage.highest_mm:g} mm", limit)


def _carriage_faults(carriage: Carriage, parts: ValidParts) -> Iterator[Fault]:
    travel = f"{carriage.lowest_mm:g} to {carriage.highest_mm:g} mm"
    if carriage.lowest_mm >= carriage.highest_mm:
        limit = f"above lowest, {carriage.lowest_mm:g} mm"
        yield Fault("range", "highest must lie beyond lowest", "carriage.highest", f"{carriage.highest_mm:g} mm", limit)
    elif not carriage.lowest_mm <= carriage.home_at_mm <= carriage.highest_mm:
        yield Fault("range", "the home switch lies outside the travel", "carriage.home_at", f"{carriage.home_at_mm:g} mm", travel)
    if carriage.vibrato_mm and carriage.detent_switch is not None:
        hint = "leave out vibrato, or the detents and their switch"
        yield Fault("range", "a bar that sways would leave its detent", "carriage.vibrato", f"{carriage.vibrato_mm:g} mm", "0 mm", hint)
    motor = parts.motors.get(carriage.motor)
    if motor is not None:
        yield from _rate_faults(carriage.speed_mm_s / carriage.travel_per_turn_mm, motor, "carriage.", parts)
        steps = (carriage.highest_mm - carriage.lowest_mm) / carriage.travel_per_turn_mm * motor.microsteps_per_turn
        if round(steps) > MOST_TRAVEL_STEPS:
            value, limit, hint = f"{steps:.0f} steps", f"{MOST_TRAVEL_STEPS} steps", "use fewer microsteps"
            yield Fault("range", "the carriage travels more steps than the board counts", "carriage.highest", value, limit, hint)


def _pick_faults(pick: TurningPick, parts: ValidParts) -> Iterator[Fault]:
    if not 0 < pick.strike_at_turn < 1:
        limit = "more than 0, less than 1 turn"
        yield Fault("range", "the pick must strike inside its turn", "strike_at", f"{pick.strike_at_turn:g} turn", limit)
    motor = parts.motors.get(pick.motor)
    if motor is not None:
        yield from _rate_faults(pick.speed_turn_s, motor, "", parts)


def _rate_faults(turns_per_s: float, motor: Motor, where: str, parts: ValidParts) -> Iterator[Fault]:
    steps_per_s = turns_per_s * motor.microsteps_per_turn
    line = f"{motor.id}.step"
    by_software = parts.pins.get(line) not in STEP_PINS and timer_pins_taken(parts.pins, line)
    most, which = (MOST_EXTRA_STEPS_PER_S, f" on a pin other than {' and '.join(STEP_PINS)}") if by_software else (MOST_STEPS_PER_S, "")
    if steps_per_s > most:
        value, limit, hint = f"{steps_per_s:.0f}/s", f"{most}/s", "use fewer microsteps or less speed"
        yield Fault("range", f"more steps a second than the board makes{which}", f"{where}speed", value, limit, hint)
    if motor.microsteps_per_turn > MOST_STEPS_PER_TURN:
        value, limit = str(motor.microsteps_per_turn), f"{MOST_STEPS_PER_TURN} for one turn"
        yield Fault("range", f"the motor {motor.id!r} has too many microsteps", f"{where}motor", value, limit, "use fewer microsteps")


def _finger_faults(voice: FrettedString, parts: ValidParts) -> Iterator[Fault]:
    for fret, count in Counter(finger.fret for finger in voice.fingers).items():
        if count > 1:
            yield Fault("twice", f"fret {fret} has {count} fingers", "fingers")
    for index, finger in enumerate(voice.fingers):
        coil = parts.coils.get(finger.coil)
        if coil is None:
            continue
        least_s = _blow_s(coil, parts) + voice.settle_s + _LEAST_HOLD_S
        if coil.max_on_s < least_s:
            limit = f"max_on of {1000 * least_s:g} ms or more: pull-in, settling and a short note"
            yield Fault("range", "the coil must let go before its note has sounded", f"fingers[{index}].coil", repr(coil.id), limit)


def _blow_s(coil: Coil, parts: ValidParts) -> float:
    relay = parts.relays.get(coil.relay or "")
    return coil.pull_in_s + (relay.operate_s if relay else 0.0)


def _pulse_faults(voice: VoicePart, parts: ValidParts) -> Iterator[Fault]:
    """A pulse longer than its coil bears."""
    if isinstance(voice, Hammer | ChordBar):
        coil_id, pulse_s, where = voice.coil, voice.pulse_s, "pulse"
    elif isinstance(voice.pluck, KickedPick):
        coil_id, pulse_s, where = voice.pluck.coil, voice.pluck.pulse_s, "pluck.pulse"
    else:
        return
    coil = parts.coils.get(coil_id)
    if coil is not None and pulse_s > coil.max_on_s:
        limit = f"{1000 * coil.max_on_s:g} ms, max_on of the coil {coil.id!r}"
        value, hint = f"{1000 * pulse_s:g} ms", "a coil held too long burns"
        yield Fault("range", "the pulse is longer than its coil may be on", where, value, limit, hint)
