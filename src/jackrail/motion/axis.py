"""Axes: each stepper with its ramp, its step and where its steps are counted from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.faults import BadInput
from jackrail.machine.mechanism import Carriage, Mechanism, TravellingStop, TurningPick

from .ramp import Ramp, make_ramp


@dataclass(frozen=True)
class Axis:
    """One stepper as the board drives it.

    motor: its id. unit: "mm" for a carriage, "turn" for a pick. step: size of one step in that unit. zero: where step 0
    lies (the home switch of a carriage, 0 for a pick). lowest, highest: soft limits in steps (a pick has none: both 0).
    """

    motor: str
    unit: str
    step: float
    zero: float
    lowest: int
    highest: int
    ramp: Ramp

    def steps_at(self, position: float) -> int:
        """The whole step nearest to a position in the axis's unit."""
        return round((position - self.zero) / self.step)

    def position_at(self, steps: float) -> float:
        """Position in the axis's unit of a (possibly fractional) step count."""
        return self.zero + steps * self.step


def axes_of(mechanism: Mechanism) -> dict[str, Axis]:
    """All axes by motor id, in the order of the voices. Raises BadInput with a fault for each ramp the board cannot run."""
    faults = []
    axes: dict[str, Axis] = {}
    for place, part in _driven(mechanism):
        try:
            axes[part.motor] = _carriage_axis(part, mechanism) if isinstance(part, Carriage) else _pick_axis(part, mechanism)
        except BadInput as bad:
            faults += [fault.within(place) for fault in bad.faults]
    if faults:
        raise BadInput(faults)
    return axes


def _driven(mechanism: Mechanism) -> Iterator[tuple[str, Carriage | TurningPick]]:
    for index, voice in enumerate(mechanism.voices):
        if isinstance(voice, TravellingStop):
            yield f"mechanism.voices[{index}].carriage", voice.carriage
        pluck = getattr(voice, "pluck", None)
        if isinstance(pluck, TurningPick):
            yield f"mechanism.voices[{index}].pluck", pluck


def _carriage_axis(carriage: Carriage, mechanism: Mechanism) -> Axis:
    step = carriage.travel_per_turn_mm / mechanism.motor(carriage.motor).microsteps_per_turn
    low, high = ((limit - carriage.home_at_mm) / step for limit in (carriage.lowest_mm, carriage.highest_mm))
    ramp = make_ramp(step, carriage.speed_mm_s, carriage.acceleration_mm_s2)
    return Axis(carriage.motor, "mm", step, carriage.home_at_mm, round(low), round(high), ramp)


def _pick_axis(pick: TurningPick, mechanism: Mechanism) -> Axis:
    step = 1.0 / mechanism.motor(pick.motor).microsteps_per_turn
    return Axis(pick.motor, "turn", step, 0.0, 0, 0, make_ramp(step, pick.speed_turn_s, pick.acceleration_turn_s2))
