"""ABC music of a line or two, read and shown in short for the tests."""

import re

from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.choice import Choice
from jackrail.tune.model import Tune


def read(  # noqa: PLR0917
    music: str, key: str = "C", metre: str = "4/4", unit: str = "1/4", header: str = "", voice: str | None = None, tempo: str = "1/4=90"
) -> Tune:
    """`music` under a header in which it begins on line 7, one further for each line of `header`."""
    text = f"X:1\nT:t\nM:{metre}\nL:{unit}\nQ:{tempo}\n{header}K:{key}\n{music}\n"
    return read_abc(split_tunes(text)[0], choice=Choice(voice=voice))


def heads(tune: Tune) -> list[tuple[float, float, int]]:
    return [(float(note.onset_q), round(float(note.duration_q), 4), note.midi) for note in tune.notes]


def keys(music: str, key: str = "C", header: str = "") -> list[int]:
    return [note.midi for note in sorted(read(music, key, header=header).notes, key=lambda note: note.onset_q)]


def ornaments(tune: Tune) -> list[tuple[float, int, str, tuple[int, ...]]]:
    return [(float(small.onset_q), small.midi, small.kind, small.keys) for small in tune.ornaments]


def letters(music: str, header: str = "") -> str:
    """The notes as played, by letter: music of whole notes from C to B, one a bar."""
    names = {60: "C", 62: "D", 64: "E", 65: "F", 67: "G", 69: "A", 71: "B"}
    return "".join(names[note.midi] for note in read(music, unit="1/1", header=header).notes)


def told(tune: Tune) -> list[str]:
    """Warnings and remarks, without the lines that bars are found on."""
    return [re.sub(r"(bar \d+) \(line \d+\)", r"\1", sentence) for sentence in (*tune.warnings, *tune.remarks)]
