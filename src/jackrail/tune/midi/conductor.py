"""Tempo, metres and keys of a file as marks and bars in quarter notes.

Marks count from whichever track they stand in; of several at one tick the last in the file holds, of keys those of the melody's
own track if it has any, since parts of transposing instruments may state their own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import cache
from typing import TypeVar

from jackrail.faults import BadInput, Fault
from jackrail.tune.inference.key import estimate_key
from jackrail.tune.model import DEFAULT_QUARTERS_PER_MINUTE, Bar, KeyMark, Quarters, TempoMark, TuneNote
from jackrail.tune.score.written import Notes

from .track import Track

MAX_QUARTERS = 20_000
"""Longest tune: about three hours. More is a slip or an attack."""
_SLOWEST, _FASTEST = 10.0, 1000.0
"""Quarter notes a minute outside of which a tempo is hardly meant."""
_FOREIGN = 0.05
"""Share of the notes' time that lies outside the stated key's scale, from which on another key is looked for."""
_CLEARLY = 4
"""How many times less must lie outside the key found."""
_MAJOR = frozenset({0, 2, 4, 5, 7, 9, 11})
V = TypeVar("V")
Scale = Callable[[int], Quarters]
"""Ticks to quarters."""


def scale_of(ticks_per_quarter: Fraction) -> Scale:
    """Ticks as quarters; few lengths are used often, so each is worked out once."""
    over, under = ticks_per_quarter.denominator, ticks_per_quarter.numerator

    @cache
    def quarters(ticks: int) -> Quarters:
        return Fraction(ticks * over, under)

    return quarters


def tempo_marks(tracks: Sequence[Track], quarters: Scale, end_q: Quarters, notes: Notes) -> tuple[TempoMark, ...]:
    """The tempo map; before the first mark 120 quarters a minute (RP-001)."""
    written = _in_order(tracks, lambda track: track.tempos)
    if not written:
        notes.say("no tempo is written: 120 quarter notes a minute are taken")
    elif quarters(written[0][0]) > 0:
        notes.say(f"no tempo is written before quarter {float(quarters(written[0][0])):g}: 120 quarter notes a minute are taken there")
    marks: dict[Quarters, float] = {Fraction(0): DEFAULT_QUARTERS_PER_MINUTE}
    for tick, us_per_quarter in written:
        if (onset_q := quarters(tick)) < end_q or not onset_q:
            marks[onset_q] = rate = 60_000_000 / us_per_quarter
            if not _SLOWEST <= rate <= _FASTEST:
                notes.count("tempos that are hardly meant", f"{rate:.3g} quarters a minute at quarter {float(onset_q):g}")
    return tuple(TempoMark(onset_q, rate) for onset_q, rate in marks.items())


def bars_of(tracks: Sequence[Track], quarters: Scale, end_q: Quarters, notes: Notes) -> tuple[Bar, ...]:
    """Bars counted from tick 0 by the metres of the file. A new metre begins a new bar and cuts the one it comes into.

    A first bar in a shorter metre of its own is an upbeat to the next one, as notation programs write it: 1/4, then 3/4.
    """
    written = _in_order(tracks, lambda track: track.metres)
    if not written:
        notes.say("no metre is written: bars are counted in 4/4")
    elif quarters(written[0][0]) > 0:
        notes.say(f"no metre is written before quarter {float(quarters(written[0][0])):g}: bars are counted in 4/4 there")
    marks: dict[Quarters, tuple[int, int]] = {Fraction(0): (4, 4)}
    marks.update({quarters(tick): metre for tick, metre in written})
    changes = [(start_q, metre) for start_q, metre in marks.items() if start_q < end_q or not start_q]
    if len(changes) > MAX_QUARTERS:
        raise _too_many_bars()
    upbeat = _is_upbeat(changes)
    number = 0 if upbeat else 1
    bars: list[Bar] = []
    for (start_q, (beats, unit)), until_q in zip(changes, [*(start for start, _ in changes[1:]), end_q], strict=True):
        full_q, onset_q = Fraction(4 * beats, unit), start_q
        while onset_q < until_q:
            length_q = full_q if until_q == end_q else min(full_q, until_q - onset_q)
            if length_q < full_q:
                notes.count(
                    "bars cut short by a new metre within them", f"bar {number} after {float(length_q):g} quarter{'s' * (length_q != 1)}"
                )
            bars.append(Bar(onset_q, length_q, number, beats, unit))
            number += 1
            onset_q += length_q
            if len(bars) > MAX_QUARTERS:
                raise _too_many_bars()
    if upbeat:
        notes.remark(
            f"the first bar, {bars[0].beats}/{bars[0].beat_unit}, is taken as an upbeat to the {bars[1].beats}/{bars[1].beat_unit} after it"
        )
        first, second = bars[0], bars[1]
        full_q = Fraction(4 * second.beats, second.beat_unit)
        bars[0] = Bar(first.onset_q, first.length_q, 0, second.beats, second.beat_unit, starts_q=full_q - first.length_q)
    return tuple(bars)


def _too_many_bars() -> BadInput:
    return BadInput(Fault("range", "has far too many bars", limit=f"at most {MAX_QUARTERS}"))


def _is_upbeat(changes: Sequence[tuple[Quarters, tuple[int, int]]]) -> bool:
    if len(changes) < 2:
        return False
    (_, (beats, unit)), (second_q, (next_beats, next_unit)) = changes[:2]
    return second_q == Fraction(4 * beats, unit) < Fraction(4 * next_beats, next_unit)


def key_marks(tracks: Sequence[Track], melody: Track, quarters: Scale, end_q: Quarters) -> tuple[KeyMark, ...]:
    """The keys of the file, those that change nothing left out; the first counts from 0 on."""
    written = _in_order([melody] if melody.keys else tracks, lambda track: track.keys)
    marks: dict[Quarters, tuple[int, bool]] = {}
    for index, (tick, key) in enumerate(written):
        onset_q = quarters(tick) if index else Fraction(0)
        if onset_q < end_q and key != next(reversed(marks.values()), None):
            marks[onset_q] = key
    return tuple(KeyMark(onset_q, sharps, "minor" if minor else "major") for onset_q, (sharps, minor) in marks.items())


def doubt_key(keys: Sequence[KeyMark], notes: Sequence[TuneNote], said: Notes) -> None:
    """Say so when the notes clearly fit another key than the one the file states throughout; it is not put right."""
    foreign = _foreign(keys[0], notes) if len(keys) == 1 else 0.0
    found = estimate_key(notes) if foreign >= _FOREIGN else None
    if found is not None and found.sharps != keys[0].sharps and _CLEARLY * _foreign(found, notes) <= foreign:
        said.say(f"the file says {keys[0].name()}, but {foreign:.0%} of the melody lies outside it: it sounds like {found.name()}")


def _foreign(key: KeyMark, notes: Sequence[TuneNote]) -> float:
    """Share of the notes' time outside the scale of the signature; in minor the raised sixth and seventh belong to it."""
    inside = {(step + 7 * key.sharps) % 12 for step in _MAJOR | ({6, 8} if key.mode == "minor" else set())}
    whole = outside = 0.0
    for note in notes:
        length = note.duration_q.numerator / note.duration_q.denominator
        whole += length
        if note.midi % 12 not in inside:
            outside += length
    return outside / whole


def _in_order(tracks: Sequence[Track], marks_of: Callable[[Track], list[tuple[int, V]]]) -> list[tuple[int, V]]:
    """The marks of all tracks in time order, at one tick in the order of the file."""
    return sorted((mark for track in tracks for mark in marks_of(track)), key=lambda mark: mark[0])
