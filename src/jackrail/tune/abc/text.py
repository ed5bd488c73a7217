"""ABC files as text: cut into tunes, comments taken off (ABC 2.1 section 2.2)."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line

from .text_strings import plain

MAX_TUNES = 50_000
_FIELD = re.compile(r"([A-Za-z+]):(.*)")
_MUSIC_LETTER = re.compile(r"[A-Ga-g]:+\|")  # the end of a repeat after a note
TEXT_FIELDS = frozenset("ABCDFGHNORSWZrw")
"""Fields of text that the music does not need (ABC 2.1 section 3, the table of fields)."""
_LONGEST_FIELD = 4000
_DEFAULTS = re.compile(r"[KLMmQU]:")


def field_of(line: str, *, in_body: bool) -> re.Match[str] | None:
    """Letter and value of an information field, None for music. In the body E: and e: are music, too (ABC 2.1 section 3)."""
    match = _FIELD.match(line)
    return None if match is None or (in_body and (match[1] in "Ee" or _MUSIC_LETTER.match(line))) else match


@dataclass
class TuneText:
    """The lines of one tune with their line numbers. number: its X: number.

    stray: first line of music after it that is in no tune. default: first line before it, outside tunes and below the file's head, with
    a field that old files meant for all tunes that follow; 0 for none.
    """

    number: int
    lines: list[tuple[int, str]] = field(default_factory=list)
    stray: int = 0
    default: int = 0

    @property
    def title(self) -> str:
        """The first T: field."""
        return self.header("T")

    def header(self, letter: str) -> str:
        """The first field of that letter as text, "" when there is none."""
        mark = f"{letter}:"
        return next((one_line(plain(uncommented(text[2:]))) for _, text in self.lines if text.startswith(mark)), "")


def split_tunes(text: str) -> list[TuneText]:
    """Cut a file into its tunes: X: begins one, an empty line ends it; fields before the first hold for all.

    A field goes on in the +: lines after it (ABC 2.1 section 3.3). A file without X: whose first block has a K: field is one tune,
    numbered 1. Raises BadInput for more than MAX_TUNES.
    """
    cutter = _Cutter()
    for number, raw in enumerate(io.StringIO(text, newline=None), 1):  # any kind of line end, one line at a time
        cutter.line(number, raw.rstrip())
    if not cutter.tunes and any(line.startswith("K:") for _, line in cutter.common):
        return [TuneText(1, cutter.common)]
    return cutter.tunes


class _Cutter:
    def __init__(self) -> None:
        self.tunes: list[TuneText] = []
        self.common: list[tuple[int, str]] = []
        self.lines: list[tuple[int, str]] | None = self.common
        self.field = -1  # index of the field that a +: would continue
        self.default = 0

    def line(self, number: int, line: str) -> None:
        if line.startswith("X:"):
            self._open(number, line)
        elif not line:
            self.lines = None if self.tunes else self.common
            self.field = -1
        elif self.lines is None:
            self._between(number, line)
        elif line.startswith("+:") and self._continue(line):
            pass
        else:
            self.lines.append((number, line))
            if not line.startswith("%"):
                self.field = len(self.lines) - 1 if line[1:2] == ":" else -1

    def _open(self, number: int, line: str) -> None:
        if len(self.tunes) >= MAX_TUNES:
            raise BadInput(Fault("range", "holds far too many tunes", f"line {number}", limit=f"at most {MAX_TUNES}"))
        digits = re.match(r"\s*(\d{1,9})", line[2:])
        tune = TuneText(int(digits[1]) if digits else len(self.tunes) + 1, [*self.common, (number, line)], default=self.default)
        self.tunes.append(tune)
        self.lines, self.field = tune.lines, -1

    def _between(self, number: int, line: str) -> None:
        if _DEFAULTS.match(line):
            self.default = self.default or number
        elif not self.tunes[-1].stray and not line.startswith("%") and "|" in line:
            self.tunes[-1].stray = number

    def _continue(self, line: str) -> bool:
        """Add a +: line to its field; False when there is none, or no room in it."""
        if self.lines is None or self.field < 0:
            return False
        start, text = self.lines[self.field]
        if text[0] in TEXT_FIELDS:
            return True
        if len(text) > _LONGEST_FIELD:
            return False
        self.lines[self.field] = (start, f"{uncommented(text)} {line[2:].strip()}")
        return True


def uncommented(text: str) -> str:
    """`text` without a % and what follows it."""
    return text if "%" not in text else re.sub(r"(?<!\\)%.*", "", text)
