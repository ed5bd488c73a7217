"""Where reading of a MusicXML part stands: what its notes and its marks both need to know, and the faults found."""

from __future__ import annotations

from fractions import Fraction

from jackrail.faults import Fault
from jackrail.tune.score.written import Notes, WrittenBar


class Reading:
    """The state of reading one part. part: its name for messages; notes: what to tell the user; onsets in quarters."""

    def __init__(self, part: str, notes: Notes) -> None:
        self.part = part
        self.notes = notes
        self.faults: list[Fault] = []
        self.divisions: Fraction | None = None
        self.semitones = 0
        self.written_sharps = 0
        self.ending: frozenset[int] = frozenset()
        self.bar = WrittenBar(0)
        self.bar_name = "?"
        self.cursor_q = Fraction(0)

    @property
    def place(self) -> str:
        """Where reading stands."""
        return f"{self.part} measure {self.bar_name}"

    def fault(self, what: str, value: str = "", limit: str = "", hint: str = "") -> None:
        """Note a fault of the measure being read."""
        self.faults.append(Fault("syntax", what, self.place, value, limit, hint))
