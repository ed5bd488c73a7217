"""Whole fits on two and three travelling strings, all keys and the exact tempo: how long, and whether proven.

Tunes of about so many notes, from the corpus inside the music21 package, read where they lie; the strings are those of the slipway harp,
or its first one several times. Run: `python benchmarks/several_voices.py`.
"""

from __future__ import annotations

import statistics
import time
from dataclasses import replace
from pathlib import Path

from real_tunes import real_tunes

from jackrail import api
from jackrail.motion.ensemble import make_ensemble
from jackrail.motion.voice import Voice
from jackrail.setting.fit import arrange
from jackrail.tune.model import Tune

HARP = Path(__file__).parent.parent / "machines" / "slipway_harp.toml"
LIMIT_S = 5.0
EACH = 5


def strings() -> dict[str, tuple[Voice, ...]]:
    machine = api.load_machine(HARP)
    voices = make_ensemble(machine.instrument, machine.mechanism).voices
    again = [replace(voices[0], id=f"again_{n}", sources=(f"again_{n}",)) for n in (1, 2)]
    return {
        "2 strings, different": voices[:2],
        "2 strings, alike": (voices[0], again[0]),
        "3 strings, different": voices,
        "3 strings, alike": (voices[0], *again),
    }


def tunes_of(notes: int) -> list[Tune]:
    """A few tunes of about so many notes."""
    return [tune for tune in real_tunes(400) if 0.85 * notes <= len(tune.notes) <= 1.15 * notes][:EACH]


def main() -> None:
    print(
        f"{'notes':>6} {'voices':22} {'median s':>9} {'longest s':>10} {'proven':>7} {'largest gap':>12}   limit {LIMIT_S} s at 200 notes"
    )
    for notes in (100, 200, 280):
        tunes = tunes_of(notes)
        for name, voices in strings().items():
            took, proven, gaps = [], 0, []
            for tune in tunes:
                start = time.perf_counter()
                setting = arrange(tune, voices, "")[1]
                took.append(time.perf_counter() - start)
                proven += setting.optimal
                gaps.append(setting.cost - setting.bound)
            times = f"{statistics.median(took):9.2f} {max(took):10.2f}"
            print(f"{notes:6} {name:22} {times} {proven:3} of {len(tunes)} {max(gaps):12.4f}", flush=True)


if __name__ == "__main__":
    main()
