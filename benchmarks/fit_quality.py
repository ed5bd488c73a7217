"""The fit beside what one would do by hand, on 1,000 real tunes and the example machines, and how long a fit takes.

Tempo and notes are those of the melody. Prints the table that stands in docs/measures.md. `python benchmarks/fit_quality.py [TUNES]`.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from by_hand import set_by_hand
from real_tunes import real_tunes

from jackrail import api
from jackrail.motion.ensemble import make_ensemble
from jackrail.setting.fit import arrange
from jackrail.setting.melody import melody_of
from jackrail.setting.model import Setting
from jackrail.setting.taste import note_weights
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Tune

HOME = Path(__file__).parent.parent
TUNES = 1000
MEDIAN_MS, MOST_MS = 10.0, 50.0
TIMED = ("quay_zither",)
SLOW = {"slipway_harp": 100}
"""Machines on which a fit takes a second or so, and the most tunes for which they are gone through."""


@dataclass(frozen=True)
class Row:
    """What one tune keeps: shares, but for the milliseconds it took. chords: None where it has none."""

    tempo: float
    weight: float
    whole: bool
    chords: float | None
    proven: bool = True
    gap: float = 0.0
    took_ms: float = 0.0


def by_hand(tune: Tune, voices: tuple[object, ...]) -> Row:
    made = set_by_hand(tune, voices)
    chords = made.chords / made.chords_total if made.chords_total else None
    return Row(made.tempo, made.weight, made.notes == made.notes_total, chords)


def by_fit(tune: Tune, voices: tuple[object, ...], wishes: Wishes) -> Row:
    took_s, setting = timed(lambda: arrange(tune, voices, "", wishes)[1])
    weight, whole = kept(setting, tune)
    chords = setting.chords_kept / setting.chords_total if setting.chords_total else None
    return Row(setting.tempo_factor, weight, whole, chords, setting.optimal, setting.cost - setting.bound, 1000 * took_s)


def timed(work: Callable[[], Setting]) -> tuple[float, Setting]:
    """Shortest of three runs: other work on the machine only ever adds."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - start)
    return min(times), result


def kept(setting: Setting, tune: Tune) -> tuple[float, bool]:
    """Share of the melody's weight that sounds in its own octave, and whether all of it does. A note moved by octaves is not kept."""
    melody, weights = melody_of(tune), note_weights(tune)
    sounding = {note.index for note in setting.notes if note.octaves == 0}
    return sum(weights[n] for n in melody & sounding) / sum(weights[n] for n in melody), melody <= sounding


def line(name: str, rows: list[Row]) -> str:
    tempi = [row.tempo for row in rows]
    chords = [row.chords for row in rows if row.chords is not None]
    return (
        f"| {name} | {share(statistics.median(tempi))} | {share(statistics.mean(tempi))} | {share(mean(t >= 0.999 for t in tempi))} "
        f"| {share(mean(row.weight for row in rows))} | {share(mean(row.whole for row in rows))} "
        f"| {share(mean(row.whole and row.tempo >= 0.999 for row in rows))} | {share(statistics.mean(chords)) if chords else '-'} |"
    )


def mean(values: Iterable[float]) -> float:
    return statistics.mean(map(float, values))


def share(value: float) -> str:
    return f"{100 * value:.1f} %"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else TUNES
    tunes = list(real_tunes(count))
    ways = {"fit": Wishes(), "fit, prefer notes": Wishes(prefer="notes"), "fit, prefer tempo": Wishes(prefer="tempo")}
    for path in sorted((HOME / "machines").glob("*.toml")):
        if path.stem in SLOW and count > SLOW[path.stem]:
            continue
        machine = api.load_machine(path)
        voices = make_ensemble(machine.instrument, machine.mechanism).voices
        print(f"\n{machine.name}, {len(tunes)} tunes\n")
        print("| | tempo, median | mean | full tempo | weight of notes | whole tunes | whole at full tempo | chords |")
        print("|---|---|---|---|---|---|---|---|")
        print(line("by hand", [by_hand(tune, voices) for tune in tunes]), flush=True)
        for name, wishes in ways.items():
            rows = [by_fit(tune, voices, wishes) for tune in tunes]
            print(line(name, rows), flush=True)
            if name == "fit":
                plain = rows
        took = sorted(row.took_ms for row in plain)
        print(f"\nproven {share(mean(row.proven for row in plain))}, largest gap {max(row.gap for row in plain):.3g};", end=" ")
        print(f"median {statistics.median(took):.1f} ms, 95th percentile {took[int(0.95 * len(took))]:.1f} ms, longest {took[-1]:.0f} ms")
        if path.stem in TIMED:
            print(f"limits: median {MEDIAN_MS} ms, 95th percentile {MOST_MS} ms")


if __name__ == "__main__":
    main()
