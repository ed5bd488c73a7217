"""What is seen of a run from outside: what the board told, whether all was safe and in place at its end, what the rails bore."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jackrail.board.link_format import News
from jackrail.board.reasons import REASON_BY_CODE, RESET_CAUSES, State
from jackrail.machine.board import pin_number
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import TravellingStop
from jackrail.roll.machine_block import Numbering

from .driver import Driver
from .model import Notice, RailTrace, Slip
from .plant import Configuration
from .plant_run import KINDS
from .rig import CLOCK_HZ

_STILL_S = 0.1
_SLIPPED_STEPS = 2.0
"""Full steps: rotors slip by whole electrical cycles of 4 (Jones), and never lag so far without."""
_SLACK_S, _SLACK_SHARE = 0.006, 0.001
"""What a board may let a coil be on beyond its limit, and the share of the limit that its clock may add (docs/SPEC-roll.md)."""
_WORDS = {
    News.PLAYING: "playing",
    News.STOPPED: "stopped",
    News.INDEX_MISSED: "index missed",
    News.DETENT_MISSED: "detent missed",
    News.HOMED: "homed",
}
_OF_AXES = {"home never closed", "home never opened", "index missed", "detent missed", "busy"}
_OF_COILS = {"coil on too long"}
"""Words of the reasons for which play stops at one device; of all others `where` says nothing."""


def notices(driver: Driver, numbering: Numbering) -> Iterator[Notice]:
    """What the board told, in the order it was heard, then its resets and whether it was lost."""
    for one in driver.happenings:
        reason = REASON_BY_CODE[one.reason].word if one.reason in REASON_BY_CODE else f"reason {one.reason}"
        what = f"stopped: {reason}" if one.kind is News.STOPPED else _WORDS[one.kind]
        names = _named_by(one.kind, reason, numbering)
        device = names[one.where] if one.where < len(names) else ""
        before_play = one.kind is News.HOMED or driver.zero_cycle is None
        yield Notice(what, device, None if before_play else one.time_ms / 1000)
    for info in driver.infos[1:]:
        if info.reason in REASON_BY_CODE and info.reset_cause != driver.infos[0].reset_cause:
            causes = [text for bit, text in RESET_CAUSES.items() if info.reset_cause & bit]
            yield Notice(f"started anew: {', '.join(causes)}")
    yield from (Notice(f"lost: {why}") for why in driver.losses)


def _named_by(kind: News, reason: str, numbering: Numbering) -> tuple[str, ...]:
    """The devices of which a piece of news names one; none when it concerns no device."""
    if kind in (News.INDEX_MISSED, News.DETENT_MISSED) or (kind is News.STOPPED and reason in _OF_AXES):
        return numbering.axes
    return numbering.coils if kind is News.STOPPED and reason in _OF_COILS else ()


def unsafe(edges: NDArray[Any], machine: Machine, end_cycle: int) -> Iterator[str]:
    """What was not as it must be in the end: a coil on, a motor stepping; or at any time: a coil on for too long."""
    seen = edges[: np.searchsorted(edges["cycle"], end_cycle, side="right")]  # they stand in time order
    for coil in machine.mechanism.coils:
        mine = seen[seen["pin"] == pin_number(machine.board.pins[coil.id])]
        if len(mine) and mine[-1]["level"] == 1:
            yield f"{coil.id} is on"
        longest_s = _longest_high(mine, end_cycle) / CLOCK_HZ
        if longest_s > coil.max_on_s * (1 + _SLACK_SHARE) + _SLACK_S:
            yield f"{coil.id} was on for {longest_s:.3f} s, longer than its {coil.max_on_s:g} s"
    for motor in machine.mechanism.motors:
        mine = seen[seen["pin"] == pin_number(machine.board.pins[f"{motor.id}.step"])]
        if len(mine) and mine[-1]["cycle"] > end_cycle - _STILL_S * CLOCK_HZ and mine[-1]["level"] != 2:
            yield f"{motor.id} is still stepping"


def astray(driver: Driver, machine: Machine, numbering: Numbering) -> Iterator[str]:
    """Carriages that do not stand where the board says they do, while it claims to know: by more than a full step."""
    status = driver.status
    if status is None or status.state != State.READY:
        return
    believed = dict(zip(numbering.axes, status.positions, strict=False))
    for carriage in (voice.carriage for voice in machine.mechanism.voices if isinstance(voice, TravellingStop)):
        motor = machine.mechanism.motor(carriage.motor)
        believed_mm = carriage.home_at_mm + believed[motor.id] * carriage.travel_per_turn_mm / motor.microsteps_per_turn
        off_mm = float(driver.rig.plant.motor(motor.id).position) - believed_mm
        if abs(off_mm) > carriage.travel_per_turn_mm / motor.steps_per_turn:
            yield f"{motor.id} stands {off_mm:+.2f} mm from where the board believes it"


def _longest_high(edges: NDArray[Any], end_cycle: int) -> int:
    """Cycles of the longest stretch at level 1."""
    if not len(edges):
        return 0
    lasts = np.diff(edges["cycle"].astype(np.int64), append=end_cycle)
    high = lasts[edges["level"] == 1]
    return int(high.max()) if len(high) else 0


def slips(events: NDArray[Any], configuration: Configuration, zero_cycle: int) -> Iterator[Slip]:
    """Each move after which a motor stood further from its steps than after the one before: it was overtaxed, or knocked."""
    lost = dict.fromkeys(configuration.motor_ids, 0.0)
    for cycle, kind, device, _, steps in events.tolist():
        motor = configuration.motor_ids[device] if KINDS[kind] == "rests" else ""
        if motor and abs(steps - lost[motor]) > _SLIPPED_STEPS:
            lost[motor] = steps
            yield Slip(motor, (cycle - zero_cycle) / CLOCK_HZ, steps)


def rail_traces(samples: NDArray[Any], machine: Machine, configuration: Configuration, zero_cycle: int) -> Iterator[RailTrace]:
    """Voltage and current of each rail that was sampled."""
    for number, rail in enumerate(configuration.rail_ids):
        mine = samples[samples["rail"] == number]
        needed_v = max((motor.driver_minimum_v for motor in machine.mechanism.motors if motor.rail == rail), default=0.0)
        time_s = (mine["cycle"].astype(np.int64) - zero_cycle) / CLOCK_HZ
        limit_a = machine.supply.rail(rail).limit_a
        yield RailTrace(rail, time_s, mine["voltage_v"], mine["current_a"], needed_v, limit_a)
