"""ABC files as text: cut into tunes, comments taken off (ABC 2.1 section 2.2)."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line

MAX_TUNES = 50_000


@dataclass
class TuneText:
    """The lines of one tune with their line numbers. number: its X: number. stray: first line after it that is in no tune."""

    number: int
    lines: list[tuple[int, str]] = field(default_factory=list)
    stray: int = 0

    @property
    def title(self) -> str:
        """The first T: field."""
        return next((one_line(uncommented(text[2:])) for _, text in self.lines if text.startswith("T:")), "")


def split_tunes(text: str) -> list[TuneText]:
    """Cut a file into its tunes: X: begins one, an empty line ends it; fields before the first hold for all.

    A file without X: whose first block has a K: field is one tune, numbered 1. Raises BadInput for more than MAX_TUNES.
    """
    tunes: list[TuneText] = []
    common: list[tuple[int, str]] = []
    current: TuneText | None = None
    for number, raw in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        line = raw.rstrip()
        if line.startswith("X:"):
            if len(tunes) >= MAX_TUNES:
                raise BadInput(Fault("range", "holds far too many tunes", f"line {number}", limit=f"at most {MAX_TUNES}"))
            digits = re.match(r"\s*(\d{1,9})", line[2:])
            current = TuneText(int(digits[1]) if digits else len(tunes) + 1, [*common, (number, line)])
            tunes.append(current)
        elif not line:
            current = None
        elif current is not None:
            current.lines.append((number, line))
        elif not tunes:
            common.append((number, line))
        elif not tunes[-1].stray and not line.startswith("%") and "|" in line:
            tunes[-1].stray = number
    if not tunes and any(line.startswith("K:") for _, line in common):
        return [TuneText(1, common)]
    return tunes


def uncommented(text: str) -> str:
    """`text` without a % and what follows it."""
    return text if "%" not in text else re.sub(r"(?<!\\)%.*", "", text)
