"""Pitches and chord symbols as numbers: MIDI keys, frequencies, cents, pitch classes.

Equal temperament with A4 = 440 Hz (ISO 16:1975) unless another reference is given; MIDI key 60 is C4, 69 is A4.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from .faults import BadInput, Fault

A4_HZ = 440.0
A4_MIDI = 69

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Semitones of the steps above C, in the order of an octave."""
STEP_NAMES = "".join(STEPS)
SHARP_ORDER = "FCGDAEB"
"""The steps in the order in which signatures sharpen them; flats come the other way round."""
ACCIDENTALS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
"""Semitones of an alteration and how it is written in names."""
_ALTERATIONS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "##": 2, "x": 2, "bb": -2}
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
_PITCH = re.compile(r"([A-G])(##|#|x|bb|b|♯|♭|)(-?\d)")
_ROOT = re.compile(r"([A-G])(##|#|bb|b|♯|♭|)")
_PLAIN = range(-6, 11)
"""Gb to A# on the circle of fifths: the names that musicians write whatever the key."""
TONIC_FIFTHS = {
    "lydian": -1, "major": 0, "ionian": 0, "mixolydian": 1, "dorian": 2, "minor": 3, "aeolian": 3, "phrygian": 4, "locrian": 5,
}  # fmt: skip
"""Fifths from the tonic of the major key with the same signature up to the tonic of each mode."""

# Semitones above the root for what follows it in a chord symbol. The sets are those of the MusicXML 4.0 kind values.
_QUALITIES: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7), "maj": (0, 4, 7), "M": (0, 4, 7), "major": (0, 4, 7), "Maj": (0, 4, 7), "ma": (0, 4, 7), "Ma": (0, 4, 7), "MA": (0, 4, 7),
    "MAJ": (0, 4, 7),
    "m": (0, 3, 7), "min": (0, 3, 7), "-": (0, 3, 7), "mi": (0, 3, 7), "minor": (0, 3, 7),
    "7": (0, 4, 7, 10), "dom7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11), "M7": (0, 4, 7, 11), "Maj7": (0, 4, 7, 11), "ma7": (0, 4, 7, 11), "j7": (0, 4, 7, 11), "Δ": (0, 4, 7, 11),
    "Ma7": (0, 4, 7, 11), "MA7": (0, 4, 7, 11), "MAJ7": (0, 4, 7, 11), "Δ7": (0, 4, 7, 11),
    "m7": (0, 3, 7, 10), "min7": (0, 3, 7, 10), "-7": (0, 3, 7, 10), "mi7": (0, 3, 7, 10),
    "mM7": (0, 3, 7, 11), "mmaj7": (0, 3, 7, 11), "m(maj7)": (0, 3, 7, 11), "minmaj7": (0, 3, 7, 11),
    "-maj7": (0, 3, 7, 11), "-M7": (0, 3, 7, 11), "mΔ": (0, 3, 7, 11), "-Δ": (0, 3, 7, 11),
    "m/maj7": (0, 3, 7, 11), "m/M7": (0, 3, 7, 11), "m/ma7": (0, 3, 7, 11), "min/maj7": (0, 3, 7, 11), "-/maj7": (0, 3, 7, 11),
    "mma7": (0, 3, 7, 11), "mΔ7": (0, 3, 7, 11), "-Δ7": (0, 3, 7, 11),
    "dim": (0, 3, 6), "o": (0, 3, 6), "°": (0, 3, 6), "dim7": (0, 3, 6, 9), "o7": (0, 3, 6, 9), "°7": (0, 3, 6, 9),
    "m7b5": (0, 3, 6, 10), "ø": (0, 3, 6, 10), "ø7": (0, 3, 6, 10),
    "aug": (0, 4, 8), "+": (0, 4, 8), "+5": (0, 4, 8), "aug7": (0, 4, 8, 10), "+7": (0, 4, 8, 10), "7#5": (0, 4, 8, 10),
    "6": (0, 4, 7, 9), "maj6": (0, 4, 7, 9), "m6": (0, 3, 7, 9), "min6": (0, 3, 7, 9),
    "9": (0, 4, 7, 10, 2), "maj9": (0, 4, 7, 11, 2), "M9": (0, 4, 7, 11, 2), "m9": (0, 3, 7, 10, 2), "min9": (0, 3, 7, 10, 2),
    "mM9": (0, 3, 7, 11, 2), "mmaj9": (0, 3, 7, 11, 2), "add9": (0, 4, 7, 2),
    "6/9": (0, 4, 7, 9, 2), "69": (0, 4, 7, 9, 2), "m6/9": (0, 3, 7, 9, 2), "m69": (0, 3, 7, 9, 2),
    "11": (0, 4, 7, 10, 2, 5), "m11": (0, 3, 7, 10, 2, 5), "min11": (0, 3, 7, 10, 2, 5),
    "maj11": (0, 4, 7, 11, 2, 5), "M11": (0, 4, 7, 11, 2, 5),
    "13": (0, 4, 7, 10, 2, 5, 9), "m13": (0, 3, 7, 10, 2, 5, 9), "min13": (0, 3, 7, 10, 2, 5, 9),
    "maj13": (0, 4, 7, 11, 2, 5, 9), "M13": (0, 4, 7, 11, 2, 5, 9),
    "7b9": (0, 4, 7, 10, 1), "7#9": (0, 4, 7, 10, 3), "7b5": (0, 4, 6, 10),
    "sus": (0, 5, 7), "sus4": (0, 5, 7), "sus2": (0, 2, 7), "7sus4": (0, 5, 7, 10), "7sus": (0, 5, 7, 10),
    "5": (0, 7), "ped": (0,),
}  # fmt: skip
_MOST_QUALITY = 60
_LONGEST_FIRST = sorted(_QUALITIES, key=len, reverse=True)

