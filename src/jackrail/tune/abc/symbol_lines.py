"""Symbol lines: s: fields written into the music they stand under (ABC 2.1 section 4.15, aligned as lyrics are, section 5.1)."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from jackrail.tune.score.written import Notes

from .tokens import TOKEN

_ITEM = re.compile(r'\s*(?:(?P<symbol>"[^"]*"|![^!\s]{1,30}!)|(?P<skip>\*)|(?P<bar>\|)|(?P<strange>[^\s"!*|]+|["!]))')
_VOICE_NAME = re.compile(r"\s*(\S+)")


@dataclass
class _Slot:
    """A note that a symbol can stand at: its line in the text so far, its column, its bar."""

    line: int
    column: int
    bar: int


@dataclass
class _Part:
    """A voice as far as it is read: notes no symbol line has passed, the last symbol line's own, the bar reached."""

    new: list[_Slot] = field(default_factory=list)
    under: list[_Slot] = field(default_factory=list)
    bar: int = 0
    filled: bool = False


class SymbolLines:
    """Music lines in order, and where the symbols of s: lines are to be written into them."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.lines: list[tuple[int, str]] = []
        self._parts: dict[str, _Part] = {"": _Part()}
        self._now = self._parts[""]
        self._inserts: dict[int, list[tuple[int, str]]] = {}

    def add(self, number: int, line: str) -> None:
        """A line that is neither music nor symbols."""
        self.lines.append((number, line))

    def voice(self, value: str) -> None:
        """A V: field: another voice goes on."""
        name = _VOICE_NAME.match(value)
        self._now = self._parts.setdefault(name[1] if name else "", _Part())

    def music(self, number: int, line: str) -> None:
        """A line of music: note where its notes stand. A chord is one note; grace notes and rests are none."""
        at, in_chord = 0, False
        while at < len(line):
            match = TOKEN.match(line, at)
            if match is None:
                at += 1
                continue
            kind = match.lastgroup
            if kind == "field" and match["field_name"] == "V":
                self.voice(match["value"])
            elif kind == "bar":
                self._now.bar += self._now.filled
                self._now.filled = False
            elif kind == "open" or (kind == "note" and not in_chord):
                self._now.new.append(_Slot(len(self.lines), at, self._now.bar))
            in_chord = kind == "open" or (in_chord and kind != "close")
            self._now.filled = self._now.filled or kind in {"note", "rest", "bar_rest"}
            at = match.end()
        self.lines.append((number, line))

    def symbols(self, number: int, value: str) -> None:
        """An s: line: under the notes since the last one, or beside it under the same notes."""
        part = self._now
        if part.new:
            part.under, part.new = part.new, []
        slots, at = part.under, 0
        bar = slots[0].bar if slots else 0
        for match in _ITEM.finditer(value):
            if match["bar"]:
                bar += 1
                while at < len(slots) and slots[at].bar < bar:
                    at += 1
            elif match["strange"]:
                self.notes.count(f"{match['strange'][:30]!r} in a symbol line (s:) cannot be read and is left out", f"line {number}")
            else:
                if match["symbol"] and at < len(slots):
                    self._inserts.setdefault(slots[at].line, []).append((slots[at].column, match["symbol"]))
                elif match["symbol"]:
                    self.notes.count("symbols in a symbol line (s:) find no note and are left out", f"line {number}")
                at += 1

    def written(self) -> list[tuple[int, str]]:
        """All lines, the symbols written into them."""
        for index, inserts in self._inserts.items():
            number, line = self.lines[index]
            pieces, at = [], 0
            for column, symbol in sorted(inserts, key=lambda insert: insert[0]):
                pieces += [line[at:column], symbol]
                at = column
            self.lines[index] = (number, "".join(pieces) + line[at:])
        return self.lines
