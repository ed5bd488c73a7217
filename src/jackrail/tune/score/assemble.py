"""From written bars and their playing order to a `Tune`: ties joined, chords, keys and tempo carried along."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache

from jackrail.faults import BadInput, Fault
from jackrail.tune.model import Bar, ChordSymbol, KeyMark, Ornament, Quarters, TempoMark, Tune, TuneNote

from .carried import carried, from_start, keys_on_paper
from .written import Notes, WrittenBar, WrittenNote

MAX_NOTES = 200_000
"""Most notes of one tune, played out."""
MAX_TICKS = 10**15
"""Most parts of a quarter that note lengths may need to be exact; all tuplets up to 23 together need less."""


def assemble(title: str, bars: Sequence[WrittenBar], order: Sequence[int], notes: Notes) -> Tune:
    """The tune played in `order`. Raises BadInput with a "tune" fault when no bar is played or no note sounds."""
    if not order:
        raise BadInput(Fault("tune", "no bar of the tune is ever played", hint="check its repeats, ending numbers and jumps"))
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
    tempo = carried(bars, order, onsets, lambda bar: bar.tempo)
    if not tempo:
        notes.say(f"{notes.no_tempo}: 120 quarter notes a minute are taken")
    chords = dict(carried(bars, order, onsets, lambda bar: bar.chords))  # one at the end of a bar gives way to the next bar's
    return Tune(
        title=title,
        notes=tuple(sounding),
        chords=tuple(ChordSymbol(onset_q, symbol) for onset_q, symbol in chords.items()),
        tempo=tuple(TempoMark(onset_q, rate) for onset_q, rate in from_start(tempo)),
        bars=tuple(out),
        keys=tuple(KeyMark(onset_q, *key) for onset_q, key in from_start(keys_on_paper(bars, order, onsets))),
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
    written = [_heads(bar, ticks) for bar in bars]
    done: dict[tuple[int, int], int] = {}  # onset, key -> end
    held: dict[tuple[str, int], tuple[int, int, WrittenBar]] = {}  # voice, key -> onset, end, its bar
    for index, after, bar_q in zip(order, [*order[1:], -1], onsets, strict=True):
        bar_at = int(bar_q * ticks)
        cut = bars[index].cut and after != index + 1  # at a Fine inside a bar: what sounds over it is cut
        bar_end = bar_at + int(bars[index].length_q * ticks) if cut else 0
        for onset, duration, midi, voice, tied in written[index]:
            at = bar_at + onset
            start = _joined(held, (voice, midi), at) if held else at
            end = min(at + duration, bar_end) if cut else at + duration
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
    sounding = [TuneNote(Fraction(onset, ticks), length_q(end - onset), midi) for (onset, midi), end in sorted(done.items())]
    return _with_loudness(sounding, bars, order, onsets)


def _with_loudness(
    sounding: list[TuneNote], bars: Sequence[WrittenBar], order: Sequence[int], onsets: Sequence[Quarters]
) -> list[TuneNote]:
    """The notes with their velocities as on paper; of heads of one pitch at one moment the loudest. A tied note is as loud as its first."""
    marked = {index: [note for note in bar.notes if note.velocity is not None] for index, bar in enumerate(bars)}
    loud: dict[tuple[Quarters, int], int] = {}
    for index, bar_q in zip(order, onsets, strict=True):
        for note in marked[index]:
            head = bar_q + note.onset_q, note.midi
            loud[head] = max(note.velocity or 0, loud.get(head, 0))
    if not loud:
        return sounding
    return [replace(note, velocity=loud.get((note.onset_q, note.midi))) for note in sounding]


def _times(bar: WrittenBar) -> Iterator[Quarters]:
    yield bar.length_q
    for note in bar.notes:
        yield note.onset_q
        yield note.duration_q


def _heads(bar: WrittenBar, ticks: int) -> list[tuple[int, int, int, str, bool]]:
    """The notes of a bar in order, of several heads of one pitch at one moment in one voice the longest."""
    heads = sorted([_in_ticks(note, ticks) for note in bar.notes])
    if len({head[0] for head in heads}) == len(heads):
        return heads
    return list({(onset, midi, voice): (onset, duration, midi, voice, tied) for onset, duration, midi, voice, tied in heads}.values())


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
