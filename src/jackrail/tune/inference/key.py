"""The key of a tune told from its notes: how long each pitch class sounds, weighed against the published profiles of the modes."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import sqrt
from operator import mul
from typing import NamedTuple

from jackrail.pitch import TONIC_FIFTHS
from jackrail.tune.model import KeyMark, TuneNote

MAJOR_PROFILE = (0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081)
MINOR_PROFILE = (0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052)
"""Share of each semitone above the tonic: Albrecht and Shanahan, Music Perception 31 (2013), the best of six on folk tunes."""

FEWEST_NOTES = 5
FEWEST_CLASSES = 3
_FINAL = 0.1
"""What ending on the tonic is worth, as correlation. This and the next three: found by trial on three old tune books."""
_MINOR = -0.04
"""What being minor is worth."""
_CLEARLY = 5
"""How many times as long as the other the sixth or seventh that makes a mode has to sound."""
_PASSING = 0.02
"""Share of the whole that a raised sixth has to sound longer than, or it is only passed through: many minor tunes have no sixth."""


class _Candidate(NamedTuple):
    tonic: int
    minor: bool
    weights: tuple[float, ...]


def estimate_key(notes: Sequence[TuneNote]) -> KeyMark | None:
    """The likeliest key, from the start of the tune on: sharps -6 to 5, major, minor, dorian or mixolydian.

    Tonic and third by Krumhansl and Schmuckler's correlation, on the roots of the durations so that a few long notes do not outweigh
    the scale, and more for the tonic that the tune ends on (the lowest of the notes that begin last). Minor with raised sixths is
    dorian, major with lowered sevenths mixolydian. None for fewer than FEWEST_NOTES notes or FEWEST_CLASSES pitch classes, and when
    all twelve sound alike.
    """
    lasting = [0.0] * 12
    for note in notes:
        lasting[note.midi % 12] += note.duration_q.numerator / note.duration_q.denominator
    roots = [sqrt(quarters) for quarters in lasting]
    mean = sum(roots) / 12
    spread = sqrt(sum((root - mean) ** 2 for root in roots))
    if len(notes) < FEWEST_NOTES or sum(map(bool, lasting)) < FEWEST_CLASSES or spread < 1e-6 * mean:
        return None
    final = _final_class(notes)

    def fit(candidate: _Candidate) -> float:
        correlation: float = sum(map(mul, roots, candidate.weights)) / spread
        return correlation + _MINOR * candidate.minor + _FINAL * (candidate.tonic == final)

    best = max(_CANDIDATES, key=fit)
    mode = _mode(best.minor, lasting[best.tonic :] + lasting[: best.tonic])
    return KeyMark(Fraction(0), (7 * best.tonic - TONIC_FIFTHS[mode] + 6) % 12 - 6, mode)


def _final_class(notes: Sequence[TuneNote]) -> int:
    """Pitch class of the lowest of the notes that begin last."""
    last = notes[-1]
    lowest, onset, onset_q = last.midi, float(last.onset_q), last.onset_q
    for note in notes:
        if note.onset_q.numerator / note.onset_q.denominator >= onset and note.onset_q >= onset_q:  # floats are faster to compare
            lowest = note.midi if note.onset_q > onset_q else min(lowest, note.midi)
            onset, onset_q = float(note.onset_q), note.onset_q
    return lowest % 12


def _mode(minor: bool, lasting: Sequence[float]) -> str:  # noqa: FBT001 - the third is minor or it is not
    """The mode with that third. lasting: how long each semitone above the tonic sounds."""
    if minor:
        return "dorian" if lasting[9] > _CLEARLY * lasting[8] + _PASSING * sum(lasting) else "minor"
    return "mixolydian" if lasting[10] > _CLEARLY * lasting[11] else "major"


def _candidates() -> list[_Candidate]:
    """Every tonic and third with its profile turned to the tonic, less its mean and of length 1, as a correlation wants it."""
    found = []
    for minor, profile in ((False, MAJOR_PROFILE), (True, MINOR_PROFILE)):
        mean = sum(profile) / 12
        length = sqrt(sum((share - mean) ** 2 for share in profile))
        for tonic in range(12):
            weights = tuple((profile[(pitch_class - tonic) % 12] - mean) / length for pitch_class in range(12))
            found.append(_Candidate(tonic, minor, weights))
    return found


_CANDIDATES = _candidates()
