"""Bars in which Fine stands before their end, cut in two there, so that a jump can end the tune at the sign.

Rules, from common practice, no source. A Fine before the first note of a bar, or at its last note or later, ends the whole bar, and so
does one in the last bar of a strain. Otherwise the tune ends at the sign: that is before the note it stands at. Where the tune has an
upbeat, that tells more: where it would complete the bar, there the tune ends, be that before or after the note under the sign; before
the last note, which is then the upbeat of the next strain, only if no strain ends with it.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from jackrail.tune.model import Quarters

from .written import WrittenBar

V = TypeVar("V")


def cut_at_fine(bars: list[WrittenBar]) -> list[int]:
    """Cut bars of a tune with a jump in two, in place. After `bar_lengths`. Returns where in the new list later pieces stand."""
    later: list[int] = []
    if not any(bar.jump for bar in bars) or not any(bar.fine_q for bar in bars):
        return later
    upbeat_q = bars[0].starts_q
    for index in range(len(bars) - 1, -1, -1):
        at_q = _end_q(bars, index, upbeat_q)
        if at_q:
            bars[index : index + 1] = _pieces(bars[index], at_q)
            later = [index + 1, *(place + 1 for place in later)]
    return later


def _end_q(bars: list[WrittenBar], index: int, upbeat_q: Quarters) -> Quarters:
    """Where in its bar a tune is to end before the end of the bar, else 0."""
    bar = bars[index]
    sign_q, onsets = bar.fine_q or Fraction(0), [note.onset_q for note in bar.notes]
    steers_twice = bar.jump and bar.segno is not None  # a segno in the bar of its D.S. is told apart by being in one bar
    if not sign_q or not onsets or not min(onsets) < sign_q <= max(onsets) or steers_twice:
        return Fraction(0)
    end_q = upbeat_q - bar.starts_q if upbeat_q else None
    last, closes = sign_q == max(onsets), _closes(bars, index)
    after_q = max(note.onset_q + note.duration_q for note in bar.notes if note.onset_q <= sign_q)
    if end_q == sign_q:
        return Fraction(0) if last and closes else sign_q
    if end_q == after_q < bar.length_q and not last:
        return after_q
    return Fraction(0) if last or closes else sign_q


def _closes(bars: list[WrittenBar], index: int) -> bool:
    """Whether a strain ends with a bar."""
    return bars[index].repeat_end > 0 or index + 1 == len(bars) or bars[index + 1].section_start or bars[index + 1].repeat_start


def _pieces(bar: WrittenBar, at_q: Quarters) -> tuple[WrittenBar, WrittenBar]:
    """A bar up to at_q and from there on, each with the signs of its end. Notes that sound over at_q belong to the first."""
    first = replace(
        bar, length_q=at_q, fine_q=at_q, cut=True, repeat_end=0, after_jump=False, to_coda=None, jump="", jump_on=frozenset(),
        notes=[note for note in bar.notes if note.onset_q < at_q],
        ornaments=[small for small in bar.ornaments if small.onset_q < at_q],
        chords=_before(bar.chords, at_q), tempo=_before(bar.tempo, at_q), keys=_before(bar.keys, at_q),
    )  # fmt: skip
    second = replace(
        bar, length_q=bar.length_q - at_q, starts_q=bar.starts_q + at_q, implicit=True, fine_q=None, section_start=False,
        repeat_start=False, ending_start=False, segno=None, coda=None,
        notes=[replace(note, onset_q=note.onset_q - at_q) for note in bar.notes if note.onset_q >= at_q],
        ornaments=[replace(small, onset_q=small.onset_q - at_q) for small in bar.ornaments if small.onset_q >= at_q],
        chords=_from(bar.chords, at_q), tempo=_from(bar.tempo, at_q), keys=_from(bar.keys, at_q),
    )  # fmt: skip
    return first, second


def _before(marks: list[tuple[Quarters, V]], at_q: Quarters) -> list[tuple[Quarters, V]]:
    return [(onset_q, value) for onset_q, value in marks if onset_q < at_q]


def _from(marks: list[tuple[Quarters, V]], at_q: Quarters) -> list[tuple[Quarters, V]]:
    return [(onset_q - at_q, value) for onset_q, value in marks if onset_q >= at_q]
