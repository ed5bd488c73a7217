"""How strongly the metre marks each note."""

from __future__ import annotations

from bisect import bisect_right

from jackrail.tune.model import Bar, Quarters, Tune, beat_length_q

FIRST_BEAT, BEAT, BETWEEN = 1.5, 1.0, 0.6
"""On the first beat of a bar, on another one, between beats."""


def bars_of(tune: Tune) -> list[Bar | None]:
    """The bar in which each note of a tune begins, None where it has none."""
    starts = [float(bar.onset_q) for bar in tune.bars]  # exact enough to compare, and ten times as fast as fractions
    numbers = (bisect_right(starts, float(note.onset_q)) - 1 for note in tune.notes)
    return [tune.bars[number] if number >= 0 else None for number in numbers]


def accents(tune: Tune) -> list[float]:
    """How strong the place of each note is: one of the three above."""
    known: dict[tuple[float, int, int], float] = {}  # places that are equal as floats are so as fractions
    found = []
    for note, bar in zip(tune.notes, bars_of(tune), strict=True):
        if bar is None:
            found.append(BEAT if note.onset_q.denominator == 1 else BETWEEN)
            continue
        place = (float(note.onset_q) - float(bar.onset_q) + float(bar.starts_q), bar.beats, bar.beat_unit)
        if place not in known:
            known[place] = _accent(bar.starts_q + note.onset_q - bar.onset_q, bar.beats, bar.beat_unit)
        found.append(known[place])
    return found


def _accent(into_q: Quarters, beats: int, beat_unit: int) -> float:
    if into_q == 0:
        return FIRST_BEAT
    return BEAT if (into_q / beat_length_q(beats, beat_unit)).denominator == 1 else BETWEEN