# What may follow a known quality: "b9", "#11", "add11", "addmaj7", "no5", "omit3", "sus4", in brackets or not.
_ALTERATION = re.compile(
    r"(?P<no>no|omit)(?P<gone>13|11|[2-79])|sus(?P<sus>[24]?)"
    r"|(?P<add>add)?(?P<sign>bb|##|[b#♭♯]|maj(?=7)|)(?P<degree>13|11|[2-79])|(?P<dash>[+-])(?P<figure>13|11|[59])",
    re.IGNORECASE,
)
_BARE = {"5", "6", "9", "11", "13"}
"""Degrees that need no "add" before their accidental."""
_SIGNS = {"": 0, "#": 1, "♯": 1, "+": 1, "b": -1, "♭": -1, "-": -1, "##": 2, "bb": -2, "maj": 1}
NATURAL_DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 0, 9: 2, 10: 4, 11: 5, 12: 7, 13: 9}
"""Semitones above the root (octaves taken off) of a degree in a dominant chord: all major or perfect but the minor seventh."""

# Which intervals a degree may stand at, the first that the chord has is meant: the fifth of a diminished chord is 6.
_STANDING = {2: (2,), 3: (4, 3), 4: (5,), 5: (7, 6, 8), 6: (9, 8), 7: (10, 11, 9), 9: (2, 1, 3), 11: (5, 6), 13: (9, 8)}


def parse_pitch(text: str) -> int:
    """MIDI key of a pitch name such as "G4", "F#3", "Bb5" (C4 is 60). Raises BadInput with a "pitch" fault."""
    match = _PITCH.fullmatch(text.strip())
    if match is None:
        raise BadInput(
            Fault(
                "pitch", "cannot be read as a pitch", value=repr(text), hint="write A to G in capitals, # or b, and an octave: F#4; H is B"
            )
        )
    midi = STEPS[match[1]] + _ALTERATIONS[match[2]] + 12 * (int(match[3]) + 1)
    if not 0 <= midi <= 127:
        raise BadInput(Fault("pitch", "lies outside the MIDI range", value=repr(text), limit="C-1 to G9"))
    return midi


def pitch_name(midi: int) -> str:
    """Name of a MIDI key, flats for the keys usually so spelt: 61 is "C#4", 70 is "Bb4"."""
    return f"{_NAMES[midi % 12]}{midi // 12 - 1}"


def class_name(pitch_class: int) -> str:
    """Name of a pitch class 0-11 without its octave."""
    return _NAMES[pitch_class % 12]


def frequency_hz(midi: float, a4_hz: float = A4_HZ) -> float:
    """Frequency of a (possibly fractional) MIDI key: a4 * 2^((midi - 69) / 12)."""
    return float(a4_hz * 2.0 ** ((midi - A4_MIDI) / 12.0))


def name_on_circle(fifths: int) -> str:
    """Name of the tone so many fifths above C, below it when negative: 1 is "G", 6 is "F#", -4 is "Ab"."""
    accidentals, step = divmod(fifths + 1, 7)
    return SHARP_ORDER[step] + ("#" * accidentals if accidentals > 0 else "b" * -accidentals)


