"""abc2midi (Debian's abcmidi; 4.84 here) as a judge: what it plays of an ABC tune."""

import re
import subprocess
from pathlib import Path

import mido

from jackrail.tune.abc.text import TuneText

Heard = list[tuple[float, int]]
INSTALL = "abc2midi is not there: sudo apt-get install abcmidi"
_GRACE = re.compile(r"\{[^}]*\}")
_ORNAMENT = re.compile(r'"[^"]*"|\[[A-Za-z]:[^\]]*\]|![^!\s]*!|[~T]')
_SWUNG = re.compile(r"^R:.*$", re.MULTILINE)  # it plays a hornpipe's even quavers uneven
_TOGETHER = "%%MIDI chordattack 0"  # it spreads the notes of a chord


def plain(tune: TuneText) -> str:
    """The tune as text without what the judge plays out and we keep apart: grace notes, ornaments, swing."""
    lines = [line if re.match(r"[A-Za-z]:|%", line) else _unadorned(line) for _, line in tune.lines]
    text = _SWUNG.sub("R:", "\n".join(lines))
    return re.sub(r"^X:.*$", f"X:1\n{_TOGETHER}", text, count=1, flags=re.MULTILINE) + "\n"


def _unadorned(line: str) -> str:
    """A line of music without grace notes and ornaments; texts, inline fields and other decorations stay."""
    ornaments = {"!trill!", "!roll!", "!turn!", "!mordent!", "!lowermordent!", "!uppermordent!", "!pralltriller!", "~", "T"}
    return _ORNAMENT.sub(lambda found: "" if found[0] in ornaments else found[0], _GRACE.sub("", line))


def heard(text: str, folder: Path) -> Heard | None:
    """Onset (quarters) and key of every note it plays of one tune, in order; None where it makes no file.

    One tune at a time: run on a book, it carries an unfinished tuplet over into the next tune.
    """
    source, made = folder / "tune.abc", folder / "tune.mid"
    made.unlink(missing_ok=True)
    source.write_bytes(text.encode("latin-1", "replace"))
    command = ["abc2midi", str(source), "-o", str(made), "-NGRA", "-NFER", "-NGUI", "-silent", "-NCOM"]
    subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False, timeout=60)
    if not made.exists() or not made.stat().st_size:
        return None
    midi = mido.MidiFile(made)
    out = set()  # a key struck twice at one moment is one note
    for track in midi.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                out.add((now / midi.ticks_per_beat, message.note))
    return sorted(out)
