"""The measures of the main job, each as a ratio to its limit or to a reference in the same run. 1.0 or less is good.

Run alone on a quiet machine: `make bench`. Times are the best of several runs, since other work only ever adds.
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from jackrail import api

HOME = Path(__file__).parent.parent
MACHINE = HOME / "machines" / "quay_zither.toml"
DEMO = HOME / "tunes" / "nine_lamps.abc"
JACKRAIL = Path(sys.executable).parent / "jackrail"


def best_s(work: Callable[[], object], runs: int) -> float:
    """Shortest wall-clock time of several runs."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def run(*command: object) -> None:
    subprocess.run([str(word) for word in command], check=True, stdout=subprocess.DEVNULL)


def three_minutes() -> str:
    """A jig of ours, played often enough for more than three minutes."""
    head, _, body = (HOME / "tunes" / "gull_steps.abc").read_text().partition("K:G\n")
    once = body.replace("|:", "|").replace(":|", "|").replace("\n", " ").replace("|]", "|")
    return f"{head}K:G\n" + (once + "\n") * 10 + "G6|]\n"


def report(what: str, value: float, limit: float, unit: str) -> None:
    print(f"{what:44} {value:9.3f} {unit:3} of {limit:9.3f} {unit:3}  ratio {value / limit:5.2f}")


def main() -> None:
    click_s = best_s(lambda: run(sys.executable, "-c", "import click"), 9)
    help_s = best_s(lambda: run(JACKRAIL, "--help"), 9)
    report("jackrail --help, to twice importing click", help_s, 2 * click_s, "s")

    machine, tune = api.load_machine(MACHINE), api.read_tune(DEMO)
    fit_s = best_s(lambda: api.fit_tune(machine, tune), 15)
    report("fit of the demo tune after loading", 1000 * fit_s, 20.0, "ms")

    with tempfile.TemporaryDirectory() as folder:
        long_tune = Path(folder) / "long.abc"
        long_tune.write_text(three_minutes())
        length_s = api.read_tune(long_tune).seconds_at(api.read_tune(long_tune).end_q)
        words = (JACKRAIL, "perform", MACHINE, long_tune, "--out", Path(folder) / "out")
        perform_s = best_s(lambda: run(*words), 3)
        report(f"perform on a tune of {length_s:.0f} s", perform_s, 5.0, "s")
        peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        report("peak memory of perform", peak_mb, 400.0, "MB")


if __name__ == "__main__":
    main()