def moved_signature(sharps: int, semitones: int) -> int:
    """Sharps (negative: flats) of a key signature moved by `semitones`, -6 to 6; as written when it moves by whole octaves.

    A semitone up is seven fifths up the circle, twelve fifths are no step at all. Of six sharps and six flats a flat key
    takes the flats.
    """
    if semitones % 12 == 0:
        return sharps
    moved = (sharps + 7 * semitones + 6) % 12 - 6
    return 6 if moved == -6 and sharps >= 0 else moved


def signature(sharps: int) -> dict[str, int]:
    """The steps that a key signature of so many sharps (negative: flats) alters, with the semitones."""
    altered = {step: (sharps - place + 6) // 7 for place, step in enumerate(SHARP_ORDER)}
    return {step: semitones for step, semitones in altered.items() if semitones}


def neighbours(position: int, signed: Mapping[str, int], accidentals: Mapping[int, int]) -> tuple[int, int]:
    """MIDI keys (unchecked) of the written steps below and above a note, as the ornaments at it reach them.

    position: the note's own step, counted from C0: 7 is C1. signed: semitones by which the signature alters steps. accidentals: by
    which those of the bar alter positions; they hold before the signature.
    """
    keys = []
    for near in (position - 1, position + 1):
        octave, place = divmod(near, 7)
        step = STEP_NAMES[place]
        keys.append(12 * (octave + 1) + STEPS[step] + accidentals.get(near, signed.get(step, 0)))
    return keys[0], keys[1]


@dataclass(frozen=True)
class Chord:
    """A chord symbol: root and bass as pitch classes 0-11, intervals in semitones above the root."""

    root: int
    intervals: tuple[int, ...]
    bass: int

    @property
    def classes(self) -> frozenset[int]:
        """The pitch classes sounding, the bass included."""
        return frozenset({(self.root + interval) % 12 for interval in self.intervals} | {self.bass})

    def transposed(self, semitones: int) -> Chord:
        """The same chord moved by `semitones`."""
        return Chord((self.root + semitones) % 12, self.intervals, (self.bass + semitones) % 12)


def parse_chord(symbol: str) -> Chord:
    """Read a chord symbol such as "G", "Am7", "D7/F#", "C7(b9,no5)". Raises BadInput with a "chord" fault.

    Pitch-class sets follow the MusicXML 4.0 kind values. After a quality may come alterations, in brackets or not: "b9", "#11", "+5"
    replace the degree if the chord has it, "add11", "addb13", "addmaj7" add one, "no5" and "omit3" take one away, "sus4" and "sus2"
    put a fourth or a second in the place of the third. After a root alone an accidental needs "add": "Ab9" is a chord on Ab.
    "C2" (a second instead of the third or beside it), "C4", "C-5" and "C0" (a triad or a seventh) mean different chords to different
    writers, and pitches to others: they are refused.
    """
    root, quality, bass = _taken_apart(symbol)
    quality = quality.strip()
    if quality not in _QUALITIES and quality.startswith("(") and quality.endswith(")") and quality.count("(") == 1:
        quality = quality[1:-1]
    intervals = _QUALITIES.get(quality) or _with_alterations(quality)
    if intervals is None:
        raise BadInput(
            Fault(
                "chord",
                f"has an unknown quality {quality!r}",
                value=repr(symbol),
                hint="known: m, 7, maj7, m7, dim, aug, sus4, 6, 9 and the like, then b9, add11, no5 and the like",
            )
        )
    root_class = _class(root)
    return Chord(root_class, intervals, root_class if bass is None else _class(bass))


@lru_cache(maxsize=1024)
def _with_alterations(text: str) -> tuple[int, ...] | None:
    """Intervals of a known quality followed by alterations, None when it is none. The longest quality that leaves some is meant."""
    if len(text) > _MOST_QUALITY:
        return None
    for quality in _LONGEST_FIRST:
        rest = text[len(quality) :]
        if text.startswith(quality) and rest.count("(") == rest.count(")"):
            intervals = _altered(quality, re.sub(r"[(),\s]", "", rest))
            if intervals is not None:
                return intervals
    return None


def _altered(quality: str, rest: str) -> tuple[int, ...] | None:
    intervals = _QUALITIES[quality]
    at = 0
    while at < len(rest):
        found = _ALTERATION.match(rest, at)
        changed = None if found is None else _changed(intervals, found, bare=bool(quality))
        if found is None or changed is None:
            return None
        intervals, at = changed, found.end()
    return intervals


def _changed(intervals: tuple[int, ...], found: re.Match[str], *, bare: bool) -> tuple[int, ...] | None:
    """`intervals` after one alteration; None for one that makes no sense. bare: whether an accidental may stand without "add"."""
    if found["no"]:
        gone = _standing(intervals, int(found["gone"]))
        return None if gone is None else tuple(tone for tone in intervals if tone != gone)
    if found["sus"] is not None:
        third = _standing(intervals, 3)
        fourth = 2 if found["sus"] == "2" else 5
        return None if third is None else tuple(dict.fromkeys(fourth if tone == third else tone for tone in intervals))
    degree = found["degree"] or found["figure"]
    sign = (found["sign"] or found["dash"] or "").lower()
    tone = (NATURAL_DEGREES[int(degree)] + _SIGNS[sign]) % 12
    if found["add"]:
        return None if degree == "7" and sign not in {"", "maj"} else (*(one for one in intervals if one != tone), tone)
    seventh = bool({10, 11} & set(intervals))
    if not bare or not sign or degree not in _BARE or (found["dash"] and not seventh):
        return None
    kept = intervals if degree == "6" else tuple(one for one in intervals if one != _replaced(intervals, int(degree)))
    return (*(one for one in kept if one != tone), tone)


def _standing(intervals: tuple[int, ...], degree: int) -> int | None:
    return next((tone for tone in _STANDING[degree] if tone in intervals), None)


def _replaced(intervals: tuple[int, ...], degree: int) -> int | None:
    """The natural degree that an altered one takes the place of: the ninth, but not the fourth of a sus chord nor the sixth of a 6."""
    natural = NATURAL_DEGREES[degree]
    stacked = {5: True, 9: True, 11: bool({3, 4} & set(intervals)), 13: 2 in intervals and bool({10, 11} & set(intervals))}
    return natural if stacked[degree] else None


def moved_symbol(symbol: str, semitones: int, sharps: int = 0) -> str:
    """A chord symbol moved by `semitones`, spelt for the key it comes to: "G/b" up 1 is "Ab/C". Raises BadInput like `parse_chord`.

    sharps: the key signature it is written under. Root and bass move as many fifths as the signature does.
    """
    root, quality, bass = _taken_apart(symbol)
    if semitones % 12 == 0:
        return symbol
    moved = moved_signature(sharps, semitones)
    low = "" if bass is None else "/" + spelt(_fifths(bass) + moved - sharps, moved)
    return spelt(_fifths(root) + moved - sharps, moved) + quality + low


def _taken_apart(symbol: str) -> tuple[re.Match[str], str, re.Match[str] | None]:
    """Root, quality as written, and bass of a chord symbol. Raises BadInput."""
    text = symbol.strip()
    root = _ROOT.match(text)
    if root is None:
        raise BadInput(
            Fault(
                "chord", "cannot be read as a chord symbol", value=repr(symbol), hint="start with A to G in capitals: Am, G7, C/E; H is B"
            )
        )
    quality = text[root.end() :]
    if "/" not in quality or quality in _QUALITIES:
        return root, quality, None
    quality, _, low = quality.rpartition("/")
    bass = _ROOT.fullmatch(low.strip()[:1].upper() + low.strip()[1:])
    if bass is None:
        raise BadInput(Fault("chord", "has a bass that is no pitch", value=repr(symbol), hint="write the bass like C/E"))
    return root, quality, bass


def _fifths(match: re.Match[str]) -> int:
    return SHARP_ORDER.index(match[1]) - 1 + 7 * _ALTERATIONS[match[2]]


def fifths_of(name: str) -> int:
    """How many fifths above C the tone of that name lies: "G" is 1, "Bb" -2. Raises BadInput like `parse_chord`."""
    return _fifths(_taken_apart(name)[0])


def spelt(fifths: int, sharps: int) -> str:
    """Name of a tone so many fifths above C in a key of so many sharps (negative: flats).

    E#, Cb and the like stand only where they belong to its scale, never two accidentals elsewhere.
    """
    if not sharps - 1 <= fifths <= sharps + 5:
        while fifths not in _PLAIN:
            fifths += 12 if fifths < 0 else -12
    return name_on_circle(fifths)


def _class(match: re.Match[str]) -> int:
    return (STEPS[match[1]] + _ALTERATIONS[match[2]]) % 12
