"""The order in which written bars are played: repeats and endings (see `sections`), D.C. and D.S., Fine, coda.

Rules, each from common practice, no source, unless one is named; those marked * are said in a warning when they are used:
- A repeat is taken the first time its section is reached. Afterwards, that is after a D.C. or D.S., it is not taken again*, and last
  endings are played, unless the sign itself says otherwise (MusicXML 4.0 <repeat> after-jump).
- A jump is taken once, on the last pass of its bar, or on the passes that it names (MusicXML 4.0 time-only). Under an ending that is not
  the last it goes before the repeat sign*. A later jump is followed, too; then an earlier one is not taken again*. One that lies before
  a jump that was taken is left out*.
- D.S. goes back to the segno with its label, or the nearest before it; of several that could be meant that is said*. A segno in the bar
  of the D.S. only reminds of the one before. One under an ending means that ending*.
- Fine ends the tune after a jump, at the end of its bar or inside it* (see `fine`). Under an ending it is found by playing that
  ending*. Between a jump that does not name it and a jump to come it is passed by*. Without a jump it is nothing but a word*.
- "To Coda", or the first of two coda signs*, is where to leave: before its bar when it stands at the beginning of one*, else after it. It
  leads to the coda with its label, or the last; never back*. Coda signs and segnos that no jump leads to are said*.
- Bars that are never played are said*. More than MAX_JUMPS jumps are refused.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Sequence

from jackrail.faults import BadInput, Fault

from .limits import MAX_BARS, check_length
from .sections import Section, cut
from .written import Notes, WrittenBar

__all__ = ["MAX_BARS", "MAX_JUMPS", "check_length", "play_order"]

MAX_JUMPS = 100
"""Most D.C. and D.S. of one tune, each of which may look through all of it."""


def play_order(bars: Sequence[WrittenBar], notes: Notes) -> list[int]:
    """Indices of `bars` in playing order. Raises BadInput with a "range" fault when that is more than MAX_BARS."""
    order = order_of(bars, notes)
    played = set(order)
    say_unplayed([bar for index, bar in enumerate(bars) if index not in played], notes)
    return order


def order_of(bars: Sequence[WrittenBar], notes: Notes, parts: frozenset[int] = frozenset()) -> list[int]:
    """The same, for bars that may be part of a tune. parts: where no repeat goes back over, the beginnings of parts."""
    return _Player(bars, notes, parts).play()


def say_unplayed(bars: Sequence[WrittenBar], notes: Notes) -> None:
    """Say which of the bars that are never played hold notes."""
    silent = list({bar.number: bar for bar in bars if bar.notes}.values())
    if silent:
        more = f" and {len(silent) - 4} more" if len(silent) > 4 else ""
        named = ", ".join(bar.place for bar in silent[:4])
        notes.say(f"{named}{more} {'are' if silent[1:] else 'is'} never played: check the repeats and endings")


def _check_jumps(jumps: int) -> None:
    if jumps > MAX_JUMPS:
        raise BadInput(Fault("range", "the tune has far too many D.C. and D.S.", limit=f"at most {MAX_JUMPS}", hint="is the file whole?"))


class _Player:
    """jump: index of the jump last taken, -1 before any; until: what it names. landing: where one leads, until the player is there.

    entered: sections that have been played, by their first bar.
    """

    def __init__(self, bars: Sequence[WrittenBar], notes: Notes, parts: frozenset[int]) -> None:
        self.bars = bars
        self.notes = notes
        self.order: list[int] = []
        self.times: Counter[int] = Counter()
        self.jump = -1
        self.until = ""
        self.landing = -1
        self.taken: set[int] = set()
        self.entered: set[int] = set()
        self.in_coda = False
        self.sections = cut(bars, notes, parts)
        self.section_of = {index: section for section in self.sections for index in range(section.first, section.last + 1)}
        self.jumps = [index for index, bar in enumerate(bars) if bar.jump]
        _check_jumps(len(self.jumps))
        self.segnos = [index for index, bar in enumerate(bars) if bar.segno is not None]
        self.labelled: defaultdict[str, list[int]] = defaultdict(list)
        for index in self.segnos:
            self.labelled[bars[index].segno or ""].append(index)
        self.jumped = 0
        self.fines = [index for index, bar in enumerate(bars) if bar.fine_q is not None]
        self.codas = [index for index, bar in enumerate(bars) if bar.coda is not None]
        self.leaves = {index: bar.to_coda_q != 0 for index, bar in enumerate(bars) if bar.to_coda is not None}
        if self.jumps:
            self._find_leaves()

    def play(self) -> list[int]:
        at = 0
        while at < len(self.bars):
            at = self._play_section(self.section_of[at], at)
        self._say_what_is_not_followed()
        return self.order

    def _find_leaves(self) -> None:
        if self.leaves or len(self.codas) < 2:
            return
        first = self.bars[self.codas[0]]
        self.notes.say(f"of {_many(len(self.codas))} coda signs the first, in {first.place}, is taken as the place to leave")
        self.leaves = {self.codas.pop(0): first.coda_q != 0}

    def _play_section(self, section: Section, at: int) -> int:
        """Play from bar `at` to the end of its section or to a jump; the bar to go on with."""
        passes = self._passes(section, at)
        self.landing = -1
        self.entered.add(section.first)
        for now in passes:
            for index in section.rows[now]:
                if now == passes[0] and index < at:
                    continue
                last = now == passes[-1] or section.final[index] == now
                if last and not self.leaves.get(index, True) and (coda := self._to_coda(index)) is not None:
                    return coda
                check_length(len(self.order))
                self.order.append(index)
                self.times[index] += 1
                onward = self._leave(index, last=last, returns=now != passes[-1])
                if onward is not None:
                    return onward
        return section.last + 1

    def _passes(self, section: Section, at: int) -> list[int]:
        """Passes of a section to play when it is entered at bar `at`."""
        every = list(section.rows)
        fresh = section.first not in self.entered
        if at == self.landing and section.final.get(at, every[-1]) != every[-1]:
            self.notes.say(f"{self.bars[at].place}, where the jump leads, is under an ending: that ending is played")
            return [section.final[at]]
        if fresh:
            return every if section.repeats else every[:1]
        return every if section.again else [self._last_pass(section, every)]

    def _last_pass(self, section: Section, every: list[int]) -> int:
        """The last pass, or the one that holds what the jump is to find: the Fine or the place to leave for the coda."""
        if self.in_coda or len(every) == 1:
            return every[-1]
        inside = range(section.first, section.last + 1)
        fines = [index for index in inside if self.bars[index].fine_q is not None] if self.until != "coda" else []
        leaves = [index for index in inside if index in self.leaves] if self.until != "fine" else []
        for index in [*fines, *leaves]:
            holding = section.final.get(index, every[-1])
            if holding != every[-1]:
                word = "Fine" if self.bars[index].fine_q is not None and self.until != "coda" else "way to the coda"
                self.notes.say(f"after the jump the ending of {self.bars[index].place} is played, where the {word} stands")
                return holding
        return every[-1]

    def _leave(self, index: int, *, last: bool, returns: bool) -> int | None:
        """Where to go after bar `index`, None for straight on. last: no later pass plays it. returns: a later pass comes."""
        bar = self.bars[index]
        if bar.jump and self.times[index] in bar.jump_on:
            return self._start_jump(index)
        if not last:
            return None
        if self.jump >= 0:
            if bar.fine_q is not None and self._ends(index):
                return len(self.bars)
            if self.leaves.get(index, False) and (coda := self._to_coda(index)) is not None:
                return coda
        if not bar.jump or bar.jump_on or self._stale(index):
            return None
        if returns and bar.repeat_end:
            self.notes.say(f"in {bar.place} a repeat sign and the {bar.jump_sign} stand under an ending: the {bar.jump_sign} is followed")
        return self._start_jump(index)

    def _stale(self, index: int) -> bool:
        """Whether the jump of this bar is not to be taken any more."""
        bar = self.bars[index]
        if self.jump < 0 or index == self.jump:
            return self.jump >= 0
        if index in self.taken:
            other = self.bars[self.jump]
            self.notes.say(f"the {bar.jump_sign} in {bar.place} is not taken again after the {other.jump_sign} in {other.place}")
            return True
        if index < self.jump:
            self.notes.say(f"the jump at the end of {bar.place} is not taken: a later one was taken before")
            return True
        return False

    def _ends(self, index: int) -> bool:
        """Whether the Fine of this bar ends the tune."""
        bar = self.bars[index]
        if self.until == "coda" and not self.in_coda:
            return False
        if self.until != "fine" and index > self.jump and any(later >= index and later not in self.taken for later in self.jumps):
            self.notes.say(f"the Fine in {bar.place} is passed by: a jump stands behind it")
            return False
        if bar.cut:
            end_q = bar.starts_q + bar.length_q
            quarters = f"{float(end_q):g} quarter{'s' * (end_q != 1)}"
            self.notes.say(f"Fine stands inside {bar.place}: the tune ends there, {quarters} after the bar's beginning")
        elif bar.notes and bar.fine_q and bar.fine_q <= max(note.onset_q for note in bar.notes):
            self.notes.say(f"Fine stands in the middle of {bar.place}: the whole bar is played")
        return True

    def _to_coda(self, index: int) -> int | None:
        """The coda to go to from the sign in bar `index`, if the jump taken leads there."""
        bar = self.bars[index]
        if self.jump < 0 or self.in_coda or self.until == "fine" or not self.codas:
            return None
        named = [coda for coda in self.codas if bar.to_coda and self.bars[coda].coda == bar.to_coda]
        coda = (named or self.codas)[-1]
        if coda <= index:
            self.notes.say(f"the coda in {self.bars[coda].place} lies before the place to leave for it: played straight on")
            return None
        if bar.to_coda and self.bars[coda].coda and not named:
            self.notes.say(f'no coda is named "{bar.to_coda[:20]}" as {bar.place} asks: the one in {self.bars[coda].place} is taken')
        if bar.to_coda is not None and not self.leaves[index]:
            self.notes.say(f"To Coda stands at the beginning of {bar.place}: this bar is left out after the jump")
        self.in_coda, self.landing = True, coda
        return coda

    def _start_jump(self, index: int) -> int | None:
        bar = self.bars[index]
        target = 0 if bar.jump == "capo" else self._segno(index)
        self.taken.add(index)
        if target is None:
            self.notes.say(f"{bar.jump_sign} in {bar.place} has no segno to go back to: played straight on")
            return None
        self.jumped += 1
        _check_jumps(self.jumped)
        self.jump, self.until, self.landing, self.in_coda = index, bar.until, target, False
        repeated = [section for section in self.sections if section.repeats and len(section.rows) > 1 and not section.again]
        if any(section.last >= target and section.first <= index for section in repeated):
            self.notes.say(f"after the {bar.jump_sign} in {bar.place} repeats are not taken again")
        if bar.until == "coda" and (not self.codas or not self.leaves):
            self.notes.say(f"{bar.jump_sign} al Coda in {bar.place} lacks a coda sign: the tune is played again to its end")
        if bar.until == "fine" and not self.fines:
            self.notes.say("al Fine is written but no Fine: the tune is played again to its end")
        return target

    def _segno(self, index: int) -> int | None:
        """The segno that the D.S. at the end of bar `index` leads to."""
        bar, label = self.bars[index], self.bars[index].jump_label
        if label and (named := _before(self.labelled.get(label, []), index)):
            self._say_nearest(index, named)
            return named[-1]
        signs = _before(self.segnos, index)
        if not signs:
            return None
        if label and self.bars[signs[-1]].segno:
            where = self.bars[signs[-1]].place
            self.notes.say(
                f'the D.S. in {bar.place} asks for a segno "{label[:20]}" that is not before it: the nearest, in {where}, is taken'
            )
        earlier = max((at for at in self.taken if at < index and self.bars[at].jump == "segno"), default=-1)
        self._say_nearest(index, signs[bisect_right(signs, earlier) :] or signs)
        return signs[-1]

    def _say_nearest(self, index: int, signs: Sequence[int]) -> None:
        if len(signs) > 1:
            where = self.bars[signs[-1]].place
            self.notes.say(
                f"of {_many(len(signs))} segno signs before the D.S. in {self.bars[index].place} the nearest, in {where}, is taken"
            )

    def _say_what_is_not_followed(self) -> None:
        bars = self.bars
        if not self.jumps:
            if any(index < len(bars) - 1 for index in self.fines):
                self.notes.say(f"Fine stands in {bars[self.fines[0]].place}, but no D.C. or D.S. leads back: played straight on")
            if self.codas or self.leaves or self.segnos:
                self.notes.say("a segno or coda sign is not followed: the tune has no D.C. or D.S.")


def _many(count: int) -> str:
    return {2: "two", 3: "three"}.get(count, str(count))


def _before(signs: Sequence[int], index: int) -> Sequence[int]:
    """Those of ascending `signs` before a bar."""
    return signs[: bisect_left(signs, index)]
