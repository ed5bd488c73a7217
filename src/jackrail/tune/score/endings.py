"""Brackets over endings: which bars every pass of a repeat plays.

These rules hold, and a sentence names the bar whenever one is used:
- A single bracket that closes with a repeat sign is left out on the last pass (the custom, not said). Of several, the last is played
  once even if it closes with a repeat sign.
- Brackets without any repeat sign: in a tune with a D.C. or D.S. the first is for the first time, the last for after the jump; without
  one, brackets that begin with 1 imply the repeat, and others are played as plain music.
- A pass that no bracket is for: played up to the repeat sign where one stands before the brackets (the custom, not said); the first
  pass without bracket; others are left out. A pass that two brackets are for takes the later. Brackets count by their numbers, in
  whatever order they stand, and before a number of times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .limits import check_length
from .written import Notes, WrittenBar


@dataclass(frozen=True)
class _Bracket:
    first: int
    last: int
    passes: frozenset[int]


class Endings:
    """The brackets of one section. for_jump: without a repeat sign they tell the first time from the time after a jump."""

    def __init__(self, bars: Sequence[WrittenBar], first: int, last: int, notes: Notes, *, jumps: bool) -> None:
        self.bars, self.first, self.last, self.notes = bars, first, last, notes
        self.brackets: list[_Bracket] = []
        for index in range(first, last + 1):
            passes, before = bars[index].ending, self.brackets[-1] if self.brackets else None
            if before is not None and before.last == index - 1 and before.passes == passes:
                self.brackets[-1] = _Bracket(before.first, index, passes)
            elif passes:
                self.brackets.append(_Bracket(index, index, passes))
        self.signs = [index for index in range(first, last + 1) if bars[index].repeat_end]
        self.for_jump = not self.signs and jumps
        self.where = f"endings from {bars[self.brackets[0].first].place} on" if self.brackets else ""

    def _say(self, sentence: str) -> None:
        self.notes.say(sentence, "there are doubts about endings")

    def serve(self) -> bool:
        """Whether brackets without a repeat sign tell passes apart; says how they are read."""
        if self.for_jump:
            how = "the first is played first, the last after a jump"
        elif len(self.brackets) > 1 and 1 in self.brackets[0].passes:
            how = "the repeat they ask for is played"
        else:
            how = "played as plain music"
        self._say(f"{self.where} have no repeat sign: {how}")
        return how != "played as plain music"

    def rows(self) -> dict[int, tuple[int, ...]]:
        """Pass -> its bars."""
        named = self._named()
        top = self._top(named)
        early_sign = bool(self.signs) and self.signs[0] < self.brackets[0].first
        out: dict[int, tuple[int, ...]] = {}
        length = 0
        for now in range(1, top + 1):
            check_length(length)
            if now not in named and now < max(named) and not early_sign:
                how = "it is played without" if now == 1 else "it is left out"
                self._say(f"none of the {self.where} is for pass {now}: {how}")
            if now in named or now == 1 or now > max(named) or early_sign:
                out[now] = self._row(named.get(now), returns=now < top)
                length += len(out[now])
        return out

    def _named(self) -> dict[int, _Bracket]:
        """Pass -> the bracket that is for it."""
        named: dict[int, _Bracket] = {}
        for bracket in self.brackets:
            for now in sorted(bracket.passes):
                if now in named:
                    self._say(f"two of the {self.where} are for pass {now}: the later is played")
                named[now] = bracket
        lowest = [min(bracket.passes) for bracket in self.brackets]
        if lowest != sorted(lowest):
            self._say(f"the {self.where} do not stand in order: they are played by their numbers")
        return named

    def _top(self, named: dict[int, _Bracket]) -> int:
        """How many passes there are."""
        end = self.bars[self.last]
        top = max(named)
        closes = bool(end.repeat_end and end.ending)
        if len(self.brackets) > 1 and closes:
            self._say(f"the last ending, up to {end.place}, closes with a repeat sign: it is played once")
        elif 1 in named and len(self.brackets) == 1 and (closes or not self.signs):
            top += 1
        if not end.ending:
            top = max(top, end.repeat_end)
        asked = max([0, *(self.bars[index].repeat_end for index in self.signs)])
        if asked > max(top, 2):
            self._say(f"the {self.where} are for {top} passes, a repeat sign asks for {asked}: the endings are followed")
        return top

    def _row(self, bracket: _Bracket | None, *, returns: bool) -> tuple[int, ...]:
        """Bars of one pass. returns: at its first repeat sign, or at the end of a bracket that has none, the player goes back."""
        under = {index for other in self.brackets if other is not bracket for index in range(other.first, other.last + 1)}
        row: list[int] = []
        for index in range(self.first, self.last + 1):
            if index not in under:
                row.append(index)
                implied = not self.signs and not self.for_jump and bracket is not None and index == bracket.last
                passed = bracket is not None and index < bracket.first  # a sign before the bracket of this pass has been obeyed
                if returns and not passed and (self.bars[index].repeat_end or implied):
                    break
        return tuple(row)
