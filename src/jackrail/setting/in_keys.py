"""A tune in each key with the chords proposed for it there, worked out for those keys only that a search comes to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from jackrail.tune.model import Tune

from .harmony import Proposer
from .parts import Parts


class InKeys(Mapping[int, Parts]):
    """The parts of a tune by transposition modulo 12, each with chords proposed from the chord bars of these names.

    parts: the tune as it is played; heard: the tune without its small notes written out, whose harmony is told.
    """

    def __init__(self, parts: Parts, heard: Tune, bars: Sequence[str], keys: Sequence[int]) -> None:
        self._parts, self._proposer, self._keys = parts, Proposer(heard, bars), sorted(set(keys))
        self._made: dict[int, Parts] = {}

    def __getitem__(self, key: int) -> Parts:
        if key not in self._keys:
            raise KeyError(key)
        if key not in self._made:
            proposal = self._proposer.proposal(key)
            harmony_cost = self._parts.taste.harmony * proposal.cost
            self._made[key] = self._parts.with_chords(proposal.added_to(self._parts.tune), harmony_cost)
        return self._made[key]

    def __iter__(self) -> Iterator[int]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)
