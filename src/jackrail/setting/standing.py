"""Why one note and not another was given up, in a musician's words: what in the tune makes the one weigh less."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

from .melody import melody_of, written_lengths_q
from .parts import Parts
from .taste import accent

AROUND = "without it more of the notes around it are kept, or ring longer"
_ALIKE = 1e-9


class Standing:
    """How the notes of a tune stand to each other."""

    def __init__(self, parts: Parts) -> None:
        self._tune, self._weights = parts.tune, parts.weights

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
        why = ", ".join(self._lesser(index, others))
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
        if index not in self._ends and all(other in self._ends for other in others):
            yield "not the first or last note"

    @cached_property
    def _melody(self) -> frozenset[int]:
        return melody_of(self._tune)

    @cached_property
    def _ends(self) -> set[int]:
        return {min(self._melody), max(self._melody)} if self._melody else set()

    @cached_property
    def _accents(self) -> list[float]:
        return [accent(self._tune, note) for note in self._tune.notes]

    @cached_property
    def _lengths_q(self) -> list[float]:
        return [float(length_q) for length_q in written_lengths_q(self._tune)]
