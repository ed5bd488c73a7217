"""Faults between subjects: values that are each possible but cannot be together, such as a stop beyond the carriage."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from jackrail.faults import BadInput, Fault

from .instrument import Instrument
from .mechanism import ChordBar, Coil, FrettedString, Hammer, KickedPick, Mechanism, TravellingStop, TurningPick
from .stops import stops_of

MOST_STEPS_PER_S = 40_000
"""Fastest step rate the board makes on two axes at once with all else running (emulator figure, see docs/formats.md)."""
MOST_STOPS = 128
_LEAST_HOLD_S = 0.05
"""A press finger must bear at least so short a note."""


def fitness_faults(instrument: Instrument, mechanism: Mechanism) -> list[Fault]:
    """All faults between an instrument and a mechanism that are each valid; references that fail are left out here."""
    faults: list[Fault] = []
    strings = {string.id: string for string in instrument.strings}
    for index, voice in enumerate(mechanism.voices):
        place = f"mechanism.voices[{index}]"
        if isinstance(voice, TravellingStop):
            found = list(_carriage_faults(voice, mechanism))
            if voice.string in strings:
                try:
                    found += _stop_faults(voice, instrument)
                except BadInput as bad:
                    found += bad.faults
            faults += [fault.within(place) for fault in found]
        elif isinstance(voice, FrettedString):
            faults += [fault.within(place) for fault in _finger_faults(voice, mechanism)]
        pulse = _pulse(voice)
        if pulse is not None:
            faults += [fault.within(place) for fault in _pulse_faults(*pulse, mechanism)]
        if isinstance(voice, TravellingStop | FrettedString) and isinstance(voice.pluck, TurningPick):
            faults += [fault.within(f"{place}.pluck") for fault in _pick_faults(voice.pluck, mechanism)]
    return faults


def _stop_faults(voice: TravellingStop, instrument: Instrument) -> Iterator[Fault]:
    if (voice.stops is None) == (voice.range is None):
        yield Fault("missing", "give either stops or range", hint="stops for places with a detent, range for a bar that stands anywhere")
        return
    carriage = voice.carriage
    stops = stops_of(voice, instrument.string(voice.string))
    if not 1 <= len(stops) <= MOST_STOPS:
        yield Fault(
            "range",
            "too few or too many stops",
            "stops" if voice.stops is not None else "range",
            str(len(stops)),
            f"1 to {MOST_STOPS}",
            "the lowest pitch comes first",
        )
    for stop in stops:
        if not carriage.lowest_mm <= stop.position_mm <= carriage.highest_mm:
            limit = f"{carriage.lowest_mm:g} to {carriage.highest_mm:g} mm"
            yield Fault("range", f"the carriage does not reach the stop {stop.name!r}", "carriage", f"{stop.position_mm:.1f} mm", limit)
    for name, count in Counter(stop.name for stop in stops).items():
        if count > 1:
            yield Fault("twice", f"the stop {name!r} is given {count} times", "stops")


def _carriage_faults(voice: TravellingStop, mechanism: Mechanism) -> Iterator[Fault]:
    carriage = voice.carriage
    if carriage.lowest_mm >= carriage.highest_mm:
        limit = f"above lowest, {carriage.lowest_mm:g} mm"
        yield Fault("range", "highest must lie beyond lowest", "carriage.highest", f"{carriage.highest_mm:g} mm", limit)
    elif not carriage.lowest_mm <= carriage.home_at_mm <= carriage.highest_mm:
        limit = f"{carriage.lowest_mm:g} to {carriage.highest_mm:g} mm"
        yield Fault("range", "the home switch lies outside the travel", "carriage.home_at", f"{carriage.home_at_mm:g} mm", limit)
    motor = next((motor for motor in mechanism.motors if motor.id == carriage.motor), None)
    if motor is not None:
        yield from _rate_faults(carriage.speed_mm_s / carriage.travel_per_turn_mm * motor.microsteps_per_turn, "carriage.speed")


def _pick_faults(pick: TurningPick, mechanism: Mechanism) -> Iterator[Fault]:
    if not 0 < pick.strike_at_turn < 1:
        yield Fault(
            "range", "the pick must strike inside its turn", "strike_at", f"{pick.strike_at_turn:g} turn", "more than 0, less than 1 turn"
        )
    motor = next((motor for motor in mechanism.motors if motor.id == pick.motor), None)
    if motor is not None:
        yield from _rate_faults(pick.speed_turn_s * motor.microsteps_per_turn, "speed")


def _rate_faults(steps_per_s: float, where: str) -> Iterator[Fault]:
    if steps_per_s > MOST_STEPS_PER_S:
        yield Fault(
            "range",
            "more steps a second than the board makes",
            where,
            f"{steps_per_s:.0f}/s",
            f"{MOST_STEPS_PER_S}/s",
            "use fewer microsteps or less speed",
        )


def _finger_faults(voice: FrettedString, mechanism: Mechanism) -> Iterator[Fault]:
    for fret, count in Counter(finger.fret for finger in voice.fingers).items():
        if count > 1:
            yield Fault("twice", f"fret {fret} has {count} fingers", "fingers")
    for index, finger in enumerate(voice.fingers):
        coil = next((coil for coil in mechanism.coils if coil.id == finger.coil), None)
        if coil is not None and coil.max_on_s < _press_s(coil, mechanism) + voice.settle_s + _LEAST_HOLD_S:
            least_ms = 1000 * (_press_s(coil, mechanism) + voice.settle_s + _LEAST_HOLD_S)
            limit = f"max_on of {least_ms:g} ms or more: pull-in, settling and a short note"
            yield Fault("range", "the coil must let go before its note has sounded", f"fingers[{index}].coil", repr(coil.id), limit)


def _press_s(coil: Coil, mechanism: Mechanism) -> float:
    relay = mechanism.relay_of(coil)
    return coil.pull_in_s + (relay.operate_s if relay else 0.0)


def _pulse(voice: object) -> tuple[str, float, str] | None:
    """Coil, on-time and path of a voice that strikes by a pulse."""
    if isinstance(voice, Hammer | ChordBar):
        return voice.coil, voice.pulse_s, "pulse"
    if isinstance(voice, TravellingStop | FrettedString) and isinstance(voice.pluck, KickedPick):
        return voice.pluck.coil, voice.pluck.pulse_s, "pluck.pulse"
    return None


def _pulse_faults(coil_id: str, pulse_s: float, where: str, mechanism: Mechanism) -> Iterator[Fault]:
    coil = next((coil for coil in mechanism.coils if coil.id == coil_id), None)
    if coil is not None and pulse_s > coil.max_on_s:
        limit = f"{1000 * coil.max_on_s:g} ms, max_on of the coil {coil.id!r}"
        yield Fault(
            "range", "the pulse is longer than its coil may be on", where, f"{1000 * pulse_s:g} ms", limit, "a coil held too long burns"
        )
