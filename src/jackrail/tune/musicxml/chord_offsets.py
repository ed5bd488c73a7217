"""Chord symbols whose <offset> leads out of their measure (MusicXML 4.0, element offset): each is put into the one where it belongs."""

from __future__ import annotations

from fractions import Fraction
from heapq import heappop, heappush
from itertools import count

from jackrail.tune.model import Quarters
from jackrail.tune.score.written import WrittenBar

from .reading import Reading


class ChordOffsets:
    """The chord symbols of a part that wait for their measure: onset in the part, order in the file, symbol."""

    def __init__(self, reader: Reading) -> None:
        self.reader = reader
        self._orders = count()
        self.waiting: list[tuple[Quarters, int, str]] = []

    def settle(self, bar: WrittenBar, bar_q: Quarters) -> None:
        """Put the symbols of a bar that begins at bar_q in order; a symbol of its own counts before one that was led there."""
        if bar.chords:
            self._lead_out(bar, bar_q)
        while self.waiting and self.waiting[0][0] < bar_q + bar.length_q:
            onset_q, _, symbol = heappop(self.waiting)
            bar.chords.append((onset_q - bar_q, symbol))
        if bar.chords:
            bar.settle_chords(self.reader.notes, self.reader.measure)

    def end(self) -> None:
        """The part is read."""
        if self.waiting:
            self._count("chord symbols whose offset leads beyond the last measure are left out")

    def _lead_out(self, bar: WrittenBar, bar_q: Quarters) -> None:
        early = [(onset_q, symbol) for onset_q, symbol in bar.chords if onset_q < 0]
        late = [(onset_q, symbol) for onset_q, symbol in bar.chords if onset_q > bar.length_q]
        if not early and not late:
            return
        self._count("chord symbols whose offset leads into another measure are put there", remark=True)
        bar.chords = [chord for chord in bar.chords if 0 <= chord[0] <= bar.length_q]
        for onset_q, symbol in late:
            heappush(self.waiting, (bar_q + onset_q, next(self._orders), symbol))
        if early:
            self._lead_back(early, bar)

    def _lead_back(self, early: list[tuple[Quarters, str]], bar: WrittenBar) -> None:
        """Into the measure before; what leads beyond that is put at its beginning."""
        before = self.reader.bars[-1] if self.reader.bars else None
        home, length_q = (bar, Fraction(0)) if before is None else (before, before.length_q)
        if any(length_q + onset_q < 0 for onset_q, _ in early):
            self._count("chord symbols whose offset leads too far back are put at the beginning")
        home.chords += [(max(Fraction(0), length_q + onset_q), symbol) for onset_q, symbol in early]
        home.settle_chords(self.reader.notes, self.reader.measure)

    def _count(self, what: str, *, remark: bool = False) -> None:
        self.reader.notes.count(what, self.reader.measure, remark=remark)
