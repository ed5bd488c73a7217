"""What counts how much: the weights of the one cost that fitting makes as small as it can.

The unit of cost is one ordinary note on the beat left out. The numbers are judgements of ours (common practice, no
source); each can be changed by the caller.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from fractions import Fraction
from typing import Literal

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import GUARD_S
from jackrail.tune.model import Tune, TuneNote, beat_length_q

from .melody import melody_of, written_lengths_q

Prefer = Literal["balance", "tempo", "notes", "sustain", "chords", "key"]


@dataclass(frozen=True)
class Taste:
    """Weights and limits of a fit.

    folded: cost of a note moved an octave, as a share of leaving it out; folded_twice: two octaves. slower: cost of
    doubling every duration, as a share of leaving the whole tune out. accompaniment: what a note under the melody weighs, as a
    share of what it would weigh in the melody. chord_lost, chord_changed: a symbol without its chord, or with a nearby one.
    restroke_lost: a repeated stroke left out. small_note: a small note of an ornament left out. harmony: a bar whose melody has
    nothing in common with the chord proposed for it. new_key: any key but the written one; semitone: each semitone of
    transposition (both only break ties). least_tempo: slowest tempo factor. least_ring_s: how long a note must sound before its
    bar may leave. cut: a note whose bar leaves before it rang for least_share of its length, as a share of leaving it out. slid: a
    note that its bar glides into instead of its being struck, as a share.
    """

    folded: float = 0.3
    folded_twice: float = 0.5
    slower: float = 0.25
    chord_lost: float = 0.5
    chord_changed: float = 0.05
    restroke_lost: float = 0.02
    accompaniment: float = 0.02
    small_note: float = 0.05
    harmony: float = 0.5
    new_key: float = 0.01
    semitone: float = 0.001
    least_tempo: float = 0.4
    least_ring_s: float = 0.06
    cut: float = 0.1
    least_share: float = 0.5
    slid: float = 0.15

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


def preferred(taste: Taste, prefer: Prefer) -> Taste:
    """The weights with one thing preferred to all others."""
    return taste


def note_weights(tune: Tune, taste: Taste | None = None) -> list[float]:
    """Cost of leaving out each note of the tune: strong beats, long notes, the first and the last of the melody weigh more.

    A note that is not of the melody (see `melody_of`) weighs `Taste.accompaniment` of what it else would. Small notes of ornaments
    weigh `Taste.small_note` each, whatever they are; the notes they were taken from weigh as if they had their written length.
    """
    taste = taste or Taste()
    melody = melody_of(tune)
    ends = {min(melody), max(melody)} if melody else set()
    return [
        taste.small_note
        if note.ornamental
        else accent(tune, note)
        * _length_weight(length_q)
        * (2.0 if index in ends else 1.0)
        * (1.0 if index in melody else taste.accompaniment)
        for index, (note, length_q) in enumerate(zip(tune.notes, written_lengths_q(tune), strict=True))
    ]


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
