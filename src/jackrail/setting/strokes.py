"""When chords are struck, and which chord bars are fit for a symbol."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter

from jackrail.pitch import Chord
from jackrail.tune.model import ChordSymbol, Tune

DEFAULT_STRUM = "downbeats"


@dataclass(frozen=True)
class ChordMoment:
    """A moment where a chord is struck: the symbol written, or the downbeat where it is renewed."""

    symbol: ChordSymbol
    onset_s: float
    repeated: bool


def chord_moments(tune: Tune, strum: str = DEFAULT_STRUM) -> list[ChordMoment]:
    """Each symbol at its onset, and on each later downbeat until the next symbol, be it silence, or the last note's end."""
    if not tune.chords or not tune.notes:
        return []
    end_q = max(note.onset_q + note.duration_q for note in tune.notes)
    downbeats = [(bar.onset_q, tune.seconds_at(bar.onset_q)) for bar in tune.bars if bar.downbeat]
    moments = []
    for symbol, end in zip(tune.chords, [*(later.onset_q for later in tune.chords[1:]), end_q], strict=True):
        if not symbol.silent:
            moments.append(ChordMoment(symbol, tune.seconds_at(symbol.onset_q), repeated=False))
            first = bisect_right(downbeats, symbol.onset_q, key=itemgetter(0))
            held = downbeats[first : bisect_left(downbeats, end, key=itemgetter(0))]
            moments += [ChordMoment(symbol, at_s, repeated=True) for _, at_s in held]
    return moments


def fitting_bars(bars: Sequence[tuple[int, Chord]], chord: Chord) -> list[tuple[int, float]]:
    """Chord bars, by the index of their voice, that are fit for a chord, each with its distance: 0 the same tones, 1 its plain triad.

    The same chord in another inversion is the same. A bar with a tone that the chord has not would clash: silence is
    better. Of several plain triads inside a chord the one on its root is meant.
    """
    triad = frozenset((chord.root + interval) % 12 for interval in chord.intervals[:3])
    exact = [(v, 0.0) for v, bar in bars if bar.classes == chord.classes]
    return exact or [(v, 1.0) for v, bar in bars if bar.classes == triad]
