"""Written bars cut into sections, each with the bars that every pass of its repeat plays.

Where notation can be read in several ways, these rules hold, and a sentence names the bar whenever one is used:
- A repeat sign without its beginning goes back to the start of the tune or the last repeat sign or ending, which is the custom and
  not said; to the last double bar (ABC 2.1 section 4.8) or Fine if that is nearer, which is said.
- A repeat that never ends is played once. A repeat inside a repeat is read as that: the outer one is played once.
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

from .written import Notes, WrittenBar


@dataclass(frozen=True)
class Section:
    """Bars first..last, and the bars of each pass in their order.

    repeats: whether all passes follow each other; without that the first is for the first time, the last for after a jump. again: the
    repeat is taken after a jump, too.
    """

    first: int
    last: int
    rows: dict[int, tuple[int, ...]]
    repeats: bool
    again: bool


@dataclass(frozen=True)
class _Bracket:
    first: int
    last: int
    passes: frozenset[int]


def cut(bars: Sequence[WrittenBar], notes: Notes) -> list[Section]:
    """All bars in sections, cut at repeat signs, ends of endings and, where nothing else tells, double bars."""
    sections: list[Section] = []
    first, opened, left_open = 0, False, False
    for index, bar in enumerate(bars):
        if index > first and _begins(bars, first, index, opened=opened):
            left_open |= _unclosed(bars, first, index, notes, opened=opened)
            sections.append(_section(bars, first, index - 1, notes))
            first, opened = index, False
        opened = opened or bar.repeat_start
        if bar.repeat_end and not _endings_follow(bars, index):
            if not opened:
                _say_where_to(bars, first, index, notes, left_open=left_open)
                left_open = False
            sections.append(_section(bars, first, index, notes))
            first, opened = index + 1, False
    if first < len(bars):
        _unclosed(bars, first, len(bars), notes, opened=opened)
        sections.append(_section(bars, first, len(bars) - 1, notes))
    return sections


def _begins(bars: Sequence[WrittenBar], first: int, index: int, *, opened: bool) -> bool:
    """Whether a new section begins with the bar at `index`, the one before having begun at `first`."""
    bar = bars[index]
    if bar.repeat_start:
        return True
    if bar.ending:
        return False
    if bars[index - 1].ending:
        return not opened or bar.section_start or any(before.repeat_end for before in bars[first:index])
    return not opened and (bar.section_start or bars[index - 1].fine_q is not None)


def _endings_follow(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether the bar after a repeat sign is under a bracket of the same repeat."""
    if index + 1 == len(bars) or bars[index + 1].repeat_start:
        return False
    following = bars[index + 1]
    return following.ending_start and (bool(bars[index].ending) or 1 not in following.ending)


def _unclosed(bars: Sequence[WrittenBar], first: int, end: int, notes: Notes, *, opened: bool) -> bool:
    if not opened or any(bar.repeat_end or bar.ending for bar in bars[first:end]):
        return False
    notes.say(f"the repeat that begins in {bars[first].place} never ends: played once")
    return True


def _say_where_to(bars: Sequence[WrittenBar], first: int, index: int, notes: Notes, *, left_open: bool) -> None:
    before = bars[first - 1] if first else None
    if left_open:
        notes.say(
            f"a repeat stands inside another up to {bars[index].place}: the outer one is played once, "
            f"and the repeat sign there goes back to {bars[first].place}"
        )
    elif before is not None and not before.repeat_end and not before.ending:
        notes.say(
            f"the repeat sign at the end of {bars[index].place} has no beginning: it goes back to the double bar, "
            f"part or Fine before {bars[first].place} (ABC 2.1 section 4.8)"
        )


def _section(bars: Sequence[WrittenBar], first: int, last: int, notes: Notes) -> Section:
    inside = bars[first : last + 1]
    repeats = any(bar.repeat_end for bar in inside)
    endings = _Endings(bars, first, last, notes)
    if endings.brackets and (repeats or endings.serve()):
        rows = endings.rows()
        repeats = repeats or not endings.for_jump
    else:
        rows = dict.fromkeys(range(1, max([1, *(bar.repeat_end for bar in inside)]) + 1), tuple(range(first, last + 1)))
    return Section(first, last, rows, repeats, any(bar.after_jump for bar in inside))


class _Endings:
    """The brackets of one section. for_jump: without a repeat sign they tell the first time from the time after a jump."""

    def __init__(self, bars: Sequence[WrittenBar], first: int, last: int, notes: Notes) -> None:
        self.bars, self.first, self.last, self.notes = bars, first, last, notes
        self.brackets: list[_Bracket] = []
        for index in range(first, last + 1):
            passes, before = bars[index].ending, self.brackets[-1] if self.brackets else None
            if before is not None and before.last == index - 1 and before.passes == passes:
                self.brackets[-1] = _Bracket(before.first, index, passes)
            elif passes:
                self.brackets.append(_Bracket(index, index, passes))
        self.signs = [index for index in range(first, last + 1) if bars[index].repeat_end]
        self.for_jump = not self.signs and any(bar.jump for bar in bars)
        self.where = f"endings from {bars[self.brackets[0].first].place} on" if self.brackets else ""

    def serve(self) -> bool:
        """Whether brackets without a repeat sign tell passes apart; says how they are read."""
        if self.for_jump:
            how = "the first is played first, the last after a jump"
        elif len(self.brackets) > 1 and 1 in self.brackets[0].passes:
            how = "the repeat they ask for is played"
        else:
            how = "played as plain music"
        self.notes.say(f"{self.where} have no repeat sign: {how}")
        return how != "played as plain music"

    def rows(self) -> dict[int, tuple[int, ...]]:
        """Pass -> its bars."""
        named = self._named()
        top = self._top(named)
        early_sign = bool(self.signs) and self.signs[0] < self.brackets[0].first
        out = {}
        for now in range(1, top + 1):
            if now not in named and now < max(named) and not early_sign:
                how = "it is played without" if now == 1 else "it is left out"
                self.notes.say(f"none of the {self.where} is for pass {now}: {how}")
            if now in named or now == 1 or now > max(named) or early_sign:
                out[now] = self._row(named.get(now), returns=now < top)
        return out

    def _named(self) -> dict[int, _Bracket]:
        """Pass -> the bracket that is for it."""
        named: dict[int, _Bracket] = {}
        for bracket in self.brackets:
            for now in sorted(bracket.passes):
                if now in named:
                    self.notes.say(f"two of the {self.where} are for pass {now}: the later is played")
                named[now] = bracket
        lowest = [min(bracket.passes) for bracket in self.brackets]
        if lowest != sorted(lowest):
            self.notes.say(f"the {self.where} do not stand in order: they are played by their numbers")
        return named

    def _top(self, named: dict[int, _Bracket]) -> int:
        """How many passes there are."""
        end = self.bars[self.last]
        top = max(named)
        closes = bool(end.repeat_end and end.ending)
        if len(self.brackets) > 1 and closes:
            self.notes.say(f"the last ending, up to {end.place}, closes with a repeat sign: it is played once")
        elif 1 in named and len(self.brackets) == 1 and (closes or not self.signs):
            top += 1
        if not end.ending:
            top = max(top, end.repeat_end)
        asked = max([0, *(self.bars[index].repeat_end for index in self.signs)])
        if asked > max(top, 2):
            self.notes.say(f"the {self.where} are for {top} passes, a repeat sign asks for {asked}: the endings are followed")
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
