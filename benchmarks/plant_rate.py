"""What does the plant cost in a dense song? Limit: 0.4 s for three minutes with about a million step edges.

Three minutes on the quay zither, six notes a second, each a turn of the pick and a move of the carriage, at steady rates
within the motors' torque. The edges are sent twice: to the lines of the motors, and to a pin that nothing hangs on; the
difference is the plant, without what it costs to call C from Python. Run: `python benchmarks/plant_rate.py`.
"""

import time
from pathlib import Path

from jackrail.machine.load import load_machine
from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.plant_run import Plant
from jackrail.rehearsal.rig import CLOCK_HZ, library

MACHINE = Path(__file__).parent.parent / "machines" / "quay_zither.toml"
SONG_S, NOTES_S, LIMIT_S = 180, 6, 0.4
STEPS, RATES = {9: 400, 10: 600}, {9: 4000, 10: 6000}  # pin: steps a note, steps a second
DIRECTION, NOTHING = 8, 50


def song() -> list[tuple[int, int, int]]:
    """(cycle, pin, level) of every edge."""
    edges = []
    for note in range(SONG_S * NOTES_S):
        start_s = note / NOTES_S
        edges.append((round(start_s * CLOCK_HZ), DIRECTION, note % 2))
        for pin, steps in STEPS.items():
            for n in range(1, steps + 1):
                cycle = round((start_s + n / RATES[pin]) * CLOCK_HZ)
                edges += [(cycle, pin, 1), (cycle + 40, pin, 0)]
    return sorted(edges)


def cost_s(edges: list[tuple[int, int, int]], *, to_nothing: bool) -> float:
    """Processor time of a song."""
    ffi, lib = library()
    with Plant(ffi, lib, configure(load_machine(MACHINE))) as plant:
        edge, pointer = lib.plant_edge, plant.pointer
        calls = [(NOTHING if to_nothing else pin, level, cycle) for cycle, pin, level in edges]
        start = time.process_time()
        for pin, level, cycle in calls:
            edge(pointer, pin, level, cycle)
        plant.advance(SONG_S * CLOCK_HZ)
        return time.process_time() - start


def main() -> None:
    """Measure and tell."""
    edges = song()
    steps = sum(level for _, pin, level in edges if pin in STEPS)
    took = min(cost_s(edges, to_nothing=False) for _ in range(3)) - min(cost_s(edges, to_nothing=True) for _ in range(3))
    print(f"plant: {steps} step edges in {SONG_S} s of song take {took:.3f} s of {LIMIT_S} s: {took / LIMIT_S:.2f}")


if __name__ == "__main__":
    main()
