"""Bars in which Fine stands before their end, cut in two there, so that a jump can end the tune at the sign.

Where it stands says where the tune ends: in ABC after the note it decorates (ABC 2.1 section 4.14: a decoration stands before its note),
in MusicXML before the note that follows it (4.0 <sound> fine: it "follows the final note"). Further rules, from common practice, no
source: a Fine before the first note of a bar, or at its last note or later, ends the whole bar, and so does one in the last bar of a
strain. An upbeat, of the tune or of the strain, tells more: where it would complete the bar, there the tune ends, in ABC before the note
under the sign even if that is the last. What sounds on over the end is cut there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from jackrail.tune.model import Quarters

from .written import WrittenBar

V = TypeVar("V")


def cut_at_fine(bars: list[WrittenBar], *, at_note: bool = False) -> list[int]:
    """Cut bars of a tune with a jump in two, in place. After `bar_lengths`. Returns where in the new list later pieces stand.

    at_note: the sign stands at the last note, else after it.
    """
    later: list[int] = []
    if not any(bar.jump for bar in bars) or not any(bar.fine_q for bar in bars):
        return later
    ends = [_end_q(bars, index, upbeats, at_note=at_note) for index, upbeats in enumerate(_upbeats(bars))]
    for index in range(len(bars) - 1, -1, -1):
        if ends[index]:
            later = [index + 1, *(place + 1 for place in later)]
    cut = [piece for bar, end_q in zip(bars, ends, strict=True) for piece in (_pieces(bar, end_q) if end_q else (bar,))]
    bars[:] = cut
    return later


def _upbeats(bars: Sequence[WrittenBar]) -> Iterator[set[Quarters]]:
    """For each bar the lengths of the upbeats to the tune and to its strain."""
    of_tune = {bars[0].length_q} if bars[0].starts_q else set()
    of_strain: set[Quarters] = set()
    for index, bar in enumerate(bars):
        if bar.section_start or bar.repeat_start or (index and bars[index - 1].repeat_end):
            of_strain = {bar.length_q} if bar.starts_q and bar.starts_q + bar.length_q == bar.metre_q else set()
        yield of_tune | of_strain


def _end_q(bars: Sequence[WrittenBar], index: int, upbeats: set[Quarters], *, at_note: bool) -> Quarters:
    """Where in its bar a tune is to end before the end of the bar, else 0."""
    bar = bars[index]
    sign_q, onsets = bar.fine_q or Fraction(0), [note.onset_q for note in bar.notes]
    steers_twice = bar.jump and bar.segno is not None  # a segno in the bar of its D.S. is told apart by being in one bar
    if not sign_q or not onsets or not min(onsets) < sign_q <= max(onsets) or steers_twice:
        return Fraction(0)
    completed = {bar.metre_q - upbeat_q - bar.starts_q for upbeat_q in upbeats}
    last, closes = sign_q == max(onsets), _closes(bars, index)
    if sign_q in completed and (at_note or not (last and closes)):
        return sign_q
    after_q = _after_q(bar, sign_q)
    if after_q in completed and after_q < bar.length_q and not last:
        return after_q
    if last and at_note:
        bar.fine_q = bar.length_q  # beyond doubt
    if last or closes:
        return Fraction(0)
    return sign_q if not at_note else after_q if after_q < bar.length_q else Fraction(0)


def _after_q(bar: WrittenBar, sign_q: Quarters) -> Quarters:
    """Where the first note under the sign ends, or the sign where none begins there."""
    return next((note.onset_q + note.duration_q for note in bar.notes if note.onset_q == sign_q), sign_q)


def _closes(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether a strain ends with a bar."""
    return bars[index].repeat_end > 0 or index + 1 == len(bars) or bars[index + 1].section_start or bars[index + 1].repeat_start


def _pieces(bar: WrittenBar, at_q: Quarters) -> tuple[WrittenBar, WrittenBar]:
    """A bar up to at_q and from there on, each with the signs of its end. Notes that sound over at_q belong to the first."""
    leaves_first = bar.to_coda is not None and bar.to_coda_q == 0
    first = replace(
        bar, length_q=at_q, fine_q=at_q, cut=True, repeat_end=0, after_jump=False, jump="", jump_on=frozenset(),
        to_coda=bar.to_coda if leaves_first else None,
        notes=[note for note in bar.notes if note.onset_q < at_q],
        ornaments=[small for small in bar.ornaments if small.onset_q < at_q],
        chords=_before(bar.chords, at_q), tempo=_before(bar.tempo, at_q), keys=_before(bar.keys, at_q),
    )  # fmt: skip
    second = replace(
        bar, length_q=bar.length_q - at_q, starts_q=bar.starts_q + at_q, implicit=True, fine_q=None, section_start=False,
        repeat_start=False, ending_start=False, segno=None, coda=None,
        to_coda=None if leaves_first else bar.to_coda, to_coda_q=None,
        notes=[replace(note, onset_q=note.onset_q - at_q) for note in bar.notes if note.onset_q >= at_q],
        ornaments=[replace(small, onset_q=small.onset_q - at_q) for small in bar.ornaments if small.onset_q >= at_q],
        chords=_from(bar.chords, at_q), tempo=_from(bar.tempo, at_q), keys=_from(bar.keys, at_q),
    )  # fmt: skip
    return first, second


def _before(marks: list[tuple[Quarters, V]], at_q: Quarters) -> list[tuple[Quarters, V]]:
    return [(onset_q, value) for onset_q, value in marks if onset_q < at_q]


def _from(marks: list[tuple[Quarters, V]], at_q: Quarters) -> list[tuple[Quarters, V]]:
    return [(onset_q - at_q, value) for onset_q, value in marks if onset_q >= at_q]
