"""Macros: m: fields played out in the text of music lines (ABC 2.1 section 9)."""

from __future__ import annotations

import re

from jackrail.faults import BadInput, Fault
from jackrail.pitch import STEP_NAMES
from jackrail.tune.score.written import Notes

from .pitching import octave_of

MOST_MACROS = 64
MOST_EXPANDED = 100_000
"""Characters that all macros of a tune may write together."""
_LONGEST_TARGET = 31
_LONGEST_REPLACEMENT = 200
_LOWEST_OCTAVE = octave_of("C", "")
_NOTE = r"(?P<letter>[A-Ga-g])(?P<octave>[,']*)"
_NOTE_END = re.compile(r"[A-Ga-g][,']*[\d/]*$")
_LENGTH_GOES_ON = r"(?![\d/,'])"  # ~G3 is meant, not the beginning of ~G32
_PASSED = r'(?P<passed>"[^"]*"?|\[[A-Za-z]:[^\]]*\]|![^!\s]{1,30}!)'  # texts, inline fields and decorations stay as they are
_PLACEHOLDER = re.compile(r"""(?P<kept>"[^"]*"?|![^!\s]{1,30}!)|(?P<pitch>[h-z])""")


class Macros:
    """The macros in force."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.written = 0
        self._replacements: dict[str, str] = {}
        self._pattern: re.Pattern[str] | None = None

    def define(self, value: str, place: str) -> None:
        """The value of an m: field; one that cannot be read is told and left out."""
        target, equals, replacement = (part.strip() for part in value.partition("="))
        transposing = re.fullmatch(r"[^n]*n[\d/]*", target)
        wrong = (
            "has no = between what is written and what is played" if not equals or not target
            else f"is longer than {_LONGEST_TARGET} characters, or what it stands for than {_LONGEST_REPLACEMENT}"
            if len(target) > _LONGEST_TARGET or len(replacement) > _LONGEST_REPLACEMENT
            else "has an n that is not at its end before a length" if "n" in target and not transposing
            else f"is one too many, at most {MOST_MACROS}" if len(self._replacements) >= MOST_MACROS
            else ""
        )  # fmt: skip
        if wrong:
            self.notes.count(f"a macro (m:) {wrong}, and is left out", place)
            return
        self._replacements[target] = replacement
        self._pattern = None

    def expand(self, line: str, place: str) -> str:
        """`line` with each macro played out once; what it wrote is not looked at again. Raises BadInput beyond MOST_EXPANDED."""
        if not self._replacements:
            return line
        if self._pattern is None:
            self._pattern, self._targets = _compiled(list(self._replacements))

        def played(match: re.Match[str]) -> str:
            if match["passed"] is not None or match.lastgroup is None:
                return match[0]
            target = self._targets[match.lastgroup]
            text = self._replacements[target]
            if "n" in target:
                head = match[0][target.index("n") :]
                text = _transposed(text, head)
            self.written += len(text)
            if self.written > MOST_EXPANDED:
                raise BadInput(Fault("range", "macros write far too much", place, limit=f"at most {MOST_EXPANDED} characters"))
            return text

        return self._pattern.sub(played, line)


def _compiled(targets: list[str]) -> tuple[re.Pattern[str], dict[str, str]]:
    """One pattern for all, the longest target first, and the target that each of its groups stands for."""
    groups = {f"m{index}": target for index, target in enumerate(sorted(targets, key=len, reverse=True))}
    parts = []
    for group, target in groups.items():
        before, n, length = target.partition("n")
        if n:
            pattern = re.escape(before) + r"[A-Ga-g][,']*" + re.escape(length) + _LENGTH_GOES_ON
        else:
            pattern = re.escape(target) + (_LENGTH_GOES_ON if _NOTE_END.search(target) else "")
        parts.append(f"(?P<{group}>{pattern})")
    return re.compile("|".join([*parts, _PASSED])), groups


def _transposed(replacement: str, head: str) -> str:
    """A replacement with its letters h to z as the notes so many steps from the note that begins `head`, which n stands for."""
    note = re.match(_NOTE, head)
    if note is None:
        return replacement
    height = STEP_NAMES.index(note["letter"].upper()) + 7 * (octave_of(note["letter"], note["octave"]) - _LOWEST_OCTAVE)
    return _PLACEHOLDER.sub(lambda match: match["kept"] or _named(height + ord(match["pitch"]) - ord("n")), replacement)


def _named(height: int) -> str:
    """The note so many steps above C."""
    octave, step = divmod(height, 7)
    letter = STEP_NAMES[step]
    return letter.lower() + "'" * (octave - 1) if octave >= 1 else letter + "," * -octave
