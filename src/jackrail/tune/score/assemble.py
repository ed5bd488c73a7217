"""From written bars and their playing order to a `Tune`: ties joined, chords, keys and tempo carried along."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import cache
from typing import TypeVar

from jackrail.faults import BadInput, Fault
from jackrail.tune.model import Bar, ChordSymbol, KeyMark, Ornament, Quarters, TempoMark, Tune, TuneNote

from .written import Notes, WrittenBar, WrittenNote

V = TypeVar("V")
MAX_NOTES = 200_000
"""Most notes of one tune, played out."""
MAX_TICKS = 10**15
"""Most parts of a quarter that note lengths may need to be exact; all tuplets up to 23 together need less."""


def assemble(title: str, bars: Sequence[WrittenBar], order: Sequence[int], notes: Notes) -> Tune:
    """The tune played in `order`. Raises BadInput with a "tune" fault when no note sounds."""
    onsets = _onsets(bars, order)
    sounding = _sounding(bars, order, onsets, notes)
    if not sounding:
        raise BadInput(Fault("tune", "the file holds no note that sounds", hint="is this the right file, part or track?"))
    played: Counter[int] = Counter()
    out = []
    for index, onset_q in zip(order, onsets, strict=True):
        bar = bars[index]
        played[index] += 1
        out.append(Bar(onset_q, bar.length_q, bar.number, bar.beats, bar.beat_unit, played[index], bar.starts_q, bar.free))
    first = bars[order[0]]
    tempo = _carried(bars, order, onsets, lambda bar: bar.tempo)
    if not tempo:
        notes.say(f"{notes.no_tempo}: 120 quarter notes a minute are taken")
    chords = dict(_carried(bars, order, onsets, lambda bar: bar.chords))  # one at the end of a bar gives way to the next bar's
    return Tune(
        title=title,
        notes=tuple(sounding),
        chords=tuple(ChordSymbol(onset_q, symbol) for onset_q, symbol in chords.items()),
        tempo=tuple(TempoMark(onset_q, rate) for onset_q, rate in _from_start(tempo)),
        bars=tuple(out),
        keys=tuple(KeyMark(onset_q, *key) for onset_q, key in _from_start(_carried(bars, order, onsets, lambda bar: bar.keys))),
        pickup_q=first.length_q if first.starts_q else Fraction(0),
        ornaments=_ornaments(bars, order, onsets, sounding, notes),
        harmony="written" if chords else "",
        warnings=notes.sentences(),
        remarks=notes.remarks(),
    )


def _onsets(bars: Sequence[WrittenBar], order: Sequence[int]) -> list[Quarters]:
    onsets, now = [], Fraction(0)
    for index in order:
        onsets.append(now)
        now += bars[index].length_q
    return onsets


def _sounding(bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], notes: Notes) -> list[TuneNote]:
    """Notes with ties joined: a tied note runs on into a note of its pitch that begins where it ends.

    Worked out in whole ticks, so many to a quarter that all is exact: fractions take four times as long.
    """
    ticks = 1
    for denominator in {value.denominator for bar in bars for value in _times(bar)}:
        ticks = math.lcm(ticks, denominator)
        if ticks > MAX_TICKS:
            raise BadInput(Fault("range", "the lengths of the notes have no common measure", hint="the file is damaged; export it again"))
    written = [sorted(_in_ticks(note, ticks) for note in bar.notes) for bar in bars]
    done: dict[tuple[int, int], int] = {}  # onset, key -> end
    held: dict[tuple[str, int], tuple[int, int, WrittenBar]] = {}  # voice, key -> onset, end, its bar
    for index, bar_q in zip(order, onsets, strict=True):
        bar_at = int(bar_q * ticks)
        for onset, duration, midi, voice, tied in written[index]:
            at = bar_at + onset
            start = _joined(held, (voice, midi), at) if held else at
            end = at + duration
            if tied:
                if (voice, midi) in held:
                    _let_go(done, held, (voice, midi), notes)
                held[voice, midi] = (start, end, bars[index])
            else:
                done[start, midi] = max(end, done.get((start, midi), end))
        if len(done) > MAX_NOTES:
            raise BadInput(Fault("range", "the tune has far too many notes", limit=f"at most {MAX_NOTES}"))
        for key in [key for key, (_, end, _) in held.items() if end < bar_at]:
            _let_go(done, held, key, notes)
    for key in list(held):
        _let_go(done, held, key, notes)
    length_q = cache(lambda length: Fraction(length, ticks))
    return [TuneNote(Fraction(onset, ticks), length_q(end - onset), midi) for (onset, midi), end in sorted(done.items())]


def _times(bar: WrittenBar) -> Iterator[Quarters]:
    yield bar.length_q
    for note in bar.notes:
        yield note.onset_q
        yield note.duration_q


def _in_ticks(note: WrittenNote, ticks: int) -> tuple[int, int, int, str, bool]:
    onset, duration = note.onset_q, note.duration_q
    return (
        onset.numerator * (ticks // onset.denominator),
        duration.numerator * (ticks // duration.denominator),
        note.midi,
        note.voice,
        note.tied,
    )


def _joined(held: dict[tuple[str, int], tuple[int, int, WrittenBar]], key: tuple[str, int], at: int) -> int:
    """Onset of the note tied into the one that begins `at`, or its own."""
    before = held.get(key)
    if before is None or before[1] != at:
        return at
    del held[key]
    return before[0]


def _let_go(
    done: dict[tuple[int, int], int], held: dict[tuple[str, int], tuple[int, int, WrittenBar]], key: tuple[str, int], notes: Notes
) -> None:
    """A tie led nowhere: its note ends where it is written to."""
    onset, end, bar = held.pop(key)
    notes.count("ties that lead to no note of the same pitch are ignored", bar)
    done[onset, key[1]] = max(end, done.get((onset, key[1]), end))


def _ornaments(
    bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], sounding: Sequence[TuneNote], notes: Notes
) -> tuple[Ornament, ...]:
    """Ornaments as played out, each at a note that begins there: one on the second of two tied notes has no note of its own."""
    if not any(bar.ornaments for bar in bars):
        return ()
    heads = {(note.onset_q, note.midi) for note in sounding}
    out = []
    for index, bar_q in zip(order, onsets, strict=True):
        for small in bars[index].ornaments:
            if (bar_q + small.onset_q, small.midi) in heads:
                out.append(Ornament(bar_q + small.onset_q, small.midi, small.kind, small.keys))
            else:
                notes.count("ornaments at no note that begins there are left out", bars[index])
    return tuple(sorted(out, key=lambda ornament: (ornament.onset_q, ornament.midi)))


def _carried(
    bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], marks_of: Callable[[WrittenBar], list[tuple[Quarters, V]]]
) -> list[tuple[Quarters, V]]:
    """Marks of one kind in playing order.

    What was in force when a bar was first played is said again when a jump back leads to it from something else. Where a jump forward
    leads, to a coda, that is in force which stands last before it on paper.
    """
    out: list[tuple[Quarters, V]] = []
    at_first: dict[int, V | None] = {}
    now: V | None = None
    before = -1
    for index, bar_q in zip(order, onsets, strict=True):
        marks = marks_of(bars[index])
        forward = before >= 0 and any(not bar.ending for bar in bars[before + 1 : index])
        expected = at_first.setdefault(index, _on_paper(bars, index, marks_of) if forward else now)
        if (index <= before or forward) and expected is not None and expected != now and not (marks and marks[0][0] == 0):
            now = expected
            out.append((bar_q, expected))
        for onset_q, value in marks:
            now = value
            out.append((bar_q + onset_q, value))
        before = index
    return out


def _on_paper(bars: Sequence[WrittenBar], index: int, marks_of: Callable[[WrittenBar], list[tuple[Quarters, V]]]) -> V | None:
    """The last mark before a bar as written."""
    return next((marks[-1][1] for bar in reversed(bars[:index]) if (marks := marks_of(bar))), None)


def _from_start(marks: list[tuple[Quarters, V]]) -> list[tuple[Quarters, V]]:
    """The marks without those that change nothing, the first moved to 0."""
    out: list[tuple[Quarters, V]] = []
    for onset_q, value in marks:
        if not out:
            out.append((Fraction(0), value))
        elif out[-1][1] != value:
            if out[-1][0] == onset_q:
                out[-1] = (onset_q, value)
            else:
                out.append((onset_q, value))
    return out
