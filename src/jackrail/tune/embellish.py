"""Small notes written out of a tune's ornaments, so that a machine can try them.

Each main note keeps its onset: whatever small notes a machine leaves out, the melody stands where it stood. The rules:

- Grace notes stand before the beat and take their time from the note before, as in the music of pipes and fiddles (common practice,
  no source; C. P. E. Bach's Versuch of 1753 has them on the beat, from memory, where one left out would shift the melody). Each is a
  32nd, or less where they would take more than half of the time since the note before began. A slide is one from below.
- Grace notes after a note take its end, each a 32nd, together half of it at the most.
- Trills, mordents, turns and rolls fill the note from its onset: the main note first, then in turns with its neighbours in the scale,
  the last of them the main note again. C. P. E. Bach begins trills and turns on the upper note (from memory); here the main note
  keeps its onset, as in most schools since Hummel's of 1828 (from memory). A mordent or a turn is over at once and the main note
  stays; a trill lasts as long as the note; a roll cuts it into three, parted by its upper and its lower neighbour (common practice of
  Irish music, no source).
- No more than `MOST_A_SECOND` notes a second are written in a sign: about as fast as a hand trills (common practice, no source).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from typing import Literal

from jackrail.faults import BadInput, Fault
from jackrail.findings import count

from .model import Ornament, Quarters, Tune, TuneNote

GRACE_Q = Fraction(1, 8)
"""Length of a grace note where there is room: a 32nd."""
MOST_A_SECOND = 12
MOST_SMALL_NOTES = 200_000
"""As many as a tune may have notes of its own."""
_LONGEST_TRILL = 63
_BEFORE = ("grace", "slide")
_IN_SIGN = {"slide": 1, "trill": 2, "upper-mordent": 2, "lower-mordent": 2, "turn": 4, "inverted-turn": 4, "roll": 4}

Small = tuple[Quarters, Quarters, int]
"""Onset, length, MIDI key of a note that is not in the melody."""


def embellished(tune: Tune, which: Literal["none", "graces", "all"]) -> Tune:
    """`tune` with its ornaments written out as ornamental notes; "graces": of grace notes alone; "none": the tune itself.

    What finds no room stays in `ornaments`: grace notes before a note at 0, signs on a note too short for them, a second one of
    the kind on one note; a warning says how many of the first two. Raises BadInput when there would be more than `MOST_SMALL_NOTES`.
    """
    return written_out(tune, which)[0]


def written_out(tune: Tune, which: Literal["none", "graces", "all"], *, slides: bool = False) -> tuple[Tune, tuple[Ornament, ...]]:
    """`embellished`, and the ornaments that found no room. slides: those too, whatever else is wanted."""
    kinds = {"grace", "after-grace"} if which == "graces" else set()
    kinds |= {"slide"} if slides else set()
    wanted = _one_of_each(one for one in tune.ornaments if which == "all" or one.kind in kinds)
    if not wanted:
        return tune, ()
    bench = _Bench(tune)
    written = {id(one) for one in (*bench.graces(wanted), *bench.after_graces(wanted), *bench.signs(wanted))}
    left = [one for one in wanted if id(one) not in written]
    kept_apart = tuple(one for one in tune.ornaments if id(one) not in written)
    return replace(tune, notes=bench.notes(), ornaments=kept_apart, warnings=(*tune.warnings, *_said(tune, left, len(wanted)))), tuple(left)


def _said(tune: Tune, left: Sequence[Ornament], wanted: int) -> tuple[str, ...]:
    if not left:
        return ()
    verbs = ("finds", "is") if len(left) == 1 else ("find", "are")
    found = f"{len(left)} of {count(wanted, 'ornament')} {verbs[0]} no room and {verbs[1]} left out"
    return (f"{found}, first at {tune.place(left[0].onset_q)}",)


def small_notes_of(one: Ornament) -> int:
    """How many small notes an ornament has, a trill the two of its shortest form."""
    return len(one.keys) if one.kind in ("grace", "after-grace") else _IN_SIGN[one.kind]


def _one_of_each(ornaments: Iterable[Ornament]) -> list[Ornament]:
    """Of each note the first ornament before it, the first in it and the first after it."""
    wheres = {"grace": "before", "slide": "before", "after-grace": "after"}
    found: dict[tuple[Quarters, int, str], Ornament] = {}
    for one in ornaments:
        found.setdefault((one.onset_q, one.midi, wheres.get(one.kind, "in")), one)
    return list(found.values())


class _Bench:
    """The notes of a tune being cut. Each note has what is left of it: its end moves forward as small notes take their time."""

    def __init__(self, tune: Tune) -> None:
        self._tune = tune
        self._index = {(note.onset_q, note.midi): index for index, note in enumerate(tune.notes)}
        self._ends = [note.onset_q + note.duration_q for note in tune.notes]
        self._small: list[Small] = []
        self._signed: dict[int, Quarters] = {}
        self._by_end = sorted((end_q, index) for index, end_q in enumerate(self._ends))
        self._onsets = sorted({note.onset_q for note in tune.notes})

    def graces(self, ornaments: list[Ornament]) -> Iterator[Ornament]:
        """Write what stands before its main note; yields each ornament that found room."""
        for one in ornaments:
            if one.kind not in _BEFORE or (one.onset_q, one.midi) not in self._index:
                continue
            keys = one.keys[:1] if one.kind == "slide" else one.keys
            earlier = bisect_left(self._onsets, one.onset_q)
            since_q = self._onsets[earlier - 1] if earlier else Fraction(0)
            taken_q = self._row(keys, one.onset_q, one.onset_q - since_q)
            if taken_q:
                self._cut_before(one, one.onset_q - taken_q)
                yield one

    def _cut_before(self, one: Ornament, start_q: Quarters) -> None:
        """End the note before an ornament where it starts. Of notes in several voices the nearest is of the same line, and gives way."""
        first, last = (bisect_right(self._by_end, until_q, key=itemgetter(0)) for until_q in (start_q, one.onset_q))
        sounding = [index for _, index in self._by_end[first:last]]
        if sounding:
            before = min(sounding, key=lambda index: abs(self._tune.notes[index].midi - one.midi))
            self._ends[before] = min(self._ends[before], start_q)

    def after_graces(self, ornaments: list[Ornament]) -> Iterator[Ornament]:
        """Write what ends its main note, in what `graces` left of it."""
        for one in ornaments:
            index = self._index.get((one.onset_q, one.midi))
            if one.kind == "after-grace" and index is not None:
                taken_q = self._row(one.keys, self._ends[index], self._ends[index] - one.onset_q)
                self._ends[index] -= taken_q
                if taken_q:
                    yield one

    def _row(self, keys: tuple[int, ...], end_q: Quarters, room_q: Quarters) -> Quarters:
        """Write small notes that end at end_q in at most half of room_q; returns the time they take."""
        if not keys or room_q <= 0:
            return Fraction(0)
        each_q = min(GRACE_Q, room_q / 2 / len(keys))
        start_q = end_q - each_q * len(keys)
        self._write([(start_q + each_q * place, each_q, midi) for place, midi in enumerate(keys)])
        return end_q - start_q

    def signs(self, ornaments: list[Ornament]) -> Iterator[Ornament]:
        """Write trills and the like into what is left of their main notes."""
        for one in ornaments:
            index = self._index.get((one.onset_q, one.midi))
            if index is None or one.kind in (*_BEFORE, "after-grace") or len(one.keys) != 2:
                continue
            length_q = self._ends[index] - one.onset_q
            seconds = self._tune.seconds_at(self._ends[index]) - self._tune.seconds_at(one.onset_q)
            pieces = _pieces(one, length_q, int(seconds * MOST_A_SECOND + 1e-9))
            if pieces:
                self._signed[index] = pieces[0][0]
                starts_q = one.onset_q
                row = []
                for (before_q, _), (piece_q, midi) in pairwise(pieces):
                    starts_q += before_q
                    row.append((starts_q, piece_q, midi))
                self._write(row)
                yield one

    def _write(self, row: list[Small]) -> None:
        self._small += row
        if len(self._small) > MOST_SMALL_NOTES:
            hint = "--ornaments graces writes out less"
            raise BadInput(Fault("range", "the ornaments make far too many notes", limit=f"at most {MOST_SMALL_NOTES}", hint=hint))

    def notes(self) -> tuple[TuneNote, ...]:
        """Melody and small notes in time order. A small note on a key that is struck at the same moment anyway is left out."""
        made = {
            (note.onset_q, note.midi): replace(note, duration_q=self._signed.get(index, self._ends[index] - note.onset_q))
            for index, note in enumerate(self._tune.notes)
        }
        for onset_q, length_q, midi in self._small:
            made.setdefault((onset_q, midi), TuneNote(onset_q, length_q, midi, ornamental=True))
        return tuple(made[place] for place in sorted(made))


def _pieces(sign: Ornament, length_q: Quarters, most: int) -> list[tuple[Quarters, int]]:
    """A sign as (length, key) of each piece, none where the note is too short. most: how many pieces of one length go into it."""
    below, above, main = *sign.keys, sign.midi
    orders = {
        "trill": [main, above] * ((min(most, _LONGEST_TRILL) - 1) // 2) + [main],
        "upper-mordent": [main, above, main],
        "lower-mordent": [main, below, main],
        "turn": [main, above, main, below, main],
        "inverted-turn": [main, below, main, above, main],
        "roll": [main, above, main, below, main],
    }
    order = orders[sign.kind]
    quick_q, third_q = length_q / max(most, 1), length_q / 3
    if not 3 <= len(order) <= most or (sign.kind == "roll" and third_q < 2 * quick_q):
        return []
    if sign.kind == "roll":
        lengths = [third_q, quick_q, third_q - quick_q, quick_q, third_q - quick_q]
    else:
        lengths = [quick_q] * (len(order) - 1) + [length_q - quick_q * (len(order) - 1)]
    return list(zip(lengths, order, strict=True))
