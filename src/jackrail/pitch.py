"""Pitches and chord symbols as numbers: MIDI keys, frequencies, cents, pitch classes.

Equal temperament with A4 = 440 Hz (ISO 16:1975) unless another reference is given; MIDI key 60 is C4, 69 is A4.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from .faults import BadInput, Fault

A4_HZ = 440.0
A4_MIDI = 69

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ALTERATIONS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "##": 2, "x": 2, "bb": -2}
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
_PITCH = re.compile(r"([A-G])(##|#|x|bb|b|♯|♭|)(-?\d)")
_ROOT = re.compile(r"([A-G])(##|#|bb|b|♯|♭|)")

# Semitones above the root for what follows it in a chord symbol. The sets are those of the MusicXML 4.0 kind values.
_QUALITIES: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7), "maj": (0, 4, 7), "M": (0, 4, 7), "major": (0, 4, 7),
    "m": (0, 3, 7), "min": (0, 3, 7), "-": (0, 3, 7), "mi": (0, 3, 7), "minor": (0, 3, 7),
    "7": (0, 4, 7, 10), "dom7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11), "M7": (0, 4, 7, 11), "Maj7": (0, 4, 7, 11), "ma7": (0, 4, 7, 11), "j7": (0, 4, 7, 11), "Δ": (0, 4, 7, 11),
    "m7": (0, 3, 7, 10), "min7": (0, 3, 7, 10), "-7": (0, 3, 7, 10), "mi7": (0, 3, 7, 10),
    "mM7": (0, 3, 7, 11), "mmaj7": (0, 3, 7, 11), "m(maj7)": (0, 3, 7, 11),
    "dim": (0, 3, 6), "o": (0, 3, 6), "°": (0, 3, 6), "dim7": (0, 3, 6, 9), "o7": (0, 3, 6, 9), "°7": (0, 3, 6, 9),
    "m7b5": (0, 3, 6, 10), "ø": (0, 3, 6, 10), "ø7": (0, 3, 6, 10),
    "aug": (0, 4, 8), "+": (0, 4, 8), "aug7": (0, 4, 8, 10), "+7": (0, 4, 8, 10), "7#5": (0, 4, 8, 10),
    "6": (0, 4, 7, 9), "maj6": (0, 4, 7, 9), "m6": (0, 3, 7, 9), "min6": (0, 3, 7, 9),
    "9": (0, 4, 7, 10, 2), "maj9": (0, 4, 7, 11, 2), "M9": (0, 4, 7, 11, 2), "m9": (0, 3, 7, 10, 2), "min9": (0, 3, 7, 10, 2),
    "add9": (0, 4, 7, 2), "6/9": (0, 4, 7, 9, 2), "69": (0, 4, 7, 9, 2),
    "11": (0, 4, 7, 10, 2, 5), "m11": (0, 3, 7, 10, 2, 5), "maj11": (0, 4, 7, 11, 2, 5),
    "13": (0, 4, 7, 10, 2, 5, 9), "m13": (0, 3, 7, 10, 2, 5, 9), "maj13": (0, 4, 7, 11, 2, 5, 9),
    "7b9": (0, 4, 7, 10, 1), "7#9": (0, 4, 7, 10, 3), "7b5": (0, 4, 6, 10),
    "sus": (0, 5, 7), "sus4": (0, 5, 7), "sus2": (0, 2, 7), "7sus4": (0, 5, 7, 10), "7sus": (0, 5, 7, 10),
    "5": (0, 7), "ped": (0,),
}  # fmt: skip


def parse_pitch(text: str) -> int:
    """MIDI key of a pitch name such as "G4", "F#3", "Bb5" (C4 is 60). Raises BadInput with a "pitch" fault."""
    match = _PITCH.fullmatch(text.strip())
    if match is None:
        raise BadInput(
            Fault("pitch", "cannot be read as a pitch", value=repr(text), hint="write a capital letter, # or b, and an octave: F#4")
        )
    midi = _STEPS[match[1]] + _ALTERATIONS[match[2]] + 12 * (int(match[3]) + 1)
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


def midi_of_frequency(frequency: float, a4_hz: float = A4_HZ) -> float:
    """Fractional MIDI key of a frequency in Hz: the inverse of `frequency_hz`."""
    return A4_MIDI + 12.0 * math.log2(frequency / a4_hz)


def cents_between(low_hz: float, high_hz: float) -> float:
    """Interval in cents from `low_hz` up to `high_hz`: 1200 * log2(high / low)."""
    return 1200.0 * math.log2(high_hz / low_hz)


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
    """Read a chord symbol such as "G", "Am7", "D7/F#". Raises BadInput with a "chord" fault.

    Pitch-class sets follow the MusicXML 4.0 kind values.
    """
    text = symbol.strip()
    root = _ROOT.match(text)
    if root is None:
        raise BadInput(
            Fault("chord", "cannot be read as a chord symbol", value=repr(symbol), hint="start with a capital letter: Am, G7, C/E")
        )
    quality, bass = text[root.end() :], None
    if "/" in quality and quality not in _QUALITIES:
        quality, _, bass_text = quality.rpartition("/")
        bass = _ROOT.fullmatch(bass_text.strip()[:1].upper() + bass_text.strip()[1:])
        if bass is None:
            raise BadInput(Fault("chord", "has a bass that is no pitch", value=repr(symbol), hint="write the bass like C/E"))
    quality = quality.strip()
    if quality not in _QUALITIES and quality.startswith("(") and quality.endswith(")"):
        quality = quality[1:-1]
    if quality not in _QUALITIES:
        raise BadInput(
            Fault(
                "chord",
                f"has an unknown quality {quality!r}",
                value=repr(symbol),
                hint="known: m, 7, maj7, m7, dim, aug, sus4, 6, 9 and the like",
            )
        )
    root_class = _class(root)
    return Chord(root_class, _QUALITIES[quality], root_class if bass is None else _class(bass))


def _class(match: re.Match[str]) -> int:
    return (_STEPS[match[1]] + _ALTERATIONS[match[2]]) % 12
