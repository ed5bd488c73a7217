"""What counts how much: the weights of the one cost that fitting makes as small as it can.

The unit of cost is one ordinary note on the beat left out. The numbers are judgements of ours (common practice, no
source); each can be changed by the caller.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import GUARD_S
from jackrail.tune.model import Tune, TuneNote, beat_length_q


@dataclass(frozen=True)
class Taste:
    """Weights and limits of a fit.

    folded: cost of a note moved an octave, as a share of leaving it out; folded_twice: two octaves. slower: cost of
    doubling every duration, as a share of leaving the whole tune out. chord_lost, chord_changed: a symbol without its
    chord, or with a nearby one. restroke_lost: a repeated stroke left out. small_note: a small note of an ornament left
    out. harmony: a bar whose melody has nothing in common with the chord proposed for it. new_key: any key but the written
    one; semitone: each semitone of transposition (both only break ties). least_tempo: slowest tempo factor. least_ring_s:
    how long a note must sound before its bar may leave.
    """

    folded: float = 0.3
    folded_twice: float = 0.5
    slower: float = 0.25
    chord_lost: float = 0.5
    chord_changed: float = 0.05
    restroke_lost: float = 0.02
    small_note: float = 0.05
    harmony: float = 0.5
    new_key: float = 0.01
    semitone: float = 0.001
    least_tempo: float = 0.4
    least_ring_s: float = 0.06

    def __post_init__(self) -> None:
        if not 0.05 <= self.least_tempo <= 1:
            raise BadInput(
                Fault("option", "the slowest tempo is a share of the written one", value=f"{self.least_tempo:g}", limit="0.05 to 1")
            )
        wrong = [name for name, value in asdict(self).items() if not 0 <= value < math.inf]
        if wrong:
            raise BadInput(Fault("option", "a weight is a number of 0 or more", ", ".join(wrong)))
        if self.least_ring_s < GUARD_S:
            limit = f"{GUARD_S:g} s or more"
            raise BadInput(Fault("option", "a note must sound before its bar may leave", "least_ring_s", f"{self.least_ring_s:g} s", limit))


def note_weights(tune: Tune, taste: Taste | None = None) -> list[float]:
    """Cost of leaving out each note of the tune: strong beats, long notes, the first and the last weigh more.

    Of notes that start together only the highest has its full weight: it is heard as the melody. Small notes of ornaments weigh
    `Taste.small_note` each, whatever they are; the notes they were taken from weigh as if they had their written length.
    """
    small_note = (taste or Taste()).small_note
    melody = [note for note in tune.notes if not note.ornamental]
    top: dict[Fraction, int] = {}
    for note in melody:
        top[note.onset_q] = max(note.midi, top.get(note.onset_q, 0))
    ends = {melody[0].onset_q, melody[-1].onset_q} if melody else set()
    lengths_q = [note.duration_q for note in tune.notes]
    for small, main in lent(tune).items():
        lengths_q[main] += tune.notes[small].duration_q
    return [
        small_note
        if note.ornamental
        else accent(tune, note)
        * _length_weight(length_q)
        * (2.0 if note.onset_q in ends else 1.0)
        * (1.0 if note.midi == top[note.onset_q] else 0.5)
        for note, length_q in zip(tune.notes, lengths_q, strict=True)
    ]


def lent(tune: Tune) -> dict[int, int]:
    """For each small note (by index) the note of the melody whose time it takes: the one that it, or a row before it, follows at once.

    Of several notes that end there it is the nearest in pitch. Grace notes after a rest take nobody's time.
    """
    lender: dict[int, int] = {}
    if not any(note.ornamental for note in tune.notes):
        return lender
    ending: dict[Fraction, list[int]] = {}
    for index, note in enumerate(tune.notes):
        before = min(ending.get(note.onset_q, ()), key=lambda other: abs(tune.notes[other].midi - note.midi), default=None)
        if note.ornamental and before is not None:
            root = lender.get(before, before)
            if not tune.notes[root].ornamental:
                lender[index] = root
        ending.setdefault(note.onset_q + note.duration_q, []).append(index)
    return lender


def accent(tune: Tune, note: TuneNote) -> float:
    """1.5 on the first beat of a bar, 1 on another, 0.6 between beats."""
    bar = tune.bar_at(note.onset_q)
    if bar is None:
        return 1.0 if note.onset_q.denominator == 1 else 0.6
    into_q = bar.starts_q + note.onset_q - bar.onset_q
    if into_q == 0:
        return 1.5
    return 1.0 if (into_q / beat_length_q(bar.beats, bar.beat_unit)).denominator == 1 else 0.6


def _length_weight(length_q: Fraction) -> float:
    return float(min(max(float(length_q), 0.5), 2.0) ** 0.5)
