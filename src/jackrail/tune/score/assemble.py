"""From written bars and their playing order to a `Tune`: ties joined, chords, keys and tempo carried along."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TypeVar

from jackrail.faults import BadInput, Fault
from jackrail.tune.model import Bar, ChordSymbol, KeyMark, Ornament, Quarters, TempoMark, Tune, TuneNote

from .written import Notes, WrittenBar, WrittenNote

V = TypeVar("V")
MAX_NOTES = 200_000
"""Most notes of one tune, played out."""


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
        out.append(Bar(onset_q, bar.length_q, bar.number, bar.beats, bar.beat_unit, played[index], bar.starts_q))
    first = bars[order[0]]
    tempo = _carried(bars, order, onsets, lambda bar: bar.tempo)
    if not tempo:
        notes.say("no tempo is written: 120 quarter notes a minute are taken")
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
    )


def _onsets(bars: Sequence[WrittenBar], order: Sequence[int]) -> list[Quarters]:
    onsets, now = [], Fraction(0)
    for index in order:
        onsets.append(now)
        now += bars[index].length_q
    return onsets


def _sounding(bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], notes: Notes) -> list[TuneNote]:
    """Notes with ties joined: a tied note runs on into a note of its pitch that begins where it ends."""
    done: dict[tuple[Quarters, int], Quarters] = {}
    held: dict[tuple[str, int], tuple[Quarters, Quarters, int]] = {}  # voice, key -> onset, end, bar number
    for index, bar_q in zip(order, onsets, strict=True):
        for note in sorted(bars[index].notes, key=lambda note: note.onset_q):
            onset_q = bar_q + note.onset_q
            start_q = _joined(held, note, onset_q)
            end_q = onset_q + note.duration_q
            if note.tied:
                if (note.voice, note.midi) in held:
                    _let_go(done, held, (note.voice, note.midi), notes)
                held[note.voice, note.midi] = (start_q, end_q, bars[index].number)
            else:
                _sound(done, start_q, end_q, note.midi)
        if len(done) > MAX_NOTES:
            raise BadInput(Fault("range", "the tune has far too many notes", limit=f"at most {MAX_NOTES}"))
        for key in [key for key, (_, end_q, _) in held.items() if end_q < bar_q]:
            _let_go(done, held, key, notes)
    for key in list(held):
        _let_go(done, held, key, notes)
    return [TuneNote(onset_q, end_q - onset_q, midi) for (onset_q, midi), end_q in sorted(done.items())]


def _joined(held: dict[tuple[str, int], tuple[Quarters, Quarters, int]], note: WrittenNote, onset_q: Quarters) -> Quarters:
    """Onset of the note tied into `note`, or its own."""
    before = held.get((note.voice, note.midi))
    if before is None or before[1] != onset_q:
        return onset_q
    del held[note.voice, note.midi]
    return before[0]


def _sound(done: dict[tuple[Quarters, int], Quarters], onset_q: Quarters, end_q: Quarters, midi: int) -> None:
    """Two voices on one pitch at one moment are one note, the longer."""
    done[onset_q, midi] = max(end_q, done.get((onset_q, midi), end_q))


def _let_go(
    done: dict[tuple[Quarters, int], Quarters],
    held: dict[tuple[str, int], tuple[Quarters, Quarters, int]],
    key: tuple[str, int],
    notes: Notes,
) -> None:
    onset_q, end_q, number = held.pop(key)
    notes.count("ties that lead to no note of the same pitch are ignored", f"bar {number}")
    _sound(done, onset_q, end_q, key[1])


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
                notes.count("ornaments at no note that begins there are left out", f"bar {bars[index].number}")
    return tuple(sorted(out, key=lambda ornament: (ornament.onset_q, ornament.midi)))


def _carried(
    bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters], marks_of: Callable[[WrittenBar], list[tuple[Quarters, V]]]
) -> list[tuple[Quarters, V]]:
    """Marks of one kind in playing order.

    What was in force when a bar was first played is said again when a jump back leads to it from something else.
    """
    out: list[tuple[Quarters, V]] = []
    at_first: dict[int, V | None] = {}
    now: V | None = None
    before = -1
    for index, bar_q in zip(order, onsets, strict=True):
        marks = marks_of(bars[index])
        expected = at_first.setdefault(index, now)
        if index <= before and expected is not None and expected != now and not (marks and marks[0][0] == 0):
            now = expected
            out.append((bar_q, expected))
        for onset_q, value in marks:
            now = value
            out.append((bar_q + onset_q, value))
        before = index
    return out


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
