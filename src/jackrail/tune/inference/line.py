"""The highest line of notes that sound together: the skyline, which is heard as the melody.

The rule. Of notes that begin together the highest belongs to the line. A note that begins under a higher note of the line which
still sounds is accompaniment, unless the higher one only lingers: what is left of it is at most a third of its own length and at
most a third of the lower note's, as in legato playing. "Together" forgives a chord that is not struck quite at once: less than a
64th note apart and sounding on together. Then, where notes were left out, those of the line that lie more than an octave below its
middle key and no higher than the highest note left out go too: there the accompaniment is heard through a rest of the melody.
Each note of the line ends at the latest where the next begins. A line that is alone stays whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from statistics import median_low
from typing import TypeVar

from jackrail.tune.model import TuneNote

TOGETHER_Q = Fraction(1, 16)
"""Notes less than this many quarters apart may be one chord: 31 ms at 120 quarters a minute."""
LEGATO = 3
"""A note lingers into the next for at most the third part of the shorter of both."""
_OCTAVE = 12
Time = TypeVar("Time", int, float, Fraction)


def top_line(notes: Sequence[TuneNote]) -> tuple[TuneNote, ...]:
    """The highest line of `notes`, in time order, by the rule above; lengths cut where the next note of the line begins."""
    whole = {(note.onset_q, note.midi): note for note in sorted(notes, key=lambda note: note.duration_q)}
    spans = [(note.onset_q, note.onset_q + note.duration_q, note.midi) for note in whole.values()]
    line, _ = skyline(spans, TOGETHER_Q)
    return tuple(replace(whole[onset_q, midi], duration_q=end_q - onset_q) for onset_q, end_q, midi in line)


def lingers(before: tuple[Time, Time, int], note: tuple[Time, Time, int]) -> bool:
    """Whether `before`, which began earlier, is over when `note` begins, or only held over into it. Both as (on, off, key)."""
    over = before[1] - note[0]
    return over <= 0 or (LEGATO * over <= before[1] - before[0] and LEGATO * over <= note[1] - note[0])


def skyline(notes: Sequence[tuple[Time, Time, int]], together: Time) -> tuple[list[tuple[Time, Time, int]], list[tuple[Time, Time, int]]]:
    """The line of notes given as (on, off, key), each once, and the notes left out; times in any one unit, as `together` is."""
    line: list[tuple[Time, Time, int]] = []
    left: list[tuple[Time, Time, int]] = []
    above: list[tuple[Time, Time, int]] = []  # notes of the line that may still sound
    for note in sorted(notes, key=lambda note: (note[0], -note[2], -note[1])):
        above = [held for held in above if held[1] > note[0]]
        if any((held[2] > note[2] and not lingers(held, note)) or held[::2] == note[::2] for held in above):
            left.append(note)
            continue
        while line and line[-1][2] < note[2] and note[0] - line[-1][0] < together and not lingers(line[-1], note):
            left.append(line.pop())
        line.append(note)
        above.append(note)
    if left:
        floor = min(median_low([key for _, _, key in line]) - _OCTAVE, max(key for _, _, key in left) + 1)
        left += [note for note in line if note[2] < floor]
        line = [note for note in line if note[2] >= floor]
    cut = [(on, min(off, after[0]), key) for (on, off, key), after in pairwise(line)]
    return cut + line[-1:], left
