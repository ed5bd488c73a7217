"""A tune as harmony hears it: cut into spans of one chord each, with the weight of the notes in each."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from jackrail.tune.model import KeyMark, Quarters, Tune, beat_length_q

from .metre import accents

PASSING = 0.4
"""What is left of the cost of a note between two chord tones a step away, off the first beat."""
_NOTHING = 1e-9
"""Quarters that are none: sums of floats are not exact."""
SPAN_Q = Fraction(4)
"""Length of a span in a tune without bars."""


@dataclass(frozen=True)
class Span:
    """A stretch of the tune with one chord. size: in bars. tones: pitch class, weight, and the classes a step before and after or -1.

    weight: of all tones together. key: the one in force.
    """

    onset_q: Quarters
    size: float
    tones: tuple[tuple[int, float, int, int], ...]
    weight: float
    key: KeyMark | None = None


def clash(span: Span, classes: frozenset[int]) -> float:
    """The weighed share, 0 to 1, of the melody that is outside a chord; notes passing between its tones count `PASSING`."""
    if not span.weight:
        return 0.0
    outside = ((weight, before in classes and after in classes) for tone, weight, before, after in span.tones if tone not in classes)
    return sum(weight * (PASSING if passing else 1.0) for weight, passing in outside) / span.weight


def spans_of(tune: Tune) -> list[Span]:
    """The spans from the first downbeat on that sounds to the last note. Bars of four felt beats and more are two spans."""
    end_q = max(note.onset_q + note.duration_q for note in tune.notes)
    cuts = _cuts(tune, end_q)
    first = next((index for index, (_, until_q, _) in enumerate(cuts) if tune.notes[0].onset_q < until_q), 0)
    cuts = cuts[first:]
    tones = _tones(_weighed(tune), [(float(onset_q), float(until_q)) for onset_q, until_q, _ in cuts])
    return [
        Span(onset_q, float((until_q - onset_q) / bar_q), tuple(inside), sum(tone[1] for tone in inside), _key_at(tune, onset_q))
        for (onset_q, until_q, bar_q), inside in zip(cuts, tones, strict=True)
    ]


def _tones(notes: Sequence[_Tone], cuts: Sequence[tuple[float, float]]) -> list[list[tuple[int, float, int, int]]]:
    """The tones of each span, see `Span`. cuts: start and end of each in quarters."""
    tones: list[list[tuple[int, float, int, int]]] = [[] for _ in cuts]
    starts = [start for start, _ in cuts]
    for note in notes:
        for index in range(max(0, bisect_right(starts, note.onset) - 1), len(cuts)):
            start, until = cuts[index]
            sounding = min(note.end, until) - max(note.onset, start)
            if note.end <= start + _NOTHING:
                break
            if sounding > _NOTHING:
                struck = note.accent if note.onset >= start else 1.0
                tones[index].append((note.tone, sounding * struck, note.before, note.after))
    return tones


def _cuts(tune: Tune, end_q: Quarters) -> list[tuple[Quarters, Quarters, Quarters]]:
    """Start, end and whole bar of each span; the two parts of a bar that a repeat sign cuts in two are one."""
    starts = [(bar.onset_q, bar) for bar in tune.bars if bar.downbeat and bar.onset_q < end_q]
    if not starts:
        count = -(-end_q // SPAN_Q)
        return [(SPAN_Q * n, SPAN_Q * (n + 1), SPAN_Q) for n in range(int(count))]
    cuts = []
    for (onset_q, bar), (until_q, _) in pairwise([*starts, (end_q, starts[-1][1])]):
        whole_q = Fraction(4 * bar.beats, bar.beat_unit)
        beats = whole_q / beat_length_q(bar.beats, bar.beat_unit)
        half_q = onset_q + whole_q / 2
        if beats >= 4 and beats % 2 == 0 and half_q < until_q:
            cuts += [(onset_q, half_q, whole_q), (half_q, until_q, whole_q)]
        else:
            cuts.append((onset_q, until_q, whole_q))
    return cuts


class _Tone(NamedTuple):
    """A note as harmony hears it. onset, end: in quarters, as floats, which is exact enough and ten times as fast as fractions.

    before, after: pitch classes of the notes a step away just before and after it, else -1.
    """

    onset: float
    end: float
    tone: int
    accent: float
    before: int
    after: int


def _weighed(tune: Tune) -> list[_Tone]:
    main = [(note, strong) for note, strong in zip(tune.notes, accents(tune), strict=True) if not note.ornamental]
    heads = [(float(note.onset_q), note.midi) for note, _ in main]
    tones = []
    for before, head, after, (note, strong) in zip([None, *heads], heads, [*heads[1:], None], main, strict=False):
        steps = (-1, -1) if strong > 1 else (_step(before, head), _step(after, head))
        tones.append(_Tone(head[0], head[0] + float(note.duration_q), note.midi % 12, strong, *steps))
    return tones


def _step(other: tuple[float, int] | None, note: tuple[float, int]) -> int:
    """The pitch class of another note when it is a step away from this one. Both: onset in quarters, key."""
    apart = 0 if other is None or other[0] == note[0] else abs(other[1] - note[1])
    return other[1] % 12 if other is not None and apart in (1, 2) else -1


def _key_at(tune: Tune, onset_q: Quarters) -> KeyMark | None:
    return next((mark for mark in reversed(tune.keys) if mark.onset_q <= onset_q), None)
