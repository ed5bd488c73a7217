"""What K: and V: say about how a voice sounds: octaves and transposition (ABC 2.1 section 4.6, draft 2.2 section 4.6)."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

MOVES_PITCH = 60
"""Most semitones that transpose=, shift= or octave= may move a voice."""
CLEF_WORD = re.compile(r"(?:treble|alto|tenor|bass|perc|none|soprano|mezzosoprano|baritone|G|F|C)?\d?([+\-^_]8)?")
_NAMED = re.compile(r"(clef|octave|transpose|t|score|sound|shift|instrument)=.*", re.IGNORECASE)
_WITH_OCTAVE = re.compile(r"\w+[+\-^_]8")
_INTERVAL = re.compile(r"((?:\^\^?|__?|=)?[A-Ga-g][,']*)((?:\^\^?|__?|=)?[A-Ga-g][,']*)")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"^": 1, "_": -1}


class FieldError(ValueError):
    """A field's value cannot be read; the text says why, hint what to write."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.hint = hint


@dataclass
class Pitching:
    """Octaves and semitones up from what is written; unknown: the words that are not followed."""

    octaves: int = 0
    semitones: int = 0
    unknown: list[str] = field(default_factory=list)


def pitching_words(words: list[str]) -> list[str]:
    """Those words of a V: field that may move its notes."""
    return [word for word in words if _NAMED.fullmatch(word) or _WITH_OCTAVE.fullmatch(word)]


def read_pitching(words: list[str]) -> Pitching:
    """octave=, transpose= and clefs with +8 or -8 (ABC 2.1 section 4.6), shift= and sound= (draft 2.2).

    score= and instrument= concern what is printed as well and are told in `unknown`. Raises FieldError.
    """
    out = Pitching()
    for word in words:
        name, equals, value = word.partition("=")
        name = name.lower()
        if equals and name in {"score", "instrument"}:
            out.unknown.append(word)
        elif equals and name in {"sound", "shift"}:
            out.semitones += _small(name, value, _interval(value))
        elif equals and name in {"octave", "transpose", "t"}:
            number = int(value) if re.fullmatch(r"[+-]?\d{1,2}", value) else None
            moved = _small(name, value, None if number is None else number * (12 if name == "octave" else 1))
            if name == "octave":
                out.octaves += moved // 12
            else:
                out.semitones += moved
        elif (not equals or name == "clef") and (clef := CLEF_WORD.fullmatch(value if equals else word)) and clef[1]:
            out.octaves += 1 if clef[1][0] in "+^" else -1
    return out


def _small(name: str, value: str, semitones: int | None) -> int:
    if semitones is None or abs(semitones) > MOVES_PITCH:
        wanted = "two notes, such as CD" if name in {"sound", "shift"} else "a small whole number"
        raise FieldError(f"{name}={value[:20]} is not {wanted}", f"write {wanted}")
    return semitones


def _interval(value: str) -> int | None:
    """Semitones from the first of two notes to the second: "CD" is 2."""
    match = _INTERVAL.fullmatch(value)
    return _height(match[2]) - _height(match[1]) if match else None


def _height(note: str) -> int:
    letter = next(sign for sign in note if sign.isalpha())
    octaves = letter.islower() + note.count("'") - note.count(",")
    return _STEPS[letter.upper()] + 12 * octaves + sum(_SIGNS.get(sign, 0) for sign in note)
