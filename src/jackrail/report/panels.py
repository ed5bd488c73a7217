"""A panel: one part of the machine over time, in the few shapes that every part is drawn with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .scales import Point, spread

LABEL_GAP = 11.5
"""Least distance of two labels, one above the other, at the 11 px they are written in."""

LevelKind = Literal["stop", "home", "row", "left-out", "zero", "aim", "limit"]
SoundKind = Literal["note", "folded", "stroke", "again", "beat", "silence", "told"]
MarkKind = Literal["expected", "heard", "within", "beyond", "noticed", "missing", "extra"]
PathKind = Literal["carriage", "current", "voltage"]


@dataclass(frozen=True)
class Level:
    """A line across a panel: y down from the panel's top, and what is written beside it ("" for nothing)."""

    y: float
    label: str
    kind: LevelKind


@dataclass(frozen=True)
class Sound:
    """Something that sounds, at y from onset_s to end_s. label: written beside it when there is room. struck: a bar that slides is not.

    strength: 0 to 1, of the blow.
    """

    onset_s: float
    end_s: float
    y: float
    kind: SoundKind
    title: str
    label: str = ""
    struck: bool = True
    strength: float = 1.0


@dataclass(frozen=True)
class Lost:
    """Something left out, marked where it would have been."""

    at_s: float
    y: float
    title: str
    label: str = ""


@dataclass(frozen=True)
class Marks:
    """Many small marks of one kind at (seconds, y), drawn as one. title: what they have in common, "" for nothing."""

    kind: MarkKind
    points: tuple[Point, ...]
    title: str = ""


@dataclass(frozen=True)
class Panel:
    """One panel. title: its short name; about: what it shows, for the caption; path: (seconds, y) of a line, in time order."""

    title: str
    about: str
    height: float
    levels: tuple[Level, ...]
    sounds: tuple[Sound, ...] = ()
    lost: tuple[Lost, ...] = ()
    path: tuple[Point, ...] = ()
    path_kind: PathKind = "carriage"
    path_title: str = ""
    marks: tuple[Marks, ...] = ()

    def labels(self) -> list[tuple[Level, float]]:
        """The levels that get their label and where it stands: clear of each other; when there are too many, every n-th."""
        named = sorted((level for level in self.levels if level.label), key=lambda level: level.y)
        room = max(1, int(self.height / LABEL_GAP) + 1)
        named = named[:: -(-len(named) // room)] if named else []
        return list(zip(named, spread([level.y for level in named], LABEL_GAP, 0.0, self.height), strict=True))
