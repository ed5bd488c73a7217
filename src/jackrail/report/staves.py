"""A tune set out for two staves: which notes start and end together, in which line of which bar, with which signs and chords."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter

from jackrail.pitch import moved_symbol
from jackrail.setting.melody import lent, written_lengths_q
from jackrail.tune.model import NO_CHORD, Bar, Tune, beat_length_q
from jackrail.work import Work

from .note_values import Metre, Segment, Unwritable, Value, writable, written

_MOST_LINES = 4
"""Lines of notes on one staff; more cannot be told apart."""
_LONGEST_BAR_Q = 24
_SAME_S = 1e-6
_ROUNDED_Q = Fraction(1, 4)
_SIGNS = {
    ("above", "main"): "inverted-mordent",
    ("below", "main"): "mordent",
    ("above", "main", "below", "main"): "turn",
    ("below", "main", "above", "main"): "inverted-turn",
}
"""What MusicXML 4.0 calls the signs whose small notes go this way around their main note; whatever is longer is a trill."""


@dataclass(frozen=True)
class Sound:
    """Notes, by index, that begin and end together.

    graces, after: small notes before and behind them. sign: how the first is played, "" for plainly; signed: the small notes of that.
    """

    starts_q: Fraction
    ends_q: Fraction
    notes: tuple[int, ...]
    graces: tuple[int, ...] = ()
    after: tuple[int, ...] = ()
    sign: str = ""
    signed: tuple[int, ...] = ()


@dataclass(frozen=True)
class Symbol:
    """A chord symbol as it sounds, into_q after the beginning of its bar."""

    into_q: Fraction
    text: str

    @property
    def root(self) -> str:
        """The letter it stands on; C for silence, which has none."""
        return self.text[0] if self.text != NO_CHORD else "C"


@dataclass(frozen=True)
class StaffBar:
    """A bar: its values, line by line, the same for both staves, and the chord symbols of each."""

    bar: Bar
    lines: tuple[tuple[Value[Sound], ...], ...]
    symbols: tuple[tuple[Symbol, ...], tuple[Symbol, ...]]


@dataclass(frozen=True)
class Staves:
    """The bars of a tune as played out. rounded: ends of notes that no notation has were moved to the nearest that it has."""

    bars: tuple[StaffBar, ...]
    rounded: bool


def staves_of(work: Work) -> Staves:
    """The tune of a work on two staves. Raises Unwritable, saying why, for a tune that cannot be written exactly."""
    tune = work.tune
    _check_bars(tune)
    sounds, rounded = _sounds(tune)
    lines = _lines(_with_small_notes(sounds, tune))
    written_symbols, played_symbols = _written_symbols(work), list(_played_symbols(work))
    bars = []
    for bar in tune.bars:
        inside = [_cut(line, bar) for line in lines]
        values = tuple(
            tuple(written(_filled(segments, bar), metre_of(bar))) for number, segments in enumerate(inside) if segments or not number
        )
        bars.append(StaffBar(bar, values, (_symbols_in(bar, written_symbols), _symbols_in(bar, played_symbols))))
    return Staves(tuple(bars), rounded)


def _check_bars(tune: Tune) -> None:
    if not tune.bars:
        raise Unwritable("it has no bars")
    for bar, after in pairwise(tune.bars):
        if bar.onset_q + bar.length_q != after.onset_q:
            raise Unwritable(f"its bars do not follow each other at {tune.place(after.onset_q)}")
    last = tune.bars[-1]
    if any(note.onset_q >= last.onset_q + last.length_q or note.onset_q < tune.bars[0].onset_q for note in tune.notes):
        raise Unwritable("it has notes outside its bars")
    for bar in tune.bars:
        if bar.length_q > _LONGEST_BAR_Q:
            raise Unwritable(f"bar {bar.number} is too long for one line")
        if bar.length_q <= 0 or not writable(bar.onset_q) or not writable(bar.onset_q + bar.length_q):
            raise Unwritable(f"bar {bar.number} has a length that notation has no signs for")


def _sounds(tune: Tune) -> tuple[list[Sound], bool]:
    """The notes of the melody and under it, those alike in time together; and whether any end had to be moved."""
    end_q = tune.bars[-1].onset_q + tune.bars[-1].length_q
    onsets = sorted({note.onset_q for note in tune.notes if not note.ornamental})
    if not all(map(writable, onsets)):
        raise Unwritable(
            "its notes begin at moments that no notation can tell exactly (--quantise moves those of a MIDI file onto the beat)"
        )
    together: dict[tuple[Fraction, Fraction], list[int]] = defaultdict(list)
    rounded = False
    for index, (note, length_q) in enumerate(zip(tune.notes, written_lengths_q(tune), strict=True)):
        if not note.ornamental:
            ends_q = min(note.onset_q + length_q, end_q)
            near_q = ends_q if writable(ends_q) else _nearest(ends_q, note.onset_q, onsets)
            rounded = rounded or near_q != ends_q
            together[note.onset_q, min(near_q, end_q)].append(index)
    return [Sound(starts_q, ends_q, tuple(notes)) for (starts_q, ends_q), notes in sorted(together.items())], rounded


def _nearest(ends_q: Fraction, onset_q: Fraction, onsets: list[Fraction]) -> Fraction:
    """The nearest sixteenth or beginning of another note after a note's own."""
    steps = round(ends_q / _ROUNDED_Q)
    at = bisect_left(onsets, ends_q)
    near = [*onsets[max(0, at - 1) : at + 1], *(_ROUNDED_Q * step for step in (steps - 1, steps, steps + 1))]
    return min((moment for moment in near if moment > onset_q), key=lambda moment: (abs(moment - ends_q), moment))


