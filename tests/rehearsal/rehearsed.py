"""Rehearsals for the tests, beside what the plant knows and the board does not: where things truly are when it ends."""

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from jackrail import api
from jackrail.machine.board import pin_number
from jackrail.machine.mechanism import TravellingStop
from jackrail.rehearsal import rehearse as running
from jackrail.rehearsal.rig import CLOCK_HZ, Rig
from workshop import machine

SHORT = '"G"GABd|"C"e2"D"dB|"G"GBdg|"D"f2d2|'
"""Nine seconds: moves of all lengths, chords, nothing to rest in."""
RESTING = '"G"GABd|"C"cA"D"GE|Dz6G|"G"B4|'
"""A rest soon behind a third of it, long enough to find home again from where the bar then stands, near home."""
COIL_SLACK_S, COIL_SLACK_SHARE = 0.006, 0.001
"""What the board may let a coil be on beyond its limit: docs/SPEC-roll.md, 6 ms and a thousandth."""


def tune_of(body, quarters_per_minute=120):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.abc"
        path.write_text(f"X:1\nT:Made\nM:4/4\nL:1/4\nQ:1/4={quarters_per_minute}\nK:G\n{body}\n", encoding="utf-8")
        return api.read_tune(path)


@cache
def work_of(name, body=SHORT):
    return api.do_work(machine(name), tune_of(body), api.Wishes(transpose=0, harmony="written"))


@dataclass
class Truth:
    """What the plant and the chip know. motors: position, speed; coils: current flows; resets, hangs: cycles."""

    motors: dict = field(default_factory=dict)
    coils: dict = field(default_factory=dict)
    resets: list = field(default_factory=list)
    hangs: list = field(default_factory=list)


def spy(truth):
    """A rig that writes down what it knows when it is closed."""

    class Spy(Rig):
        def reset(self, cause="external"):
            truth.resets.append(self.cycle)
            super().reset(cause)

        def hang(self):
            truth.hangs.append(self.cycle)
            super().hang()

        def close(self):
            if self.pointer != self.ffi.NULL:
                made = self.plant.configuration
                truth.motors = {ident: (self.plant.motor(ident).position, self.plant.motor(ident).speed) for ident in made.motor_ids}
                truth.coils = {ident: bool(self.plant.coil(ident).on) for ident in made.coil_ids}
            super().close()

    return Spy


@contextmanager
def looked_into():
    """What the rehearsals inside truly came to."""
    truth, before = Truth(), running.Rig
    running.Rig = spy(truth)
    try:
        yield truth
    finally:
        running.Rig = before


def rehearsed(work, *mishaps, stream=False):
    """A rehearsal and the truth about it."""
    with looked_into() as truth:
        return api.rehearse_work(work, mishaps, stream=stream), truth


def edges_of(rehearsal, some_machine, device):
    """Cycle and level of every edge on a device's pin."""
    mine = rehearsal.edges[rehearsal.edges["pin"] == pin_number(some_machine.board.pins[device])]
    return mine["cycle"].astype(np.int64), mine["level"]


def longest_on_s(rehearsal, some_machine, coil):
    """Longest stretch of a coil's pin at 1; one that never ends counts to the end of the run."""
    cycles, levels = edges_of(rehearsal, some_machine, coil)
    lasts = np.diff(cycles, append=round(rehearsal.ran_s * CLOCK_HZ))
    return float(lasts[levels == 1].max(initial=0)) / CLOCK_HZ


def assert_safe(rehearsal, truth, some_machine):
    """Nothing is on or moves, no coil was on for too long, and the board is right wherever it says where a carriage stands."""
    assert rehearsal.unsafe == ()
    assert not any(truth.coils.values())
    assert all(abs(speed) < 1e-6 for _, speed in truth.motors.values())
    for coil in some_machine.mechanism.coils:
        _, levels = edges_of(rehearsal, some_machine, coil.id)
        assert len(levels) == 0 or levels[-1] != 1
        assert longest_on_s(rehearsal, some_machine, coil.id) <= coil.max_on_s * (1 + COIL_SLACK_SHARE) + COIL_SLACK_S
    still_from = (rehearsal.ran_s - 0.1) * CLOCK_HZ
    for motor in some_machine.mechanism.motors:
        cycles, levels = edges_of(rehearsal, some_machine, f"{motor.id}.step")
        assert not np.any((cycles > still_from) & (levels == 1))
    if rehearsal.status is not None and rehearsal.status.state == 2:
        for axis, off_mm in carriages_off_mm(rehearsal, truth, some_machine).items():
            assert abs(off_mm) < 0.2, axis  # a full step of the zither: 40 mm a turn of 200


def carriages_off_mm(rehearsal, truth, some_machine):
    """How far each carriage stands from where the board's step count says, by the geometry of the machine file."""
    off = {}
    carriages = [voice.carriage for voice in some_machine.mechanism.voices if isinstance(voice, TravellingStop)]
    for carriage in carriages:
        motor = next(motor for motor in some_machine.mechanism.motors if motor.id == carriage.motor)
        axis = [one.id for one in some_machine.mechanism.motors].index(motor.id)
        steps = rehearsal.status.positions[axis]
        believed_mm = carriage.home_at_mm + steps * carriage.travel_per_turn_mm / (motor.steps_per_turn * motor.microsteps)
        off[motor.id] = truth.motors[motor.id][0] - believed_mm
    return off


def codes(rehearsal):
    """The codes of what is found about a rehearsal."""
    return {finding.code for finding in api.rehearsal_findings(rehearsal)}


def news(rehearsal):
    """What the board told and of which device, without the usual."""
    return {(one.what, one.device) for one in rehearsal.notices} - {("homed", ""), ("playing", ""), ("stopped: finished", "")}
