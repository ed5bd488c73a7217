"""How long the notes of a tune last, and whose time it is when some of them are left out."""

from __future__ import annotations

from collections.abc import Container
from functools import cached_property

from jackrail.tune.model import Tune

from .melody import lent, melody_of

_AT_ONCE_S = 1e-6
"""One note ends where another begins when they are no further apart: sums of seconds are not exact."""


class Lengths:
    """Onset and written length of each note of a tune in seconds, at the written tempo."""

    def __init__(self, tune: Tune) -> None:
        self._tune = tune
        self.onsets_s = [tune.seconds_at(note.onset_q) for note in tune.notes]
        ends_s = (tune.seconds_at(note.onset_q + note.duration_q) for note in tune.notes)
        self.written_s = [end_s - onset_s for onset_s, end_s in zip(self.onsets_s, ends_s, strict=True)]

    @cached_property
    def lent(self) -> dict[int, int]:
        """For each small note the one whose time it takes, see `melody.lent`."""
        return lent(self._tune)

    def kept_s(self, kept: Container[int]) -> list[float]:
        """Length of each note when only those of the indices `kept` sound.

        Time lent to small notes that are left out comes back, and a note of the melody rings on through those after it that are left
        out: a lost note leaves no hole. It does not ring on over a rest.
        """
        lengths_s = self.with_time_lent(kept)
        ringing: int | None = None
        for index, note in enumerate(self._tune.notes):
            if index in kept and (note.ornamental or index in self.melody):
                ringing = index
            elif ringing is not None and index in self.melody:
                gap_s = self.onsets_s[index] - self.onsets_s[ringing] - lengths_s[ringing]
                lengths_s[ringing] += lengths_s[index] if abs(gap_s) < _AT_ONCE_S else 0.0
        return lengths_s

    def with_time_lent(self, kept: Container[int]) -> list[float]:
        """Length of each note when only those small notes sound that are among `kept`: the time of the others comes back."""
        lengths_s = list(self.written_s)
        sounding: dict[int, int] = {}
        for small, main in self.lent.items():
            last = sounding.setdefault(main, main)
            if small in kept:
                sounding[main] = small
            else:
                lengths_s[last] = self.onsets_s[small] + self.written_s[small] - self.onsets_s[last]
        return lengths_s

    def torn(self, kept: Container[int]) -> set[int]:
        """Small notes to bar when only those of the indices `kept` sound in their octave, so that no sign is torn.

        What leaves a main note and comes back to it, a trill or a turn, sounds whole or not at all: without its upper note a trill is
        a stutter, without its end a mordent is a wrong note.
        """
        rows: dict[int, list[int]] = {}
        for small, main in self.lent.items():
            rows.setdefault(main, []).append(small)
        found: set[int] = set()
        notes = self._tune.notes
        for main, row in rows.items():
            back = max((place for place, small in enumerate(row) if notes[small].midi == notes[main].midi), default=-1)
            sign = row[: back + 1]
            if main not in kept or any(small not in kept for small in sign):
                found.update(sign)
        return found

    @cached_property
    def melody(self) -> frozenset[int]:
        """The notes that are heard as the melody."""
        return melody_of(self._tune)
