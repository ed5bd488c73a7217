"""Where reading of a MusicXML part stands: what its notes and its marks both need to know, and the faults found."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from jackrail.faults import Fault
from jackrail.tune.model import Quarters
from jackrail.tune.score.written import Notes, WrittenBar

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

NUMBER = re.compile(r"\d{1,9}(?:\.\d{1,6})?")
"""A number without a sign, as lengths are written."""
_SIGNED = re.compile(rf"[+-]?{NUMBER.pattern}")
Reads = Literal["all", "music", "form", "chords"]
"""What is read of a part: "music" is all but its form (bar lines, directions, <sound>), "form" and "chords" are those without notes."""


@dataclass(frozen=True, slots=True)
class Line:
    """Which notes of a part are read: those of a staff and of a voice, None for all of them.

    several: the voice stands in more staves than `staff`, whose key and transposition count; all are read. across: the home staff of
    voices that cross from staff to staff; each is read with its home, wherever its notes stand.
    """

    staff: str | None = None
    voice: str | None = None
    several: bool = False
    across: Mapping[str, str] = field(default_factory=dict)

    def holds(self, staff: str, voice: str) -> bool:
        """Whether a note belongs to it."""
        staff = self.across.get(voice, staff)
        return (self.staff is None or staff == self.staff or self.several) and self.voice in {None, voice}


@dataclass(slots=True)
class TempoWord:
    """Words about the tempo. measure: its index. bar: its name for messages. numbered: a number stands beside them.

    kind: "new" for a tempo such as "Allegro", which counts only where no number stands, with its rate in quarters a minute; "gradual"
    for rit. and the like, "change" for più or meno; "first" for a return to the first tempo, "back" to the one before.
    """

    measure: int
    bar: str
    onset_q: Quarters
    word: str
    kind: Literal["new", "gradual", "change", "first", "back"]
    numbered: bool
    rate: float = 0.0


class Reading:
    """The state of reading one part. part: its name for messages; notes: what to tell the user; onsets in quarters.

    by_staff: semitones from written to sounding, "" for all other staves. common: least common multiple of all divisions so far.
    ending, endings: the ending that is open, and the highest number so far. rate: the tempo in force as quarters a minute, 0 for none.
    marks: segno, coda and implied repeat signs of the measure: name, label, onset (None: at its right bar line).
    bars: those read to the end. velocity: in force at the beginning of the measure; loudness: its marks, each onset and velocity.
    """

    def __init__(self, part: str, notes: Notes, line: Line) -> None:
        self.part = part
        self.notes = notes
        self.line = line
        self.faults: list[Fault] = []
        self.divisions: Fraction | None = None
        self.common = 1
        self.by_staff: dict[str, int] = {"": 0}
        self.written_key: tuple[int, str] = (0, "major")
        self.key_written = False
        self.metre: tuple[int, int] | None = (4, 4)
        self.metre_written = False
        self.ending: frozenset[int] = frozenset()
        self.endings = 0
        self.rate = 0.0
        self.velocity: int | None = None
        self.loudness: list[tuple[Quarters, int]] = []
        self.marks: list[tuple[str, str, Quarters | None]] = []
        self.tempo_words: list[TempoWord] = []
        self.bars: list[WrittenBar] = []
        self.bar = WrittenBar(0)
        self.bar_name = "?"
        self.cursor_q = Fraction(0)

    @property
    def place(self) -> str:
        """Where reading stands."""
        return f"{self.part} measure {self.bar_name}"

    @property
    def measure(self) -> str:
        """Where reading stands, for counted sentences."""
        return f"measure {self.bar_name}"

    @property
    def staff(self) -> str:
        """The staff whose key and transposition count."""
        return self.line.staff or "1"

    def semitones(self, staff: str | None = None) -> int:
        """Semitones from written to sounding on a staff, or on the one that is read."""
        return self.by_staff.get(staff or self.staff, self.by_staff[""])

    def moved_q(self, offset: Element | None) -> Quarters:
        """Where reading stands, moved by an <offset>; it may lie outside the measure."""
        text = "" if offset is None else (offset.text or "").strip()
        return self.cursor_q + Fraction(text) / self.divisions if self.divisions and _SIGNED.fullmatch(text) else self.cursor_q

    def fault(self, what: str, value: str = "", limit: str = "", hint: str = "") -> None:
        """Note a fault of the measure being read."""
        self.faults.append(Fault("syntax", what, self.place, value, limit, hint))
