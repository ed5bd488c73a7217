"""What the firmware reaches on the emulated chip, beside its limits: python benchmarks/firmware_limits.py (no argument).

Two motors at 40,000 steps a second at once, cues on five coils, the serial line flooded or not: every step edge and every coil
edge beside the moment that the roll means. Cycles are deterministic: a run is the same anywhere. The trial is a throw-away
program of before.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from jackrail import api
from jackrail.board.frames import Packet, to_line
from jackrail.board.image import assemble, built_firmware
from jackrail.board.link_format import BAUD, Frame, Verb
from jackrail.board.reasons import State
from jackrail.machine.board import pin_number
from jackrail.motion.ensemble import Ensemble, make_ensemble
from jackrail.rehearsal.driver import Driver
from jackrail.rehearsal.rig import CLOCK_HZ, Chip
from jackrail.roll.due import RollCue
from jackrail.roll.format import Op
from jackrail.roll.machine_block import numbering_of, pack_machine
from jackrail.roll.roll import pack_roll, unpack_roll

ROOT = Path(__file__).parents[1]
CYCLES_A_TICK = 8
TICKS_A_S = 2_000_000
LASTS_S = 8.0
QUICK = {  # for 40,000 steps a second; the speeds are set to the rate that is wanted
    'speed = "450 mm/s"': 'speed = "{carriage:g} mm/s"',
    'acceleration = "4500 mm/s^2"': 'acceleration = "8000 mm/s^2"',
    'speed = "360 rpm"': 'speed = "{pick:g} rpm"',
    'acceleration = "200 turn/s^2"': 'acceleration = "1000 turn/s^2"',
    "[board]\n": '[board]\non_mismatch = "go on"\n',  # there are no motors: only the board is looked at
}
CUES, ASKS = to_line(Packet(Frame.CUES, 0, bytes(range(60)))), to_line(Packet(Frame.ASK, 0, b""))
RUNS = {
    "40,000 steps a second on two axes, line quiet": (40_000, b""),
    "40,000 steps a second on two axes, line flooded with cues for nobody": (40_000, CUES),
    "40,000 steps a second on two axes, line flooded with questions, each answered": (40_000, ASKS),
    "30,000 steps a second on two axes, line flooded with cues for nobody": (30_000, CUES),
    "25,000 steps a second on two axes, line flooded with questions, each answered": (25_000, ASKS),
    "the example's own speeds (18,000 and 9,600), line quiet": (0, b""),
    "the example's own speeds, line flooded with cues for nobody": (0, CUES),
    "the example's own speeds, line flooded with questions, each answered": (0, ASKS),
}


@dataclass(frozen=True)
class Seen:
    """Cycles by which edges came later than meant: all steps, last steps of moves, coils; and what it took."""

    steps: np.ndarray
    last: np.ndarray
    coils: np.ndarray
    interrupts: dict[int, object]
    stack_free_b: int
    overruns: int


def cues_for(ensemble: Ensemble, *, rate: int) -> list[RollCue]:
    """The carriage to and fro over all stops, a turn after the other, coils at odd moments."""
    move_s, turn_s = (24400 / rate, 4852 / rate) if rate else (1.17, 0.2113)
    numbering = numbering_of(ensemble)
    steps = [steps for _, steps in numbering.stops]
    near, far = steps.index(min(steps)), steps.index(max(steps))
    turn = numbering.axes.index("pick")
    cues = [RollCue(round((0.2 + move_s * n) * TICKS_A_S), Op.MOVE, (far, near)[n % 2]) for n in range(int(LASTS_S / move_s))]
    cues += [RollCue(round((0.2 + turn_s * n) * TICKS_A_S), Op.TURN, turn) for n in range(int(LASTS_S / turn_s))]
    cues += [RollCue(round((0.21 + 0.0377 * n) * TICKS_A_S), Op.PULSE, n % 5) for n in range(int(LASTS_S / 0.0377))]
    return sorted(cues)


def run(*, rate: int, flood: bytes) -> Seen:
    text = (ROOT / "machines" / "quay_zither.toml").read_text(encoding="utf-8")
    for slow, fast in QUICK.items() if rate else [list(QUICK.items())[-1]]:
        if slow not in text:
            raise RuntimeError(f"the example has no {slow}")
        text = text.replace(slow, fast.format(carriage=0.025 * rate, pick=60 * rate / 1600), 1)
    machine = api.parse_machine(text)
    ensemble = make_ensemble(machine.instrument, machine.mechanism)
    block = pack_machine(ensemble, machine.board)
    roll_block = pack_roll(cues_for(ensemble, rate=rate), "Limits", round((LASTS_S + 1) * TICKS_A_S), block)
    flash = assemble(built_firmware(), block, [roll_block], machine.board).flash
    with Chip(flash) as rig:
        driver = Driver(rig)
        rig.run(0.1)
        work_switches(rig, machine.board.pins)
        if not (driver.greet() and driver.home()):
            raise RuntimeError("the board does not find home")
        driver.session.do(Verb.PLAY, 1)
        driver.until(lambda: driver.zero_cycle is not None, 2.0)
        if flood:
            driver.silent = True
            rig.send(flood * round(LASTS_S * BAUD / 10 / len(flood)), baud=BAUD, at=rig.cycle)
        driver.until(lambda: driver.state != State.PLAYING, LASTS_S + 3)
        return judge(rig, driver, ensemble, machine.board.pins, unpack_roll(roll_block, block).cues)


def work_switches(rig: Chip, pins: dict[str, str]) -> None:
    """By the clock, as a carriage and a pick that find home would: closed, open, closed; open, closed, open."""
    for switch, changes in {"home": ((0.0, 0), (0.4, 1), (1.5, 0)), "index": ((0.0, 1), (2.5, 0), (2.8, 1))}.items():
        for at_s, level in changes:
            rig.drive(pin_number(pins[switch]), level, at=rig.cycle + round(at_s * CLOCK_HZ) + 1)


def judge(rig: Chip, driver: Driver, ensemble: Ensemble, pins: dict[str, str], cues: tuple[RollCue, ...]) -> Seen:
    numbering = numbering_of(ensemble)
    edges = rig.edges()
    steps, last, at = [], [], 0
    for number, motor in enumerate(numbering.axes):
        mine = edges[(edges["pin"] == pin_number(pins[f"{motor}.step"])) & (edges["level"] == 1)]
        made = (mine["cycle"].astype(np.int64) - driver.zero_cycle).tolist()
        ramp, meant = ensemble.axes[motor].ramp, []
        for cue in cues:
            if cue.op is Op.TURN and cue.argument == number:
                length = ensemble.mechanism.motor(motor).microsteps_per_turn
            elif cue.op is Op.MOVE and numbering.stops[cue.argument][0] == motor:
                length, at = abs(numbering.stops[cue.argument][1] - at), numbering.stops[cue.argument][1]
            else:
                continue
            meant += [(cue.tick + ramp.step_ticks(step, length)) * CYCLES_A_TICK for step in range(1, length + 1)]
            last.append(len(steps) + len(meant) - 1)
        made = [cycle for cycle in made if cycle > 0]
        if len(made) != len(meant):
            raise RuntimeError(f"{motor} made {len(made)} steps of {len(meant)}")
        steps += [one - other for one, other in zip(made, meant, strict=True)]
    coils = []
    for number, coil in enumerate(numbering.coils):
        mine = edges[(edges["pin"] == pin_number(pins[coil])) & (edges["level"] == 1)]
        made = [cycle for cycle in (mine["cycle"].astype(np.int64) - driver.zero_cycle).tolist() if cycle > 0]
        meant = [cue.tick * CYCLES_A_TICK for cue in cues if cue.op is Op.PULSE and cue.argument == number]
        coils += [one - other for one, other in zip(made, meant, strict=True)]
    late = np.array(steps)
    return Seen(late, late[last], np.array(coils), rig.interrupts(), rig.stack_free_b, rig.line_faults()[0])


def row(what: str, value: float, limit: float | None, unit: str, trial: str = "") -> bool:
    over = limit is not None and value > limit
    bound = "" if limit is None else f"at most {limit:g} {unit}"
    print(f"{what:58} {value:9.2f} {unit:8} {bound:22} {trial}{'  OVER THE LIMIT' if over else ''}")
    return over


def main() -> int:
    over = False
    for what, (rate, flood) in RUNS.items():
        seen = run(rate=rate, flood=flood)
        print(f"{what}:")
        coil_us = np.abs(seen.coils - np.median(seen.coils)) / 16
        over |= row("  step edges, jitter", float(np.ptp(seen.steps)), 0, "cycles", "trial 0")
        over |= row("  last step of a move from its planned arrival, beside others", float(np.ptp(seen.last)) / 16, 25, "us")
        over |= row("  coil edges from their cue, 99 %", float(np.quantile(coil_us, 0.99)), None if rate > 30_000 else 10, "us", "trial 3")
        over |= row("  coil edges from their cue, worst", float(coil_us.max()), None if rate > 30_000 else 25, "us", "trial 37")
        over |= row("  bytes lost by the chip", seen.overruns, 0, "bytes", "trial 0")
        row("  stack to spare", seen.stack_free_b, None, "bytes")
        for vector, name in {11: "step A", 12: "step B", 14: "cues", 18: "receive", 19: "send"}.items():
            if vector in seen.interrupts:
                one = seen.interrupts[vector]
                row(f"  {name} interrupt: longest, with what came in between", one.longest_cycles, None, "cycles")
                row(f"  {name} interrupt: longest wait for it", one.latest_cycles, None, "cycles")
    return over


if __name__ == "__main__":
    sys.exit(main())