def _with_small_notes(sounds: list[Sound], tune: Tune) -> list[Sound]:
    """The sounds with their small notes: signs on their main notes, all others before what begins where they end."""
    lender, lengths_q = lent(tune), written_lengths_q(tune)
    of_note = {index: place for place, sound in enumerate(sounds) for index in sound.notes}
    by_start = {sound.starts_q: place for place, sound in reversed(list(enumerate(sounds)))}
    changed = list(sounds)
    for row in _rows(tune):
        main = lender.get(row[0])
        back = 0 if main is None else _back(tune, main, row, lengths_q[main])
        if main is not None and back:
            place = of_note[main]
            changed[place] = replace(changed[place], sign=_sign(tune, main, row[:back]), signed=tuple(row[:back]))
        if row[back:]:
            last = tune.notes[row[-1]]
            place = by_start.get(last.onset_q + last.duration_q, -1)
            if place >= 0:
                changed[place] = replace(changed[place], graces=(*changed[place].graces, *row[back:]))
            elif main is not None:
                changed[of_note[main]] = replace(changed[of_note[main]], after=tuple(row[back:]))
    return changed


def _back(tune: Tune, main: int, row: Sequence[int], length_q: Fraction) -> int:
    """How many notes of a row belong to the sign of their main note: up to the last that comes back to it.

    A sign leaves its main note a third of its length at the most, notes that only lead on leave it half.
    """
    if 3 * tune.notes[main].duration_q > length_q:
        return 0
    return 1 + max((place for place, small in enumerate(row) if tune.notes[small].midi == tune.notes[main].midi), default=-1)


def _rows(tune: Tune) -> list[list[int]]:
    """Small notes that follow each other at once, in time order."""
    rows: list[list[int]] = []
    ending: dict[Fraction, list[int]] = {}
    for index, note in enumerate(tune.notes):
        if note.ornamental:
            row = ending.pop(note.onset_q, None)
            if row is None:
                row = []
                rows.append(row)
            row.append(index)
            ending[note.onset_q + note.duration_q] = row
    return rows


def _sign(tune: Tune, main: int, row: Sequence[int]) -> str:
    ways = {0: "main", 1: "above", -1: "below"}
    keys = [tune.notes[small].midi - tune.notes[main].midi for small in row]
    return _SIGNS.get(tuple(ways[(key > 0) - (key < 0)] for key in keys), "trill-mark")


def _lines(sounds: list[Sound]) -> list[list[Sound]]:
    """Each sound in the first line that is free; of those that begin together the highest comes first."""
    lines: list[list[Sound]] = []
    for sound in sorted(sounds, key=lambda sound: (sound.starts_q, -max(sound.notes))):
        line = next((line for line in lines if line[-1].ends_q <= sound.starts_q), None)
        if line is None:
            line = []
            lines.append(line)
        line.append(sound)
    if len(lines) > _MOST_LINES:
        raise Unwritable(f"more than {_MOST_LINES} notes of different lengths sound at once")
    return lines


def _cut(line: list[Sound], bar: Bar) -> list[Sound]:
    """The sounds of a line that are heard in a bar."""
    first = bisect_left(line, bar.onset_q, key=lambda sound: sound.ends_q)
    last = bisect_left(line, bar.onset_q + bar.length_q, key=lambda sound: sound.starts_q)
    return [sound for sound in line[first:last] if sound.ends_q > bar.onset_q]


def _filled(sounds: list[Sound], bar: Bar) -> list[Segment[Sound]]:
    """The sounds of one bar with rests between them, counted from the beginning of the full bar."""
    shift, at_q, end_q = bar.starts_q - bar.onset_q, bar.onset_q, bar.onset_q + bar.length_q
    segments: list[Segment[Sound]] = []
    for sound in sounds:
        starts_q, ends_q = max(sound.starts_q, bar.onset_q), min(sound.ends_q, end_q)
        if starts_q > at_q:
            segments.append(Segment(at_q + shift, starts_q + shift, None))
        segments.append(Segment(starts_q + shift, ends_q + shift, sound))
        at_q = ends_q
    if at_q < end_q:
        segments.append(Segment(at_q + shift, end_q + shift, None))
    return segments


def metre_of(bar: Bar) -> Metre:
    """The felt beat of a bar; quarters in free metre."""
    beat_q = beat_length_q(bar.beats, bar.beat_unit)
    return Metre(beat_q, not bar.free and beat_q != Fraction(4, bar.beat_unit))


def _written_symbols(work: Work) -> list[tuple[Fraction, str]]:
    tune, shift = work.tune, work.setting.transpose_semitones
    return [
        (chord.onset_q, chord.symbol if chord.silent else moved_symbol(chord.symbol, shift, tune.sharps_at(chord.onset_q)))
        for chord in tune.chords
    ]


def _played_symbols(work: Work) -> Iterator[tuple[Fraction, str]]:
    """The bars that are struck for the chord symbols; strokes that renew a chord are left out."""
    setting, tune = work.setting, work.tune
    meant = [(setting.lead_in_s + tune.seconds_at(chord.onset_q) / setting.tempo_factor, chord.onset_q) for chord in tune.chords]
    for stroke in setting.strokes:
        if not stroke.repeated:
            after = bisect_left(meant, stroke.onset_s - _SAME_S, key=itemgetter(0))
            yield meant[after][1], work.ensemble.voices[stroke.voice].chord
    yield from ((chord.onset_q, chord.symbol) for chord in tune.chords if chord.silent)


def _symbols_in(bar: Bar, symbols: Iterable[tuple[Fraction, str]]) -> tuple[Symbol, ...]:
    inside = [one for one in symbols if bar.onset_q <= one[0] < bar.onset_q + bar.length_q]
    return tuple(Symbol(at_q - bar.onset_q, text) for at_q, text in sorted(inside))
