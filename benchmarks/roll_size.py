"""How many bytes does a note take in the packed roll, and how many notes fit in the board's flash?

The four own tunes and a few hundred real ones (O'Neill, Ryan, Aird and Essen, from music21's corpus, read where it lies), all
on the quay zither with their repeats played out. Whole blocks count, header, title and wait table included. The flash is
filled from the machine block to the boot loader with the real tunes as they come. Run: `python benchmarks/roll_size.py`.
"""

from __future__ import annotations

import statistics
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from real_tunes import real_tunes

from jackrail import api
from jackrail.roll.format import HEADER, MACHINE_BLOCK_AT
from jackrail.roll.roll import pack_roll, ticks_of, to_board
from jackrail.work import Work

HOME = Path(__file__).parent.parent
MACHINE = HOME / "machines" / "quay_zither.toml"
REAL_TUNES = 400
MOST_B_A_NOTE = 2.6
FEWEST_NOTES = 9000
SLOWEST_PACK_MS = 8.0


@dataclass(frozen=True)
class Size:
    """One packed tune. bare_b: its records alone, without header, head, title and wait table."""

    notes: int
    block_b: int
    bare_b: int


def size_of(work: Work) -> Size:
    block = work.roll_block
    return Size(work.setting.notes_kept, len(block), len(block) - records_at(block))


def records_at(block: bytes) -> int:
    """Where the records of a roll block begin, by SPEC-roll.md: header, head of 16 bytes, title, 3 bytes for each wait."""
    waits, title = block[8 + 14], block[8 + 15]
    return HEADER.layout.size + 16 + title + 3 * waits


def line(what: str, sizes: list[Size]) -> None:
    notes = sum(size.notes for size in sizes)
    for kind, counted in (("whole blocks", [size.block_b for size in sizes]), ("records alone", [size.bare_b for size in sizes])):
        a_note = [count / size.notes for count, size in zip(counted, sizes, strict=True)]
        shares = f"{statistics.mean(a_note):7.2f} {statistics.median(a_note):7.2f} {max(a_note):7.2f}"
        print(f"{what:22} {kind:14} {len(sizes):5d} {notes:7d} {sum(counted) / notes:9.2f}   {shares}")


def report(what: str, value: float, limit: float, unit: str, *, least: bool = False) -> bool:
    good = value >= limit if least else value <= limit
    print(f"{what:44} {value:9.2f} {unit:6} {'at least' if least else 'at most'} {limit:9.2f} {'' if good else ' MISSED'}")
    return good


def notes_that_fit(works: list[Work]) -> int:
    """Melody notes kept of the rolls that stand in the flash one behind the other, behind the machine block."""
    room = int(works[0].machine.board.flash_b - works[0].machine.board.boot_loader_b) - MACHINE_BLOCK_AT - len(works[0].machine_block)
    notes = 0
    for work in works:
        room -= len(work.roll_block)
        if room < 0:
            return notes
        notes += work.setting.notes_kept
    raise AssertionError("too few tunes to fill the flash: raise REAL_TUNES")


def pack_ms(work: Work) -> float:
    cues, end_tick = to_board(work.cues, work.numbering), ticks_of(work.performance.end_s)
    times = []
    for _ in range(3):
        start = time.perf_counter()
        pack_roll(cues, work.tune.title, end_tick, work.machine_block)
        times.append(time.perf_counter() - start)
    return 1000 * min(times)


def main() -> int:
    machine = api.load_machine(MACHINE)
    own = [api.do_work(machine, api.read_tune(path)) for path in sorted((HOME / "tunes").glob("*.*")) if path.suffix != ".md"]
    real = [work for tune in real_tunes(REAL_TUNES) if (work := api.do_work(machine, tune)).setting.notes_kept]
    print(f"{'bytes a note':37} {'tunes':>5} {'notes':>7} {'over all':>9}   {'mean':>7} {'median':>7} {'worst':>7}  (of each tune)")
    for work in own:
        line(work.tune.title[:22], [size_of(work)])
    line("own tunes", [size_of(work) for work in own])
    line("real tunes", [size_of(work) for work in real])
    sizes = [size_of(work) for work in real]
    good = report("bytes a note over all real tunes", sum(s.block_b for s in sizes) / sum(s.notes for s in sizes), MOST_B_A_NOTE, "B")
    good &= report("notes that fit in the flash", notes_that_fit(real), FEWEST_NOTES, "notes", least=True)
    times = sorted(pack_ms(work) for work in real)
    good &= report("packing a tune, median", statistics.median(times), SLOWEST_PACK_MS, "ms")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
