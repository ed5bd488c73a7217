"""Tunes read a second on one core, end to end from a file on disk to a `Tune`, beside music21 on some of the same files.

The tunes are those inside the music21 package (read there, never copied) and MIDI files made of ABC tunes by the writer below. A rate
stands as seconds a tune beside the limit's, so that 1.0 or less is good. Run alone on a quiet machine: `make bench`.
"""

import random
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

from measures import report

from jackrail.faults import BadInput
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.model import Tune
from jackrail.tune.read import read_tune

LIMITS = {"ABC": 300, "MusicXML": 90, "small MIDI": 500}
JUDGED = 25  # files of each kind that music21 reads too


def corpus() -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21  # noqa: PLC0415 - slow to import

    return Path(music21.__file__).parent / "corpus"


def drawn(files: Sequence[Path], count: int) -> list[Path]:
    return random.Random(1).sample(sorted(files), min(count, len(files)))  # noqa: S311 - a sample, not a secret


def single_tunes(home: Path, folder: Path) -> list[Path]:
    """Tunes of the big ABC books, one file each."""
    out = []
    for book in sorted((home / "oneills1850").glob("*.abc"))[:12] + sorted((home / "airdsAirs").glob("*.abc"))[:2]:
        for tune in split_tunes(book.read_bytes().decode("latin-1")):
            out.append(folder / f"{book.stem}_{len(out)}.abc")
            out[-1].write_text("\n".join(line for _, line in tune.lines) + "\n", encoding="utf-8")
    return out


def read_all(files: Sequence[Path]) -> list[Tune]:
    tunes = []
    for file in files:
        try:
            tunes.append(read_tune(file))
        except BadInput:
            continue
    return tunes


def midi_of(tune: Tune, file: Path) -> None:
    """The notes of a tune as a MIDI file of type 0 (SMF RP-001), 480 ticks a quarter."""
    events = sorted(
        event
        for note in tune.notes
        for event in ((int(note.onset_q * 480), 0x90, note.midi, 80), (int((note.onset_q + note.duration_q) * 480), 0x80, note.midi, 0))
    )
    track, now = bytearray(), 0
    for tick, status, key, velocity in events:
        track += _varied(tick - now) + bytes([status, key, velocity])
        now = tick
    track += b"\x00\xff\x2f\x00"
    head = b"MThd" + (6).to_bytes(4, "big") + (0).to_bytes(2, "big") + (1).to_bytes(2, "big") + (480).to_bytes(2, "big")
    file.write_bytes(head + b"MTrk" + len(track).to_bytes(4, "big") + track)


def _varied(value: int) -> bytes:
    out = [value & 127]
    while value := value >> 7:
        out.append(value & 127 | 128)
    return bytes(reversed(out))


def seconds_each(work: Callable[[Sequence[Path]], object], files: Sequence[Path], runs: int) -> float:
    """Shortest processor time a file of several runs."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        work(files)
        times.append(time.process_time() - start)
    return min(times) / len(files)


def by_music21(files: Sequence[Path]) -> None:
    from music21 import converter  # noqa: PLC0415 - slow to import

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for file in files:
            converter.parse(file, forceSource=True, storePickle=False)


def main() -> None:
    home = corpus()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        songs = single_tunes(home, folder)
        kinds = {
            "ABC": drawn([*(home / "ryansMammoth").glob("*.abc"), *songs], 400),
            "MusicXML": drawn([*(home / "bach").glob("*.mxl"), *(home / "leadSheet").glob("*.mxl")], 120),
            "small MIDI": [],
        }
        for index, tune in enumerate(read_all(kinds["ABC"][:300])):
            kinds["small MIDI"].append(folder / f"{index}.mid")
            midi_of(tune, kinds["small MIDI"][-1])
        for kind, files in kinds.items():
            notes = sum(len(tune.notes) for tune in read_all(files)) // len(files)
            ours_s = seconds_each(read_all, files, 3)
            report(f"{kind}, {notes} notes: {1 / ours_s:.0f} files/s of {LIMITS[kind]}", 1000 * ours_s, 1000 / LIMITS[kind], "ms")
            some = files[:JUDGED]
            by_music21(some[:1])
            report(
                f"  {len(some)} of them, beside music21",
                1000 * seconds_each(read_all, some, 3),
                1000 * seconds_each(by_music21, some, 1),
                "ms",
            )


if __name__ == "__main__":
    main()
