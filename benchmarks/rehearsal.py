"""What a rehearsal is worth and what it costs, beside its limits and a throw-away trial of before: python benchmarks/rehearsal.py.

Times are processor time, which other work on the computer changes least, and the median of several runs. The dense song is a jig of
ours: on the zither two notes a second, a move of the bar for each, and a chord every other second. The trial played another, with no
plant behind its pins.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from measures import three_minutes

from jackrail import api
from jackrail.board.image import assemble, built_firmware
from jackrail.board.link_format import Verb
from jackrail.board.reasons import State
from jackrail.rehearsal.driver import Driver
from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.rig import Rig

ROOT = Path(__file__).parents[1]
MACHINES = sorted((ROOT / "machines").glob("*.toml"))
TUNES = sorted(path for path in (ROOT / "tunes").iterdir() if path.suffix in {".abc", ".mid", ".musicxml"})
ZITHER, LUTE = (ROOT / "machines" / f"{name}.toml" for name in ("quay_zither", "twin_lute"))
VERY_SHORT = "X:1\nT:Short\nL:1/4\nQ:1/4=240\nK:G\nGA|\n"
SONG_S, RUNS, MANY, WARM = 180.0, 5, 1000, 100
PATIENCE_S = 600.0


def work_of(text: str, machine: api.Machine) -> api.Work:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.abc"
        path.write_text(text, encoding="utf-8")
        return api.do_work(machine, api.read_tune(path))


def dense_song(machine: api.Machine) -> api.Work:
    """As much of the long jig as takes three minutes to play."""
    head, _, body = three_minutes().partition("K:G\n")
    bars = body.replace("|]", "|").replace("\n", "").split("|")
    whole_s = work_of(three_minutes(), machine).performance.end_s
    kept = round(len(bars) * SONG_S / whole_s)
    return work_of(f"{head}K:G\n{'|'.join(bars[:kept])}|]\n", machine)


def cpu_s(task: Callable[[], object], runs: int = RUNS) -> float:
    """Median processor time of some runs."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        task()
        times.append(time.process_time() - start)
    return statistics.median(times)


def examples() -> tuple[float, float, int, int]:
    """Worst onset error and worst pitch error over all examples, sounds expected, sounds missing or too many."""
    found = []
    for path in MACHINES:
        machine = api.load_machine(path)
        found += [api.rehearse_work(api.do_work(machine, api.read_tune(tune))).comparison for tune in TUNES]
    wrong = sum(len(one.missing) + len(one.extra) for one in found)
    late_s, cents = max(one.worst_late_s for one in found), max(one.worst_cents for one in found)
    return late_s, cents, sum(len(one.differences) for one in found), wrong


def emulation_speed(work: api.Work) -> float:
    """Emulated over processor time of chip and plant: finding home and the whole song, without judging what is heard."""
    flash = assemble(built_firmware(), work.machine_block, [work.roll_block], work.machine.board).flash
    emulated = []

    def play() -> None:
        with Rig(flash, configure(work.machine)) as rig:
            driver = Driver(rig)
            rig.run(0.1)
            if not (driver.greet() and driver.home()):
                raise RuntimeError("the board does not answer")
            driver.session.do(Verb.PLAY, 1)
            driver.until(lambda: driver.zero_cycle is not None, PATIENCE_S)
            driver.until(lambda: driver.state != State.PLAYING, PATIENCE_S)
            emulated.append(driver.now_s)

    took_s = cpu_s(play)
    return emulated[-1] / took_s


def set_up_s(work: api.Work) -> float:
    """Processor time to make chip and plant and to free them."""
    flash, configuration = built_firmware(), configure(work.machine)

    def make() -> None:
        for _ in range(100):
            with Rig(flash, configuration):
                pass

    return cpu_s(make) / 100


def many(work: api.Work) -> tuple[float, float]:
    """Growth of resident memory from the hundredth to the thousandth rehearsal, MB; processor time of one, s."""
    start = time.process_time()
    for number in range(MANY):
        api.rehearse_work(work)
        if number == WARM:
            before_kb = resident_kb()
    return (resident_kb() - before_kb) / 1024, (time.process_time() - start) / MANY


def resident_kb() -> int:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def unlike(work: api.Work) -> int:
    """Entries of the logs of two rehearsals that differ."""
    first, second = (api.rehearse_work(work) for _ in range(2))
    pairs = [(getattr(first, log), getattr(second, log)) for log in ("edges", "inputs", "marks")]
    return sum(abs(len(one) - len(other)) or int(np.count_nonzero(one != other)) for one, other in pairs)


def row(what: str, value: float, limit: float | None, unit: str, trial: str = "", *, least: bool = False) -> None:  # noqa: PLR0913
    """One line: measured, limit and their ratio (1.0 or less is good), and the trial's figure."""
    bound = "" if limit is None else f"{'>=' if least else '<='} {limit:8.2f} {unit:6}"
    ratio = "" if not limit else f"{limit / value if least else value / limit:6.2f}"
    print(f"{what:46} {value:9.3f} {unit:6} {bound:20} {ratio:7} {trial}".rstrip())


def main() -> int:
    try:
        zither = api.load_machine(ZITHER)
        short = work_of(VERY_SHORT, api.load_machine(LUTE))
        api.rehearse_work(short)
    except api.RigMissing as missing:
        print(f"left out: {missing}")
        return 0
    print(f"{'':46} {'measured':16} {'limit':20} {'ratio':7} trial")
    late_s, cents, sounds, wrong = examples()
    row(f"worst onset error, {sounds} sounds of all examples", 1000 * late_s, 0.5, "ms", "0.04 ms (a coil's edge)")
    row("worst pitch error", cents, 1.0, "cents")
    row("sounds missing or too many", wrong, 0, "")
    song = dense_song(zither)
    row("emulated time over processor time, dense song", emulation_speed(song), 60, "x", "50-70 x, no plant", least=True)
    row(f"rehearsal of a song of {song.performance.end_s:.0f} s", cpu_s(lambda: api.rehearse_work(song)), 3.0, "s")
    row("chip and plant made and freed", 1000 * set_up_s(song), 2.0, "ms", "0.3 ms, no plant")
    row("entries of two logs that differ", unlike(song), 0, "", "0")
    growth_mb, each_s = many(short)
    row(f"growth of memory in {MANY} rehearsals", growth_mb, 5.0, "MB")
    row("each of them", 1000 * each_s, None, "ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
