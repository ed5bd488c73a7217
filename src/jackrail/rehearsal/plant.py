"""The plant of a machine: its file turned into the configuration of rig/plant.c, and what the plant tells read back.

A machine file says nothing of inertia, friction or how a switch bounces. What is taken for them stands in `Assumptions`,
to be replaced by whoever has measured. Nothing here knows what was planned: geometry is taken from the machine file anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from jackrail.machine.board import pin_number
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import Carriage, Coil, FrettedString, Hammer, Motor, TravellingStop, TurningPick
from jackrail.machine.stops import stops_of

NONE = -1
_ELECTRICAL_TURN_STEPS = 4

Row = dict[str, Any]


@dataclass(frozen=True)
class Assumptions:
    """What the plant takes for what a machine file does not say.

    rotor_s2: rotor inertia over holding torque, kg*m2 in a N*m: 54 g*cm2 at 0.4 N*m, typical of motor data (from memory).
    carriage_kg: what a carriage carries along (a check value's worked case; a light bar with its pick weighs less).
    pick_share: inertia of a pick over its rotor's. friction_share: friction over holding torque, some 3 N on a belt of
    40 mm a turn. drag_share: torque lost to speed at 10 turns a second, over holding torque. swing: damping ratio of a rotor
    about its field, where no settling time tells it (all: common practice, no source).
    end_mm: from a soft limit to the hard stop. detent_mm, index_turn: half width of a detent and of the rest of a pick.
    slack_mm, slack_turn: how much further a switch opens than it closed. bounce_s: longest bounce of a switch.
    start: position at power-on by motor id, mm or turns; where none is given a carriage stands at 0.37 of its travel away
    from its switch, and a pick between its string and its rest. carriage_mass_kg, inertia_kgm2: by motor id, measured.
    source_ohm: inside resistance by rail id. seed: of the bounces.
    """

    rotor_s2: float = 1.35e-5
    carriage_kg: float = 0.3
    pick_share: float = 0.2
    friction_share: float = 0.05
    drag_share: float = 0.02
    swing: float = 0.15
    end_mm: float = 3.0
    detent_mm: float = 0.4
    index_turn: float = 0.04
    slack_mm: float = 0.05
    slack_turn: float = 0.002
    bounce_s: float = 0.0015
    start: Mapping[str, float] = field(default_factory=dict)
    carriage_mass_kg: Mapping[str, float] = field(default_factory=dict)
    inertia_kgm2: Mapping[str, float] = field(default_factory=dict)
    source_ohm: Mapping[str, float] = field(default_factory=dict)
    seed: int = 1


@dataclass(frozen=True)
class Configuration:
    """The rows of plant.h's structs, and the ids of their devices in the same order: the machine file's order."""

    rails: tuple[Row, ...]
    motors: tuple[Row, ...]
    coils: tuple[Row, ...]
    switches: tuple[Row, ...]
    contacts: tuple[Row, ...]
    clock_hz: float
    seed: int
    rail_ids: tuple[str, ...]
    motor_ids: tuple[str, ...]
    coil_ids: tuple[str, ...]
    switch_ids: tuple[str, ...]


def wired_pin(pin: str | None) -> int:
    """Number of a pin's name, -1 for None."""
    return NONE if pin is None else pin_number(pin)


def configure(machine: Machine, assumed: Assumptions | None = None) -> Configuration:
    """The plant of a (valid) machine."""
    return _Builder(machine, assumed or Assumptions()).configuration()


class _Builder:
    """Goes through a machine once; knows which motor and coil serves which voice."""

    def __init__(self, machine: Machine, assumed: Assumptions) -> None:
        self.machine, self.assumed = machine, assumed
        mechanism = machine.mechanism
        self.rail_ids = tuple(rail.id for rail in machine.supply.rails)
        self.motor_ids = tuple(motor.id for motor in mechanism.motors)
        self.coil_ids = tuple(coil.id for coil in mechanism.coils)
        self.switch_ids = tuple(switch.id for switch in mechanism.switches)
        travelling = [voice for voice in mechanism.voices if isinstance(voice, TravellingStop)]
        self.carriages = {voice.carriage.motor: voice.carriage for voice in travelling}
        self.picks = {pick.motor: pick for pick in self._turning_picks()}
        self.under = {
            (voice.pluck.motor if isinstance(voice.pluck, TurningPick) else voice.pluck.coil): self.motor_ids.index(voice.carriage.motor)
            for voice in travelling
        }
        self.touches = {voice.coil: voice.touches for voice in mechanism.voices if isinstance(voice, Hammer)}
        self.fingers = {finger.coil for voice in mechanism.voices if isinstance(voice, FrettedString) for finger in voice.fingers}

    def configuration(self) -> Configuration:
        mechanism = self.machine.mechanism
        return Configuration(
            rails=tuple(self._rails()),
            motors=tuple(self._motor(motor) for motor in mechanism.motors),
            coils=tuple(self._coil(coil) for coil in mechanism.coils),
            switches=tuple(
                {"pin": self._pin(switch.id), "closed_high": int(switch.closed == "high"), "bounce_s": self.assumed.bounce_s}
                for switch in mechanism.switches
            ),
            contacts=tuple(self._contacts()),
            clock_hz=self.machine.board.clock_hz,
            seed=self.assumed.seed,
            rail_ids=self.rail_ids,
            motor_ids=self.motor_ids,
            coil_ids=self.coil_ids,
            switch_ids=self.switch_ids,
        )

    def _pin(self, device: str) -> int:
        return wired_pin(self.machine.board.pins.get(device))

    def _turning_picks(self) -> Iterator[TurningPick]:
        for voice in self.machine.mechanism.voices:
            if isinstance(voice, TravellingStop | FrettedString) and isinstance(voice.pluck, TurningPick):
                yield voice.pluck

    def _rails(self) -> Iterator[Row]:
        board = self.machine.board
        for rail in self.machine.supply.rails:
            yield {
                "voltage_v": rail.voltage_v,
                "source_ohm": self.assumed.source_ohm.get(rail.id, 0.0),
                "from": NONE if rail.source is None else self.rail_ids.index(rail.source),
                "efficiency": rail.efficiency,
                "base_a": board.current_a if rail.id == board.rail else 0.0,
            }

    def _motor(self, motor: Motor) -> Row:
        inertia = self._inertia_kgm2(motor)
        return {
            "step_pin": self._pin(f"{motor.id}.step"),
            "direction_pin": self._pin(f"{motor.id}.direction"),
            "enable_pin": self._pin(f"{motor.id}.enable"),
            "reversed": int(motor.reversed),
            "rail": self.rail_ids.index(motor.rail),
            "steps_per_turn": motor.steps_per_turn,
            "microsteps": motor.microsteps,
            "current_a": motor.current_a,
            "hold": motor.hold,
            "resistance_ohm": motor.resistance_ohm,
            "inductance_h": motor.inductance_h,
            "driver_minimum_v": motor.driver_minimum_v,
            "holding_torque_nm": motor.holding_torque_nm,
            "inertia_kgm2": inertia,
            "friction_nm": self.assumed.friction_share * motor.holding_torque_nm,
            "drag_nms": self.assumed.drag_share * motor.holding_torque_nm / (10 * math.tau),
            "damping_nms": self._damping_nms(motor, inertia),
            "load_nm": 0.0,
            **self._travel(motor),
        }

    def _inertia_kgm2(self, motor: Motor) -> float:
        """Rotor and what it moves: m * (travel / 2 pi)^2 for a carriage."""
        assumed = self.assumed
        if motor.id in assumed.inertia_kgm2:
            return assumed.inertia_kgm2[motor.id]
        rotor = assumed.rotor_s2 * motor.holding_torque_nm
        carriage = self.carriages.get(motor.id)
        if carriage is None:
            return rotor * (1 + assumed.pick_share)
        mass_kg = assumed.carriage_mass_kg.get(motor.id, assumed.carriage_kg)
        return rotor + mass_kg * (carriage.travel_per_turn_mm / 1000 / math.tau) ** 2

    def _damping_nms(self, motor: Motor, inertia: float) -> float:
        """So that a swing exp(-b t / 2J) has fallen to exp(-4) within a carriage's settling time; else by the damping ratio."""
        own = math.sqrt(motor.steps_per_turn / _ELECTRICAL_TURN_STEPS * motor.holding_torque_nm / inertia)  # rad/s, as G41
        carriage = self.carriages.get(motor.id)
        settle_s = carriage.settle_s if carriage is not None else 0.0
        ratio = min(4 / (settle_s * own), 0.5) if settle_s > 0 else self.assumed.swing
        return 2 * ratio * own * inertia

    def _travel(self, motor: Motor) -> Row:
        start = self.assumed.start.get(motor.id)
        row: Row = {"travel": 1.0, "low_end": -math.inf, "high_end": math.inf, "strike_at": -1.0, "carriage": NONE}
        if motor.id in self.carriages:
            carriage = self.carriages[motor.id]
            row |= {"travel": carriage.travel_per_turn_mm, "start": _away_mm(carriage) if start is None else start}
            row |= {"low_end": carriage.lowest_mm - self.assumed.end_mm, "high_end": carriage.highest_mm + self.assumed.end_mm}
        elif motor.id in self.picks:
            strike_at = self.picks[motor.id].strike_at_turn
            row |= {"strike_at": strike_at, "carriage": self.under.get(motor.id, NONE)}
            row |= {"start": (strike_at + 1) / 2 if start is None else start}
        else:
            row |= {"start": start or 0.0}
        return row

    def _coil(self, coil: Coil) -> Row:
        relay = self.machine.mechanism.relay_of(coil)
        return {
            "pin": self._pin(coil.id),
            "rail": self.rail_ids.index(coil.rail),
            "resistance_ohm": coil.resistance_ohm,
            "pull_in_s": coil.pull_in_s,
            "release_s": coil.release_s,
            "operate_s": relay.operate_s if relay else 0.0,
            "let_go_s": relay.release_s if relay else 0.0,
            "relay_rail": self.rail_ids.index(relay.rail) if relay else NONE,
            "relay_a": relay.current_a if relay else 0.0,
            "finger": int(coil.id in self.fingers),
            "carriage": self.under.get(coil.id, NONE),
            **self._touches(coil),
        }

    def _touches(self, coil: Coil) -> Row:
        """The measured softer blows of a hammer's coil."""
        touches = self.touches.get(coil.id, ())
        return {
            "touches": len(touches),
            "touch_on_s": [touch.pulse_s for touch in touches],
            "touch_strength": [touch.strength for touch in touches],
            "touch_pull_in_s": [touch.pull_in_s for touch in touches],
        }

    def _contacts(self) -> Iterator[Row]:
        for voice in self.machine.mechanism.voices:
            if isinstance(voice, TravellingStop):
                yield self._contact(voice.carriage.home_switch, voice.carriage.motor, [_home_span(voice.carriage)])
                if voice.carriage.detent_switch is not None:
                    yield self._contact(voice.carriage.detent_switch, voice.carriage.motor, self._detents(voice))
        for pick in self.picks.values():
            if pick.index_switch is not None:
                half = self.assumed.index_turn
                yield self._contact(pick.index_switch, pick.motor, [(-half, half)], period=1.0)

    def _contact(self, switch: str, motor: str, spans: list[tuple[float, float]], period: float = 0.0) -> Row:
        return {
            "on_switch": self.switch_ids.index(switch),
            "motor": self.motor_ids.index(motor),
            "low": [low for low, _ in spans],
            "high": [high for _, high in spans],
            "period": period,
            "slack": self.assumed.slack_turn if period else self.assumed.slack_mm,
        }

    def _detents(self, voice: TravellingStop) -> list[tuple[float, float]]:
        """Where the bar rests in a stop; stops so near each other that the switch cannot open between them are one."""
        half = self.assumed.detent_mm
        spans: list[tuple[float, float]] = []
        for stop in stops_of(voice, self.machine.instrument.string(voice.string)):
            span = (stop.position_mm - half, stop.position_mm + half)
            if spans and span[0] - spans[-1][1] <= 2 * self.assumed.slack_mm:
                span = (spans.pop()[0], span[1])
            spans.append(span)
        return spans


def _home_is_low(carriage: Carriage) -> bool:
    return carriage.home_at_mm - carriage.lowest_mm <= carriage.highest_mm - carriage.home_at_mm


def _home_span(carriage: Carriage) -> tuple[float, float]:
    """Home is closed from the switch on, towards that end of the travel which is nearer."""
    return (-math.inf, carriage.home_at_mm) if _home_is_low(carriage) else (carriage.home_at_mm, math.inf)


def _away_mm(carriage: Carriage) -> float:
    travel = 0.37 * (carriage.highest_mm - carriage.lowest_mm)
    return carriage.lowest_mm + travel if _home_is_low(carriage) else carriage.highest_mm - travel
