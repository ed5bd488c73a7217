"""How many cues a second the real firmware plays from the serial line: python benchmarks/serial_rate.py, on the emulated board.

A stream of HOLD and RELEASE of eight coils, evenly spaced, for two seconds at rising rates. A rate holds when every edge came,
nothing was late, nothing overran. The limit is what the project asks; the trial is a throw-away program of before.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from jackrail import api
from jackrail.board.image import assemble, built_firmware
from jackrail.board.link_format import BAUD, FALLBACK_BAUD
from jackrail.board.reasons import State
from jackrail.machine.machine import Machine
from jackrail.motion.ensemble import make_ensemble
from jackrail.rehearsal.driver import Driver
from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.rig import Rig
from jackrail.roll.due import Timing, commands_of, timing_of
from jackrail.roll.format import Op
from jackrail.roll.machine_block import machine_id, pack_machine
from jackrail.roll.records import RollRecord, pack_record, waits_of

ROOT = Path(__file__).parents[1]
LIMIT, TRIAL = {BAUD: 2500, FALLBACK_BAUD: 0}, {BAUD: 2811, FALLBACK_BAUD: 1296}
COILS, LASTS_S, HORIZON_MS = 8, 2.0, 60
RATES = (1000, 1250, 1500, 1750, 2000, 2250, 2500, 2750, 3000, 3250, 3500)


def records_at(rate: int) -> list[RollRecord]:
    gap_us = round(1e6 / rate)
    ops = [Op.HOLD, Op.RELEASE]
    count = int(LASTS_S * rate)
    records = [RollRecord(200_000 + gap_us * n, ops[n // COILS % 2], n % COILS) for n in range(count - count % (2 * COILS))]
    return [*records, RollRecord(records[-1].at_us + 50_000, Op.END, 0)]


def changes(records: list[RollRecord], timing: Timing) -> int:
    """Edges that the records ask for: a HOLD leads its record, so it can come before the RELEASE of the round before."""
    on: set[int] = set()
    edges = 0
    for cue in sorted((cue for made in commands_of(records, timing) for cue in made), key=lambda cue: cue.tick):
        wanted = on | {cue.argument} if cue.op is Op.HOLD else on - {cue.argument}
        edges += wanted != on
        on = wanted
    return edges


def holds(machine: Machine, flash: bytes, block: bytes, rate: int, baud: int) -> bool:
    records = records_at(rate)
    packed = [pack_record(record, wait, {}) for record, wait in zip(records, waits_of(records), strict=True)]
    with Rig(flash, configure(machine)) as rig:
        driver = Driver(rig, baud=baud)
        driver.slice_s = 0.002
        rig.run(0.1)
        if not (driver.greet() and driver.home()):
            raise RuntimeError("the board does not answer")
        driver.session.stream(machine_id(block), HORIZON_MS, packed)
        driver.until(lambda: driver.zero_cycle is not None, 2.0)
        driver.until(lambda: driver.state != State.PLAYING, LASTS_S + 2.0)
        driver.session.ask()
        driver.until(lambda: not driver.session.busy, 0.5)
        edges = rig.edges()
        zero = driver.zero_cycle
        played = 0 if zero is None else int(((edges["cycle"] > zero) & (edges["level"] < 2)).sum())
        status = driver.status
    return (
        status is not None
        and status.reason == 1
        and played == changes(records[:-1], timing_of(block))
        and not (status.late or status.overruns)
    )


def main() -> int:
    text = (ROOT / "machines" / "tower_chimes.toml").read_text(encoding="utf-8")
    machine = api.parse_machine(re.sub(r'pull_in = "[^"]*"', 'pull_in = "1 ms"', text))  # so that no HOLD leads by a whole round
    block = pack_machine(make_ensemble(machine.instrument, machine.mechanism), machine.board)
    flash = assemble(built_firmware(), block, [], machine.board).flash
    worst = 0
    for baud in (BAUD, FALLBACK_BAUD):
        best = 0
        for rate in RATES:
            if not holds(machine, flash, block, rate, baud):
                break
            best = rate
        verdict = "" if best >= LIMIT[baud] else "  BELOW THE LIMIT"
        print(f"{baud} baud: {best} cues a second, limit {LIMIT[baud] or 'none'}, trial {TRIAL[baud]}{verdict}")
        worst |= best < LIMIT[baud]
    return worst


if __name__ == "__main__":
    sys.exit(main())
