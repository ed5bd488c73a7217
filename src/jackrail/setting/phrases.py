"""Phrases of a melody: where a singer would breathe.

A phrase ends before a rest, after a note that is long beside its neighbours, and where a repeat begins anew: rests and
relative length are the strongest signs of a boundary in what is known of it (Temperley 2001, Cambouropoulos 2001, from memory). Where
these say nothing for a long time, phrases of four bars are taken, the upbeat belonging to what it leads into (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from jackrail.tune.model import Bar, Tune, beat_length_q

from .metre import bars_of

_REST_BEATS = 0.5
"""A rest of so many felt beats ends a phrase."""
_LONG = 2.0
"""A note of so many times the length of its neighbours, and a felt beat at least, ends a phrase."""
_LONGEST_BARS, _USUAL_BARS = 6, 4
"""A phrase longer than this is cut into phrases of the usual length."""
_NEARLY = 1e-9


@dataclass(frozen=True)
class LineNote:
    """A note of the melody: onset and written length in quarters, key, strength of its place (see `metre`), the bar it begins in."""

    onset: float
    length: float
    midi: int
    accent: float
    bar: Bar | None


def line_of(tune: Tune, melody: Sequence[int], lengths_q: Sequence[Fraction], strong: Sequence[float]) -> list[LineNote]:
    """The notes of a melody, by their indices in time order. lengths_q, strong: written length and accent of every note of the tune."""
    bars, notes = bars_of(tune), tune.notes
    return [LineNote(float(notes[n].onset_q), float(lengths_q[n]), notes[n].midi, strong[n], bars[n]) for n in melody]


def phrases_of(line: Sequence[LineNote]) -> list[range]:
    """The phrases of a melody, which is in time order, as ranges of indices."""
    if not line:
        return []
    cuts = [n + 1 for n in range(len(line) - 1) if _ends(line, n)]
    return [phrase for first, end in pairwise([0, *cuts, len(line)]) for phrase in _usual(line, first, end)]


def _ends(line: Sequence[LineNote], n: int) -> bool:
    """Whether a phrase ends with the note n."""
    note, after = line[n], line[n + 1]
    beat = float(beat_length_q(note.bar.beats, note.bar.beat_unit)) if note.bar is not None else 1.0
    if after.onset - note.onset - note.length >= _REST_BEATS * beat - _NEARLY:
        return True
    if note.bar is not None and after.bar is not None and after.bar.time > note.bar.time:
        return True
    before = line[n - 1].length if n else 0.0
    return note.length >= max(beat, _LONG * before, _LONG * after.length) - _NEARLY


def _usual(line: Sequence[LineNote], first: int, end: int) -> list[range]:
    """A stretch as it is or, when it is long, cut every four bars from its beginning; a last note alone is no phrase."""
    start, bar = line[first].onset, line[first].bar
    if bar is None or line[end - 1].onset - start <= _LONGEST_BARS * float(bar.length_q):
        return [range(first, end)]
    phrase = _USUAL_BARS * 4.0 * bar.beats / bar.beat_unit
    number = [int((line[n].onset - start + _NEARLY) / phrase) for n in range(first, end)]
    cuts = [n for n in range(first + 1, end - 1) if number[n - first] > number[n - first - 1]]
    return [range(a, b) for a, b in pairwise([first, *cuts, end])]
