"""What counts how much: the weights of the one cost that fitting makes as small as it can.

The unit of cost is one ordinary note on the beat left out. The numbers are judgements of ours (common practice, no
source); each can be changed by the caller.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import Literal

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import GUARD_S
from jackrail.tune.model import Tune

from .melody import melody_of, written_lengths_q
from .metre import BEAT, accents
from .phrases import LineNote, line_of, phrases_of

TUNE_ENDS = 2.0
"""The first and the last note of the melody, by this much more."""
PHRASE_END, PHRASE_BEGIN, PEAK = 1.4, 1.15, 1.2
"""The last, the first and the (first) highest note of a phrase."""
TURN, PASSING, STRUCK_AGAIN = 1.1, 0.75, 0.75
"""A note where the line turns; one between beats that passes by step; one between beats that only strikes the note before again."""

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
    slower: float = 0.15
    chord_lost: float = 0.5
    chord_changed: float = 0.05
    restroke_lost: float = 0.02
    accompaniment: float = 0.02
    small_note: float = 0.035
    harmony: float = 0.5
    new_key: float = 0.01
    semitone: float = 0.001
    least_tempo: float = 0.4
    least_ring_s: float = 0.06
    cut: float = 0.1
    least_share: float = 0.5
    slid: float = 0.15

    def moved(self, octaves: int) -> float:
        """What moving a note by up to two octaves, either way, costs as a share of leaving it out."""
        return (0.0, self.folded, self.folded_twice)[abs(octaves)]

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


_FAINT = 1e-6
"""A weight by this share can only choose between what is equal without it: the least step of what notes cost is some thousandths."""


def preferred(taste: Taste, prefer: Prefer) -> Taste:
    """The weights with one thing preferred to all others.

    "notes": strictly, nothing else counts before as much of the notes is kept as can be; then all else as it was. "sustain": a note
    should ring for three quarters of its length, and one that is cut short weighs more than half of one left out; a slower tempo
    costs less. "chords": a chord weighs more than most notes. "tempo" and "key" are strict by what may be chosen (`slowdown_for`,
    `transpositions_for`), their weights are unchanged, as those of "balance" are.
    """
    if prefer == "notes":
        faint = ("slower", "chord_lost", "chord_changed", "restroke_lost", "harmony", "new_key", "semitone", "cut", "slid")
        return replace(taste, **{name: _FAINT * getattr(taste, name) for name in faint})
    if prefer == "sustain":
        return replace(taste, cut=0.6, least_share=0.75, slower=0.3 * taste.slower)
    if prefer == "chords":
        dearer = ("chord_lost", "chord_changed", "restroke_lost", "harmony")
        return replace(taste, **{name: 10 * getattr(taste, name) for name in dearer})
    return taste


def note_weights(tune: Tune, taste: Taste | None = None) -> list[float]:
    """Cost of leaving out each note of the tune: what carries the melody weighs more, see docs/fitting.md.

    Strong beats, long notes, the first and the last of the melody and of each phrase, its peaks and turns; less weigh passing notes
    between beats and a note struck again. A note that is not of the melody (see `melody_of`) weighs `Taste.accompaniment` of what it
    else would. Small notes of ornaments weigh `Taste.small_note` each, whatever they are; the notes they were taken from weigh as
    if they had their written length.
    """
    taste = taste or Taste()
    lengths_q, strong = written_lengths_q(tune), accents(tune)
    melody = sorted(melody_of(tune))
    shares = dict(zip(melody, _shares(line_of(tune, melody, lengths_q, strong)), strict=True))
    return [
        taste.small_note if note.ornamental else strong[n] * _length_weight(float(lengths_q[n])) * shares.get(n, taste.accompaniment)
        for n, note in enumerate(tune.notes)
    ]


def _shares(line: list[LineNote]) -> list[float]:
    """For each note of the melody, by what its place in the line multiplies its weight."""
    shares = [_turn(line, n) for n in range(len(line))]
    for phrase in phrases_of(line):
        first, last = phrase[0], phrase[-1]
        shares[last] *= TUNE_ENDS if last == len(line) - 1 else PHRASE_END
        if first != last or not first:
            shares[first] *= PHRASE_BEGIN if first else TUNE_ENDS
        highest = max(phrase, key=lambda n: line[n].midi)
        shares[highest] *= 1.0 if highest in (first, last) else PEAK
    return shares


def _turn(line: list[LineNote], n: int) -> float:
    """What the melody does at a note: turns, passes by step between beats, or stays on the note before."""
    if not 0 < n < len(line) - 1:
        return 1.0
    before, note, after = line[n - 1 : n + 2]
    came, goes, off_beat = note.midi - before.midi, after.midi - note.midi, note.accent < BEAT
    if came == 0 and off_beat and abs(before.onset + before.length - note.onset) < 1e-9:
        return STRUCK_AGAIN
    if came * goes < 0:
        return TURN
    return PASSING if off_beat and 0 < abs(came) <= 2 and 0 < abs(goes) <= 2 else 1.0


def _length_weight(length: float) -> float:
    """The square root of a length in quarters, from half a one to two."""
    return float(min(max(length, 0.5), 2.0) ** 0.5)
