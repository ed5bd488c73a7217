"""What K: and V: say about how a voice sounds: octaves and transposition (ABC 2.1 section 4.6, draft 2.2 section 4.6)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from jackrail.pitch import STEPS

MOVES_PITCH = 60
"""Most semitones that transpose=, shift= or octave= may move a voice."""
CLEF_WORD = re.compile(r"(treble|alto|tenor|bass|perc|none|soprano|mezzosoprano|baritone|G|F|C)?\d?([+\-^_]8)?")
_NAMED = re.compile(r"(clef|octave|transpose|t|score|sound|shift|instrument)=.*", re.IGNORECASE)
_INTERVAL = re.compile(r"((?:\^\^?|__?|=)?[A-Ga-g][,']*)((?:\^\^?|__?|=)?[A-Ga-g][,']*)")
_SIGNS = {"^": 1, "_": -1}


class FieldError(ValueError):
    """A field's value cannot be read; the text says why, hint what to write."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.hint = hint


@dataclass(frozen=True)
class Pitching:
    """What moves the notes of a voice up, each part None where no field names it.

    clef: octaves that its clef moves it, 0 for a plain one; drums: the clef is that of drums. octave: of octave=. transpose: semitones
    of transpose=, shift= and sound=. unknown: the words that are not followed.
    """

    clef: int | None = None
    drums: bool = False
    octave: int | None = None
    transpose: int | None = None
    unknown: tuple[str, ...] = ()

    @property
    def semitones(self) -> int:
        """What the key and the chord symbols move with the notes."""
        return self.transpose or 0

    @property
    def octaves(self) -> int:
        """Octaves of clef and octave= together."""
        return (self.clef or 0) + (self.octave or 0)

    def over(self, other: Pitching) -> Pitching:
        """`other` with the parts replaced that this one names: a voice has one clef, one octave=, one transpose=."""
        return Pitching(
            other.clef if self.clef is None else self.clef,
            other.drums if self.clef is None else self.drums,
            other.octave if self.octave is None else self.octave,
            other.transpose if self.transpose is None else self.transpose,
        )

    def in_both(self, other: Pitching) -> list[str]:
        """Words whose part both name. Not the clef, of which it is plain that there is one."""
        parts = (("octave=", self.octave, other.octave), ("transpose=", self.transpose, other.transpose))
        return [word for word, mine, others in parts if mine is not None and others is not None]


def octave_of(letter: str, marks: str) -> int:
    """Octave of a note as written, 4 for C to B: small letters are one higher, each ' another, each , one lower (section 4.1)."""
    return (5 if letter.islower() else 4) + (marks.count("'") - marks.count(",") if marks else 0)


def pitching_words(words: list[str]) -> list[str]:
    """Those words of a V: field that may move its notes."""
    return [word for word in words if _NAMED.fullmatch(word) or (word[:1].isalpha() and CLEF_WORD.fullmatch(word))]


def read_pitching(words: list[str]) -> Pitching:
    """octave=, transpose= and clefs with +8 or -8 (ABC 2.1 section 4.6), shift= and sound= (draft 2.2).

    score= and instrument= concern what is printed as well and are told in `unknown`. Raises FieldError.
    """
    clef: int | None = None
    drums = False
    moved: dict[str, int] = {}
    unknown: list[str] = []
    for word in words:
        name, equals, value = word.partition("=")
        name = name.lower()
        if equals and name in {"score", "instrument"}:
            unknown.append(word)
        elif equals and name in {"sound", "shift"}:
            moved["transpose"] = moved.get("transpose", 0) + _small(name, value, _interval(value))
        elif equals and name in {"octave", "transpose", "t"}:
            number = int(value) if re.fullmatch(r"[+-]?\d{1,2}", value) else None
            semitones = _small(name, value, None if number is None else number * (12 if name == "octave" else 1))
            if name == "octave":
                moved["octave"] = semitones // 12
            else:
                moved["transpose"] = moved.get("transpose", 0) + semitones
        elif (not equals or name == "clef") and (found := CLEF_WORD.fullmatch(value if equals else word)):
            clef, drums = _octaves_of_clef(found[2]), found[1] == "perc"
    return Pitching(clef, drums, moved.get("octave"), moved.get("transpose"), tuple(unknown))


def _octaves_of_clef(sign: str | None) -> int:
    return 0 if not sign else 1 if sign[0] in "+^" else -1


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
    return STEPS[letter.upper()] + 12 * octave_of(letter, note) + sum(_SIGNS.get(sign, 0) for sign in note)
