"""Current drawn from each rail over the cues: a trace of steps in time, with the converter's share on the rail before it.

A stepper behind a chopping driver takes from its rail the power of its windings, I^2 R for microstepped sine currents
(the two windings together carry one full current), and while it moves what it can turn into motion. That part is taken
as half the holding torque at full speed: on the safe side for a planned move, common practice, no source. Driver losses
are taken as a tenth. A coil takes U / R from switch-on; its rise time is left out, which is on the safe side.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from itertools import accumulate

from jackrail.cues.model import Cue
from jackrail.findings import Finding
from jackrail.machine.board import Board, Supply
from jackrail.machine.mechanism import Motor
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble

_DRIVER_EFFICIENCY = 0.9
_TORQUE_SHARE = 0.5
_NEAR = 0.8


@dataclass(frozen=True)
class Trace:
    """Current of one rail: from times_s[i] on it is currents_a[i], until the next. end_s closes the last."""

    rail: str
    limit_a: float
    times_s: tuple[float, ...]
    currents_a: tuple[float, ...]
    end_s: float

    @property
    def peak_a(self) -> float:
        """Highest current."""
        return max(self.currents_a)

    @property
    def mean_a(self) -> float:
        """Mean current over the whole trace."""
        ends = (*self.times_s[1:], self.end_s)
        total = sum(a * (end - at) for at, end, a in zip(self.times_s, ends, self.currents_a, strict=True))
        return total / max(self.end_s - self.times_s[0], 1e-9)

    @property
    def peak_at_s(self) -> float:
        """When the highest current is first drawn."""
        return self.times_s[self.currents_a.index(self.peak_a)]


Steps = dict[str, list[tuple[float, float]]]
"""For each rail, (time, change of current) in any order."""


def current_traces(cues: tuple[Cue, ...], ensemble: Ensemble, board: Board, supply: Supply, end_s: float) -> tuple[Trace, ...]:
    """One trace for each rail, from 0 to end_s seconds."""
    steps: Steps = defaultdict(list)
    steps[board.rail].append((0.0, board.current_a))
    for motor in ensemble.mechanism.motors:
        still_a = _winding_power_w(motor, motor.hold) / supply.rail(motor.rail).voltage_v
        steps[motor.rail].append((0.0, still_a))
        if motor.id in ensemble.axes:
            axis = ensemble.axes[motor.id]
            more_a = _moving_power_w(motor, axis) / supply.rail(motor.rail).voltage_v - still_a
            for start_s, stop_s in _moves(cues, axis, motor):
                steps[motor.rail] += [(start_s, more_a), (stop_s, -more_a)]
    for coil_id, rail, amps in _coil_loads(ensemble, supply):
        for start_s, stop_s in _on_times(cues, coil_id, end_s):
            steps[rail] += [(start_s, amps), (stop_s, -amps)]
    return _all_rails(steps, supply, end_s)


def current_findings(traces: tuple[Trace, ...]) -> list[Finding]:
    """Rails that are asked for too much, or nearly so."""
    findings = []
    for trace in traces:
        if trace.peak_a > _NEAR * trace.limit_a:
            over = trace.peak_a > trace.limit_a
            findings.append(
                Finding(
                    "power.rail-over" if over else "power.rail-near",
                    "error" if over else "warning",
                    f"supply.rails.{trace.rail}",
                    f"{trace.peak_a:.2f} A drawn at {trace.peak_at_s:.2f} s from a rail that gives {trace.limit_a:g} A",
                    trace.peak_a,
                    trace.limit_a,
                    "A",
                    "use a larger supply or converter, or fewer coils at once",
                )
            )
    return findings


def _winding_power_w(motor: Motor, share: float) -> float:
    return (share * motor.current_a) ** 2 * motor.resistance_ohm / _DRIVER_EFFICIENCY


def _moving_power_w(motor: Motor, axis: Axis) -> float:
    turns_s = axis.ramp.tick_hz / axis.ramp.cruise_ticks / motor.microsteps_per_turn
    shaft_w = _TORQUE_SHARE * motor.holding_torque_nm * 2 * math.pi * turns_s
    return _winding_power_w(motor, 1.0) + shaft_w / _DRIVER_EFFICIENCY


def _moves(cues: tuple[Cue, ...], axis: Axis, motor: Motor) -> list[tuple[float, float]]:
    """Start and end of everything an axis does."""
    spans, at = [], 0
    for cue in cues:
        if cue.device == motor.id:
            steps = motor.microsteps_per_turn if cue.action == "turn" else abs(int(cue.value) - at)
            at = at if cue.action == "turn" else int(cue.value)
            spans.append((cue.time_s, cue.time_s + axis.ramp.duration_s(steps)))
    return spans


def _coil_loads(ensemble: Ensemble, supply: Supply) -> list[tuple[str, str, float]]:
    """Coil id, rail and current of each coil, and of the relay that switches it."""
    loads = []
    for coil in ensemble.mechanism.coils:
        loads.append((coil.id, coil.rail, supply.rail(coil.rail).voltage_v / coil.resistance_ohm))
        relay = ensemble.mechanism.relay_of(coil)
        if relay is not None:
            loads.append((coil.id, relay.rail, relay.current_a))
    return loads


def _on_times(cues: tuple[Cue, ...], coil_id: str, end_s: float) -> list[tuple[float, float]]:
    spans, since = [], None
    for cue in cues:
        if cue.device != coil_id:
            continue
        if cue.action == "pulse":
            spans.append((cue.time_s, cue.time_s + cue.value))
        elif cue.action == "hold":
            since = cue.time_s
        elif cue.action == "release" and since is not None:
            spans.append((since, cue.time_s))
            since = None
    return spans if since is None else [*spans, (since, end_s)]


def _all_rails(steps: Steps, supply: Supply, end_s: float) -> tuple[Trace, ...]:
    """Traces from changes; a rail made from another adds its power, over the converter's efficiency, to that rail."""
    depth = {rail.id: _depth(rail.id, supply) for rail in supply.rails}
    for rail in sorted(supply.rails, key=lambda rail: -depth[rail.id]):
        if rail.source is not None:
            ratio = rail.voltage_v / (supply.rail(rail.source).voltage_v * rail.efficiency)
            steps[rail.source] += [(at, amps * ratio) for at, amps in steps[rail.id]]
    traces = []
    for rail in supply.rails:
        changes: dict[float, float] = defaultdict(float, {0.0: 0.0})
        for at, amps in steps[rail.id]:
            if at < end_s:
                changes[max(at, 0.0)] += amps
        times = sorted(changes)
        currents = accumulate(changes[at] for at in times)
        traces.append(Trace(rail.id, rail.limit_a, tuple(times), tuple(max(0.0, a) for a in currents), end_s))
    return tuple(traces)


def _depth(rail_id: str, supply: Supply) -> int:
    """How many converters lie between a rail and the mains."""
    source = supply.rail(rail_id).source
    return 0 if source is None else 1 + _depth(source, supply)
