"""Which chord bar comes nearest to a chord symbol, and how far it is from it."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.pitch import Chord

TRIAD = 1.0
"""Distance of the plain triad from a chord with more tones: the nearest after the same tones."""
MISSING, FOREIGN = 1.0, 2.0
"""What each tone of its triad that a bar lacks adds to that, and each tone of the bar that the chord has not."""
_LEAST_SHARED = 2


def fitting_bars(bars: Sequence[tuple[int, Chord]], chord: Chord) -> list[tuple[int, float]]:
    """The chord bars nearest to a chord, by the index of their voice, each with its distance: all of one distance, none when all clash.

    0: the same tones, in whatever inversion. 1: the triad on its root. Beyond: bars that share two tones or more of its triad and clash
    with none; a tone clashes that is foreign to the chord and a semitone from one of its tones. Then silence is better.
    """
    distances = [(v, _distance(bar, chord)) for v, bar in bars]
    least = min((far for _, far in distances if far is not None), default=None)
    return [(v, far) for v, far in distances if far is not None and far == least]


def _distance(bar: Chord, chord: Chord) -> float | None:
    """How far a bar is from a chord; None when it clashes or has too little in common."""
    if bar.classes == chord.classes:
        return 0.0
    triad = _triad(chord)
    if bar.classes == triad:
        return TRIAD
    foreign = bar.classes - chord.classes
    clashes = any((tone + step) % 12 in chord.classes for tone in foreign for step in (1, -1))
    if clashes or len(bar.classes & triad) < _LEAST_SHARED:
        return None
    return TRIAD + MISSING * len(triad - bar.classes) + FOREIGN * len(foreign)


def _triad(chord: Chord) -> frozenset[int]:
    return frozenset((chord.root + interval) % 12 for interval in chord.intervals[:3])


def compared(bar: Chord, chord: Chord) -> tuple[list[int], list[int], list[int]]:
    """Pitch classes that a bar shares with a chord, those of its triad that it lacks, and those it has beyond the chord, each sorted."""
    return sorted(bar.classes & chord.classes), sorted(_triad(chord) - bar.classes), sorted(bar.classes - chord.classes)
