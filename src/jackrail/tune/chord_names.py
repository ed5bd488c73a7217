"""Chord symbols of notations as text that `jackrail.pitch.parse_chord` reads."""

from __future__ import annotations

import re
from functools import lru_cache

from jackrail.faults import BadInput
from jackrail.pitch import parse_chord
from jackrail.tune import model

# MusicXML 4.0 kind-value -> text after the root. None: no fixed set of pitches (functional names, other, none).
KINDS: dict[str, str | None] = {
    "major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant": "7", "major-seventh": "maj7",
    "minor-seventh": "m7", "diminished-seventh": "dim7", "augmented-seventh": "aug7", "half-diminished": "m7b5",
    "major-minor": "mM7", "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9",
    "minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11", "dominant-13th": "13",
    "major-13th": "maj13", "minor-13th": "m13", "suspended-second": "sus2", "suspended-fourth": "sus4", "pedal": "ped",
    "power": "5", "Neapolitan": None, "Italian": None, "French": None, "German": None, "Tristan": None, "other": None, "none": None,
}  # fmt: skip

_NO_CHORD = re.compile(r"n\.?\s?c\.?|no chord|tacet", re.IGNORECASE)
_TENSION = re.compile(r"\d\s*\(")
_ROOT = re.compile(r"[A-G](?:##|#|bb|b|♯|♭)?")
_MOST_CHARACTERS = 40


# The words and figures of a chord symbol after its root. A letter that stands for a quality is none inside a word: "Coda", "Boom".
_PIECES = re.compile(
    r"(?i:maj|min|dim|aug|sus|add|alt|omit|dom|no(?=\W*\d))|m[ai]?(?![a-z])|m(?=[Mm]aj|sus|add)|M(?![a-z])|[oøj°Δ](?![A-Za-z])"
    r"|\d+|##?|bb?(?=\d|\W|$)|[♯♭+\-(),\[\]\s/]"
)
_BASS = re.compile(r"/\s*[A-Ga-g](?:##|#|bb|b|♯|♭)?$")
_REST_OF_BRACKETS = re.compile(r"[^()]+(?:\)|$)")
_SURE = re.compile(r"1[13]|[5679]|alt|sus|add|omit|no\W*\d", re.IGNORECASE)
"""What a text needs to be taken for a chord that is written strangely: "A1", "B 2" are rather the names of parts."""


def chord_or_silence(text: str) -> str | None:
    """A text as `readable` has it, `model.NO_CHORD` for words that say that there is no chord, None for anything else."""
    return model.NO_CHORD if _NO_CHORD.fullmatch(text.strip()) else readable(text)


@lru_cache(maxsize=4096)
def nearest(symbol: str) -> str | None:
    """The longest beginning of a strange chord symbol that is one, with its bass, as text that `parse_chord` reads: "D7alt" is D7.

    None for a text that is not made of a root and the words and figures of chord symbols alone, such as "Coda", "Gently", "A part".
    In brackets that do not follow a bare root any word may stand. For a symbol that `readable` cannot read.
    """
    text = _with_plain_signs(symbol)
    root = _root(text)
    low = _BASS.search(text)
    bass = low[0].replace(" ", "") if low else ""
    end = low.start() if low else len(text)
    if not root or len(text) > _MOST_CHARACTERS or not _SURE.search(text, len(root)):
        return None
    ends = [len(root)]
    while ends[-1] < end:
        before, bracket, inside = text[: ends[-1]].rpartition("(")
        free = bracket and ")" not in inside and before.strip() != root
        piece = _PIECES.match(text, ends[-1], end) or (_REST_OF_BRACKETS.match(text, ends[-1], end) if free else None)
        if piece is None:
            return None
        ends.append(piece.end())
    return next((found for at in reversed(ends) if (found := readable(text[:at] + bass)) is not None), None)


@lru_cache(maxsize=4096)
def readable(symbol: str) -> str | None:
    """`symbol` as text that `parse_chord` reads, or None when it is no chord symbol.

    Drops an alternative in brackets ("G(Em)", ABC 2.1 section 4.18), brackets around tensions ("A7(b9,#11)"), blanks, and reads
    "min", "Min", "MAJ" and the like in any case.
    """
    if len(symbol) > _MOST_CHARACTERS:
        return None
    text = _with_plain_signs(symbol)
    root = _root(text)
    for candidate in (
        text.replace(" ", ""),
        re.sub(r"\((?!Add|Aug|Dim|Dom)[A-G][^)]*\)", "", text).strip(),
        re.sub(r"[(),\s]", "", text),
        _lowered(text),
    ):
        if not root or _root(candidate) != root or _TENSION.search(candidate):
            continue  # "A(b9)" is no Ab9; "A7(b9)" is told without its brackets
        try:
            parse_chord(candidate)
        except BadInput:
            continue
        return candidate
    return None


def _with_plain_signs(symbol: str) -> str:
    """`symbol` without naturals and blanks around it; the signs for a major seventh before a figure ("C^7", "C△9") as "maj"."""
    text = symbol.strip().replace("♮", "")
    return re.sub(r"[△∆^]", "Δ", re.sub(r"[△Δ∆^](?=\d)", "maj", text))


def _root(text: str) -> str:
    match = _ROOT.match(text)
    return match[0] if match else ""


def _lowered(text: str) -> str:
    root = _root(text)
    if not root:
        return text
    quality, slash, bass = text[len(root) :].partition("/")
    lowered = re.sub(r"M(?![aAiI])", "maj", quality).lower()  # "M7" is no m7
    return root + re.sub(r"[(),\s]", "", lowered).replace("seven", "7") + slash + bass
