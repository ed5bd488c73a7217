"""The rig against a second emulator by other people: the npm package avr8js (MIT), run by node. Left out where node is missing.

Its known faults, as measured here: an edge is stamped when the instruction around it ends, so up to 3 cycles late; a match acts as
the count reaches the compare value, a tick before figure 16-10 says; its prescaler starts with the timer instead of running on. The
last two move all edges by a constant, which is taken off; and a write of TIFR1 clears every flag of the timer.
"""

import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from emulated import compiled, needs_rig, quirk

from jackrail.rehearsal.build import cache_folder
from jackrail.rehearsal.rig import Chip

HERE = Path(__file__).parent / "judge"
pytestmark = [needs_rig, pytest.mark.slow]


@cache
def judge_folder():
    """Where the judge is installed, in the user's cache; skips the test when it cannot be."""
    if shutil.which("node") is None or shutil.which("npm") is None:
        pytest.skip("needs node and npm")
    wanted = (HERE / "package.json").read_text()
    folder = cache_folder() / "judge"
    if not (folder / "node_modules" / "avr8js").exists() or (folder / "package.json").read_text() != wanted:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "package.json").write_text(wanted)
        done = subprocess.run(["npm", "install", "--no-package-lock", "--silent"], cwd=folder, capture_output=True, check=False)
        if done.returncode:
            pytest.skip("npm could not install avr8js")
    return folder


def judged(file, name, *flags, cycles):
    """Edges as the judge sees them: cycle, pin, level."""
    folder = judge_folder()
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "it.hex"
        path.write_bytes(compiled(f"{file}.c", f"-DQUIRK={name}", *flags, form="ihex"))
        command = ["node", str(HERE / "edges.cjs"), str(folder), str(path), str(cycles)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    return np.array([[int(word) for word in line.split()] for line in done.stdout.splitlines()]).reshape(-1, 3)


def ours(file, name, *flags, cycles):
    with Chip(quirk(file, name, *flags)) as chip:
        chip.run(cycles=cycles)
        edges = chip.edges()
        return np.stack([edges["cycle"].astype(int), edges["pin"], edges["level"]], axis=1)


def of_pin(edges, pin):
    return edges[edges[:, 1] == pin][1:]  # the first is the pin becoming an output


def compared(file, name, *flags, pins, cycles):
    """Edges of these pins in both, equal in level and, but for a constant of each pin, within two cycles; returns how many."""
    mine, theirs = (see(file, name, *flags, cycles=cycles) for see in (ours, judged))
    count = 0
    for pin in pins:
        a, b = of_pin(mine, pin), of_pin(theirs, pin)
        n = min(len(a), len(b))
        assert abs(len(a) - len(b)) <= 1
        assert (a[:n, 2] == b[:n, 2]).all()
        late = b[:n, 0] - a[:n, 0]
        assert late.max() - late.min() <= 4, f"pin {pin}: {late.min()} to {late.max()}"
        count += n
    return count


@pytest.mark.parametrize(("flags", "least"), [((), 2400), (("-DFAST",), 19_000)])
def test_step_edges_are_those_of_another_emulator(flags, least):
    assert compared("steps", "steps", *flags, pins=(9, 10), cycles=8_000_000) > least


@pytest.mark.parametrize(
    ("name", "pins", "least"),
    [("toggle", (9, 10), 2000), ("set_and_clear", (9, 10), 3), ("ctc", (9, 11), 6000), ("force", (5, 9), 3), ("last_count", (9,), 30)],
)
def test_compare_pins_do_what_they_do_in_another_emulator(name, pins, least):
    assert compared("timers", name, pins=pins, cycles=2_000_000) >= least
