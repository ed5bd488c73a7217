"""abc2midi (Debian's abcmidi, 4.84 here) as a judge: what it plays of ABC tunes, many in one run."""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import mido

from jackrail.tune.abc.text import TuneText

Heard = list[tuple[float, int]]
INSTALL = "abc2midi is not there: sudo apt-get install abcmidi"
_GRACE = re.compile(r"\{[^}]*\}")
_ORNAMENT = re.compile(r"[~T](?=[\^_=]*[A-Ga-g\[])|!(?:trill|roll|turn|mordent|lowermordent|uppermordent|pralltriller)!")
_TOGETHER = "%%MIDI chordattack 0"  # it spreads the notes of a chord
_SWUNG = re.compile(r"^R:.*$", re.MULTILINE)  # it plays a hornpipe's even quavers uneven


def plain(tune: TuneText) -> str:
    """The tune as text without what the judge plays out and we keep apart: grace notes, ornaments, swing."""
    text = "\n".join(line for _, line in tune.lines)
    music = "\n".join(line if re.match(r"[A-Za-z]:|%", line) else _ORNAMENT.sub("", _GRACE.sub("", line)) for line in text.split("\n"))
    return _SWUNG.sub("R:", music) + "\n"


def heard(texts: Sequence[str], folder: Path) -> list[Heard | None]:
    """Onset (quarters) and key of every note it plays of each text; None where it crashes on that tune alone."""
    together = _run(texts, folder)
    return [notes if notes is not None else _run([text], folder)[0] for text, notes in zip(texts, together, strict=True)]


def _run(texts: Sequence[str], folder: Path) -> list[Heard | None]:
    for old in folder.glob("book*"):
        old.unlink()
    book = folder / "book.abc"
    numbered = [re.sub(r"^X:.*$", f"X:{number}\n{_TOGETHER}", text, count=1, flags=re.MULTILINE) for number, text in enumerate(texts, 1)]
    book.write_bytes("\n\n".join(numbered).encode("latin-1", "replace"))
    command = ["abc2midi", str(book), "-NGRA", "-NFER", "-NGUI", "-silent", "-NCOM"]
    subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False, timeout=60)
    files = [folder / f"book{number}.mid" for number in range(1, len(texts) + 1)]
    return [_notes_of(file) for file in files]


def _notes_of(file: Path) -> Heard | None:
    if not file.exists() or not file.stat().st_size:  # it crashed on this tune or on one before
        return None
    midi = mido.MidiFile(file)
    out = []
    for track in midi.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                out.append((now / midi.ticks_per_beat, message.note))
    return sorted(out)
