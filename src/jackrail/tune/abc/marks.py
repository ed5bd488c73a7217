"""Signs of ABC that steer the playing order (D.C., Fine, segno ...), from where they are read to the bar that they are set on."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.model import Quarters
from jackrail.tune.score.written import Jump, Notes, WrittenBar, mark_words

from .decorations import STEERING

_BEGINNINGS = frozenset({"segno", "coda", "sign"})  # before a bar line they mean the bar after it
UNSURE: dict[str, tuple[str, tuple[Jump, ...]]] = {"end": ("fine", ("capo", "segno")), "sign": ("segno", ("segno",))}
"""Words that old books write for signs -> the sign, and the jumps that lead to it."""


class Marks:
    """The signs of one voice. waiting: read, but not yet set, as words or names of decorations."""

    def __init__(self, notes: Notes) -> None:
        self.notes = notes
        self.waiting: list[str] = []
        self._unsure: list[tuple[WrittenBar, Quarters, str]] = []

    def set_on(self, bar: WrittenBar, onset_q: Quarters) -> None:
        """Set all that wait at onset_q of `bar`."""
        for name in self.waiting:
            if name in UNSURE:
                self._unsure.append((bar, onset_q, name))
            else:
                mark_words(bar, STEERING.get(name, name), onset_q)
        self.waiting = []

    def set_at_end(self, bar: WrittenBar) -> None:
        """Set those that wait at the end of `bar`, without those that mean the bar after it."""
        later = [name for name in self.waiting if name in _BEGINNINGS]
        self.waiting = [name for name in self.waiting if name not in _BEGINNINGS]
        self.set_on(bar, bar.length_q)
        self.waiting = later

    def set_before_note(self, bar: WrittenBar, onset_q: Quarters, *, first: bool) -> None:
        """Set all that wait at the note at onset_q of `bar`; first: of the first bar, where nothing stands before."""
        self.set_on(bar, onset_q)
        if not first and not onset_q and (bar.jump or bar.fine_q is not None):
            self.notes.count("a jump or Fine stands at the beginning of a bar, which is played before it is taken", bar)

    def settle(self, bars: Sequence[WrittenBar]) -> None:
        """Words of `UNSURE` are signs only where a jump that leads to them stands later in the tune."""
        if not self._unsure:
            return
        plain = {"fine": all(bar.fine_q is None for bar in bars), "segno": all(bar.segno is None for bar in bars)}
        places = {id(bar): index for index, bar in enumerate(bars)}
        last: dict[Jump, int] = {bar.jump: index for index, bar in enumerate(bars)}
        for bar, onset_q, word in self._unsure:
            sign, jumps = UNSURE[word]
            if plain[sign] and max(last.get(jump, -1) for jump in jumps) >= places.get(id(bar), len(bars)):
                mark_words(bar, sign, onset_q)
                self.notes.count(f'the word "{word.capitalize()}" is followed as {sign.capitalize()}, for a jump stands after it', bar)
        self._unsure = []
