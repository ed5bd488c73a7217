"""The noteheads of both staves: how each note is spelt in the key as played, and what became of it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from jackrail.pitch import STEP_NAMES, moved_signature
from jackrail.setting.naming import spelt_name
from jackrail.work import Work

Fate = Literal["", "lost", "moved", "slid"]
"""Played as written, left out, played in another octave, slid into."""

COLOURS: dict[Fate, str] = {"lost": "#C00001", "moved": "#C00002", "slid": "#C00003"}
"""Stand for what became of a note until the picture's own colours take their place."""

_NAME = re.compile(r"([A-G])(#*|b*)(-?\d+)")
_OCTAVES = {1: "+8", -1: "-8", 2: "+15", -2: "-15"}


@dataclass(frozen=True)
class Head:
    """A notehead. alter: semitones up, negative down; words: what is written under it."""

    step: str
    alter: int
    octave: int
    fate: Fate = ""
    words: str = ""


@dataclass(frozen=True)
class Clef:
    """A clef as MusicXML names it; octave: how many octaves higher than the sign says."""

    sign: str
    line: int
    octave: int = 0


_CLEFS = {
    Clef("G", 2): 34 / 7, Clef("F", 4): 22 / 7, Clef("G", 2, -1): 27 / 7, Clef("G", 2, 1): 41 / 7, Clef("G", 2, 2): 48 / 7,
    Clef("F", 4, -1): 15 / 7,
}  # fmt: skip
"""The octave of the middle line of each clef: B4, four octaves and six steps above C0, for the treble clef."""
_UNUSUAL = 0.2


def heads_of(work: Work) -> tuple[list[Head], list[Head]]:
    """The head of each note of the tune, as written (moved into the key as played) and as played."""
    setting, tune = work.setting, work.tune
    shift, sounding = setting.transpose_semitones, {note.index: note for note in setting.notes}
    as_written, as_played = [], []
    for index, note in enumerate(tune.notes):
        sharps, played = moved_signature(tune.sharps_at(note.onset_q), shift), sounding.get(index)
        as_written.append(_head(note.midi + shift, sharps))
        if played is None:
            as_played.append(_head(note.midi + shift, sharps, "lost"))
        elif played.octaves:
            as_played.append(_head(played.midi, sharps, "moved", _OCTAVES.get(played.octaves, "")))
        else:
            as_played.append(_head(played.midi, sharps, "slid" if played.slid else "", "slide" if played.slid else ""))
    return as_written, as_played


def clef_of(heads: Sequence[Head]) -> Clef:
    """The clef that keeps most of the notes near its staff."""
    middle = median(head.octave + STEP_NAMES.index(head.step) / 7 for head in heads)
    return min(_CLEFS, key=lambda clef: abs(_CLEFS[clef] - middle) + (_UNUSUAL if clef.octave else 0.0))


def _head(midi: int, sharps: int, fate: Fate = "", words: str = "") -> Head:
    step, sign, octave = _NAME.fullmatch(spelt_name(midi, sharps)).groups()  # type: ignore[union-attr]  # a name of our own
    return Head(step, len(sign) * (-1 if sign[:1] == "b" else 1), int(octave), fate, words)
