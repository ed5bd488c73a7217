"""How long it takes to fit real tunes to the zither: all keys, the exact tempo, chords, repeats alike.

    python benchmarks/fit_rate.py [tunes]

The machine is loaded once; of each tune the best of three, in processor time, since other work may run beside.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

from real_tunes import real_tunes

from jackrail import api
from jackrail.motion.ensemble import make_ensemble
from jackrail.motion.voice import Voice
from jackrail.setting.fit import arrange
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Tune

MACHINE = Path(__file__).parent.parent / "machines" / "quay_zither.toml"
BEST_OF = 3


def fit_time_s(tune: Tune, voices: tuple[Voice, ...]) -> tuple[float, bool]:
    """The least time of a few, and whether the setting is proven."""
    times_s, optimal = [], False
    for _ in range(BEST_OF):
        began_s = time.process_time()
        _, setting = arrange(tune, voices, "Zither", Wishes())
        times_s.append(time.process_time() - began_s)
        optimal = setting.optimal
    return min(times_s), optimal


def main(count: int) -> None:
    machine = api.load_machine(MACHINE)
    voices = make_ensemble(machine.instrument, machine.mechanism).voices
    tunes = list(real_tunes(count))
    fit_time_s(tunes[0], voices)  # warm
    measured = [fit_time_s(tune, voices) for tune in tunes]
    times_ms = sorted(1000 * time_s for time_s, _ in measured)
    print(f"{len(tunes)} tunes of {statistics.median(len(tune.notes) for tune in tunes):.0f} notes (median)")
    most_ms = times_ms[int(0.95 * len(times_ms))]
    print(f"median {statistics.median(times_ms):.1f} ms, 95th percentile {most_ms:.1f}, longest {times_ms[-1]:.1f}")
    print(f"proven optimal: {sum(optimal for _, optimal in measured)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
