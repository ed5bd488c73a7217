"""One key of a tune: what its music costs at any slowdown, and at which slowdowns that changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from .alike import Alike
from .events import Choice
from .parts import Parts
from .solver import Prepared

BELOW = 1 - 1e-9
"""A slowdown less by this share is on another step: it is more than the tolerance of the choice (`events.SHORT`)."""


@dataclass(frozen=True)
class Music:
    """The best notes and chords of a key at a slowdown. cost: with the price of the key, without that of the tempo.

    bound: nothing there costs less. steady_from: from this slowdown on these very choices are possible at this cost.
    """

    notes: Choice
    chords: Choice
    cost: float
    bound: float
    steady_from: float

    @property
    def proven(self) -> bool:
        """Whether nothing costs less."""
        return self.notes.proven and self.chords.proven

    @property
    def states(self) -> int:
        """A measure of the work it took."""
        return self.notes.states + self.chords.states


class Key:
    """One transposition in semitones. price: what it costs by itself, whatever the tempo. Its events are made when first asked for."""

    def __init__(self, transpose: int, parts: Parts, price: float) -> None:
        self.transpose, self.parts, self.price = transpose, parts, price

    def at(self, slowdown: float) -> Music:
        """The best music with everything `slowdown` times as long as written."""
        return self.alike(self.free(slowdown), slowdown)

    def bound(self, slowdown: float) -> float:
        """What the best music costs no less than, told at little work from the tune folded together."""
        return self.price + self._folded.bound(slowdown) + self._chords.bound(slowdown)

    def free(self, slowdown: float) -> Music:
        """The best music when what comes again need not be alike; music that is costs no less."""
        return self._music(self._notes.free(slowdown), self._chords.at(slowdown))

    def alike(self, free: Music, slowdown: float, enough: float = math.inf) -> Music:
        """The best music of which what comes again is alike. free: what `free` gives at this slowdown.

        Once nothing there can cost less than `enough` it need not be the best, its bound is true all the same.
        """
        notes = self._notes.alike(free.notes, slowdown, enough - self.price - free.chords.bound)
        return free if notes is free.notes else self._music(notes, free.chords)

    def _music(self, notes: Choice, chords: Choice) -> Music:
        cost, bound = self.price + notes.cost + chords.cost, self.price + notes.bound + chords.bound
        return Music(notes, chords, cost, bound, max(notes.steady_from, chords.steady_from))

    @property
    def folds(self) -> bool:
        """Whether something comes again, so that `bound` is less work than `at`. What slides depends on what stands before."""
        return bool(self.parts.manner.alike) and not self.parts.manner.slides

    @cached_property
    def _folded(self) -> Prepared:
        return Prepared(self.parts.folded_notes(self.transpose), self.parts.rules)

    @cached_property
    def _notes(self) -> Alike:
        return Alike(self.parts.notes(self.transpose), self.parts.rules, self.parts.manner.alike)

    @cached_property
    def _chords(self) -> Prepared:
        return self.parts.prepared_chords(self.transpose)
