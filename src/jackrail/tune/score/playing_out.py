"""The order in which written bars are played: repeats, endings, D.C. and D.S., Fine, coda.

Rules where notation leaves room (each is said in a warning when it is used):
- A repeat sign without its beginning goes back to the start of the tune, the last repeat sign, the end of the last endings
  or (ABC 2.1 section 4.8) the last double bar.
- A single bracket that ends in a repeat sign is left out on the last pass. Where there are several, the last is played once.
- After a D.C. or D.S. repeats are not taken again and last endings are played (common practice, no source).
- Fine ends the tune only after a jump, at the end of its bar. Of two coda signs the first is where to leave: before its bar
  when it stands at the beginning of one, else after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jackrail.faults import BadInput, Fault

from .written import Notes, WrittenBar

MAX_BARS = 20_000
"""Most bars played out: eight hours of quick 4/4. More is a slip or an attack."""


@dataclass(frozen=True)
class _Section:
    """Bars first..last of one repeat, played `passes` times; repeats: whether a repeat sign sends the player back."""

    first: int
    last: int
    passes: int
    repeats: bool


def play_order(bars: Sequence[WrittenBar], notes: Notes) -> list[int]:
    """Indices of `bars` in playing order. Raises BadInput with a "range" fault when that is more than MAX_BARS."""
    return _Player(bars, notes).play()


def check_length(bars: int) -> None:
    """Raise BadInput with a "range" fault when so many bars are too many."""
    if bars >= MAX_BARS:
        hint = "check the repeat counts and the order of parts"
        raise BadInput(Fault("range", "the tune is far too long once repeats are played out", limit=f"at most {MAX_BARS} bars", hint=hint))


class _Player:
    def __init__(self, bars: Sequence[WrittenBar], notes: Notes) -> None:
        self.bars = bars
        self.notes = notes
        self.order: list[int] = []
        self.jump: WrittenBar | None = None
        self.sections = _sections(bars, notes)
        self.section_of = {index: section for section in self.sections for index in range(section.first, section.last + 1)}
        codas = [index for index, bar in enumerate(bars) if bar.coda is not None]
        self.coda_at = codas[-1] if codas else None
        self.leaves = {index for index, bar in enumerate(bars) if bar.to_coda is not None}
        if not self.leaves and len(codas) > 1:
            first = bars[codas[0]]
            notes.say(f"of two coda signs the first, in bar {first.number}, is taken as the place to leave")
            self.leaves = {codas[0] if first.coda_q else codas[0] - 1}

    def play(self) -> list[int]:
        at = 0
        while at < len(self.bars):
            at = self._play_section(self.section_of[at], at)
        if self.jump is not None and self.jump.until == "fine" and not any(bar.fine_q is not None for bar in self.bars):
            self.notes.say("al Fine is written but no Fine: the tune is played again to its end")
        return self.order

    def _play_section(self, section: _Section, at: int) -> int:
        """Play from bar `at` to the end of its section or to a jump; the bar to go on with."""
        passes = range(1, section.passes + 1) if section.repeats and self.jump is None else range(1, 2)
        if self.jump is not None:
            passes = range(section.passes, section.passes + 1)
        for now in passes:
            start = at if now == passes[0] else section.first
            for index in range(start, section.last + 1):
                bar = self.bars[index]
                if bar.ending and now not in bar.ending:
                    continue
                self._append(index)
                if now != passes[-1]:
                    if bar.repeat_end:
                        break
                    continue
                onward = self._leave(index)
                if onward is not None:
                    return onward
        return section.last + 1

    def _append(self, index: int) -> None:
        check_length(len(self.order))
        self.order.append(index)

    def _leave(self, index: int) -> int | None:
        """Where to go after bar `index` on the last pass of its section, None for straight on."""
        bar = self.bars[index]
        if self.jump is None:
            return self._start_jump(bar, index) if bar.jump else None
        if bar.fine_q is not None and self.jump.until != "coda":
            if bar.notes and 0 < bar.fine_q < max(note.onset_q for note in bar.notes):
                self.notes.say(f"Fine stands in the middle of bar {bar.number}: the whole bar is played")
            return len(self.bars)
        if index in self.leaves and self.jump.until != "fine" and self.coda_at is not None and self.coda_at > index:
            return self.coda_at
        if bar.jump and bar is not self.jump:
            self.notes.say(f"the jump at the end of bar {bar.number} is not taken: one was taken before")
        return None

    def _start_jump(self, bar: WrittenBar, index: int) -> int | None:
        sign = "D.C." if bar.jump == "capo" else "D.S."
        target: int | None = 0
        if bar.jump == "segno":
            signs = [i for i, other in enumerate(self.bars) if other.segno is not None and i <= index]
            named = [i for i in signs if self.bars[i].segno == bar.jump_label]
            target = next(reversed(named or signs), None)
        if target is None:
            self.notes.say(f"{sign} in bar {bar.number} has no segno to go back to: played straight on")
            return None
        self.jump = bar
        if any(section.passes > 1 and section.last >= target and section.first <= index for section in self.sections):
            self.notes.say(f"after the {sign} in bar {bar.number} repeats are not taken again")
        if bar.until == "coda" and (self.coda_at is None or not self.leaves):
            self.notes.say(f"{sign} al Coda in bar {bar.number} lacks a coda sign: the tune is played again to its end")
        return target


def _sections(bars: Sequence[WrittenBar], notes: Notes) -> list[_Section]:
    """Cut the bars into sections at repeat signs, ends of endings and, where nothing else tells, double bars."""
    sections: list[_Section] = []
    first, opened = 0, False
    for index, bar in enumerate(bars):
        left_endings = index > first and bars[index - 1].ending and not bar.ending
        if index > first and (bar.repeat_start or left_endings or (bar.section_start and not opened and not bar.ending)):
            if opened and not any(before.repeat_end for before in bars[first:index]):
                notes.say(f"the repeat that begins in bar {bars[first].number} never ends: played once")
            sections.append(_section(bars, first, index - 1, notes))
            first, opened = index, False
        opened = opened or bar.repeat_start
        following = bars[index + 1] if index + 1 < len(bars) else None
        more_endings = following is not None and following.ending_start and (bar.ending or 1 not in following.ending)
        if bar.repeat_end and not more_endings:
            sections.append(_section(bars, first, index, notes))
            first, opened = index + 1, False
    if first < len(bars):
        if opened and not any(before.repeat_end for before in bars[first:]):
            notes.say(f"the repeat that begins in bar {bars[first].number} never ends: played once")
        sections.append(_section(bars, first, len(bars) - 1, notes))
    return sections


def _section(bars: Sequence[WrittenBar], first: int, last: int, notes: Notes) -> _Section:
    inside = bars[first : last + 1]
    repeats = any(bar.repeat_end for bar in inside)
    brackets = [bar for bar in inside if bar.ending_start]
    if not brackets:
        return _Section(first, last, max([1, *(bar.repeat_end for bar in inside)]), repeats)
    passes = max(max(bar.ending) for bar in brackets)
    if inside[-1].repeat_end and inside[-1].ending:
        if len(brackets) == 1:
            passes += 1
        else:
            notes.say(f"the last ending, up to bar {inside[-1].number}, closes with a repeat sign: it is played once")
    if not repeats:
        notes.say(f"endings from bar {brackets[0].number} on have no repeat sign: the first is played first, the last after a jump")
    return _Section(first, last, passes, repeats)
