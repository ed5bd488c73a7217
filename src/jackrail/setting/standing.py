"""Why one note and not another was given up, in a musician's words: what in the tune makes the one weigh less."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import islice

from jackrail.tune.model import Quarters

from .melody import written_lengths_q
from .metre import BEAT, accents
from .parts import Parts
from .phrases import LineNote, line_of, phrases_of

AROUND = "without it more of the notes around it are kept, or ring longer"
_ALIKE = 1e-9
_MOST = 3


class Standing:
    """How the notes of a tune stand to each other."""

    def __init__(self, parts: Parts) -> None:
        self._tune, self._weights, self._lengths = parts.tune, parts.weights, parts.lengths

    def judged(self, index: int, others: Sequence[int]) -> str:
        """A note left out, held against those that kept it from sounding: "the weaker of the two: between beats, shorter"."""
        mine, theirs = self._weights[index], [self._weights[other] for other in others]
        if self._tune.notes[index].ornamental:
            return "a small note gives way"
        if mine > sum(theirs) + _ALIKE:
            return AROUND
        if mine > min(theirs) + _ALIKE:
            return "it weighs less than its two neighbours together"
        if mine > min(theirs) - _ALIKE:
            return "both weigh alike and one had to go" if len(others) == 1 else "it weighs no more than either neighbour"
        why = ", ".join(islice(self._lesser(index, others), _MOST))
        return ("the weaker of the two" if len(others) == 1 else "weaker than either neighbour") + (f": {why}" if why else "")

    def _lesser(self, index: int, others: Sequence[int]) -> Iterator[str]:
        """In what a note is less than all of others."""
        if index not in self._melody and all(other in self._melody for other in others):
            yield "under the melody"
            return
        mine = self._accents[index]
        if all(mine < self._accents[other] for other in others):
            yield "off the first beat" if mine >= 1 else "between beats"
        if all(self._lengths_q[index] < self._lengths_q[other] for other in others):
            yield "shorter"
        if index in self._passing:
            yield self._passing[index]
        for mark, marked in self._marked.items():
            if index not in marked and all(other in marked for other in others):
                yield mark
                return

    @cached_property
    def _marked(self) -> dict[str, set[int]]:
        """What is worth more than what stands beside it: the notes of the melody that it is said of."""
        melody, phrases = self._order, phrases_of(self._line)
        return {
            "not the first or last note": {melody[0], melody[-1]} if melody else set(),
            "beside the end of a phrase": {melody[phrase[-1]] for phrase in phrases},
            "beside the beginning of a phrase": {melody[phrase[0]] for phrase in phrases},
            "beside the peak of a phrase": {melody[max(phrase, key=lambda n: self._line[n].midi)] for phrase in phrases},
        }

    @cached_property
    def _passing(self) -> dict[int, str]:
        """Notes between beats that pass by step, or strike the one before again."""
        said = {}
        for (before, note, after), index in zip(
            zip(self._line, self._line[1:], self._line[2:], strict=False), self._order[1:], strict=False
        ):
            came, goes = note.midi - before.midi, after.midi - note.midi
            if note.accent >= BEAT:
                continue
            if came == 0:
                said[index] = "the same note again"
            elif came * goes > 0 and max(abs(came), abs(goes)) <= 2:
                said[index] = "in passing"
        return said

    @cached_property
    def _line(self) -> list[LineNote]:
        return line_of(self._tune, self._order, self._lengths_q, self._accents)

    @cached_property
    def _order(self) -> list[int]:
        return sorted(self._melody)

    @property
    def _melody(self) -> frozenset[int]:
        return self._lengths.melody

    @cached_property
    def _accents(self) -> list[float]:
        return accents(self._tune)

    @cached_property
    def _lengths_q(self) -> list[Quarters]:
        return written_lengths_q(self._tune)
