"""Written bars cut into sections, each with the bars that every pass of its repeat plays.

Where notation can be read in several ways, these rules hold, and a sentence names the bar whenever one is used:
- A repeat sign without its beginning goes back to the start of the tune or the last repeat sign or ending, which is the custom and
  not said; to the last double bar (ABC 2.1 section 4.8) or Fine if that is nearer, which is said.
- A repeat that never ends is played once. A repeat inside a repeat is read as that: the outer one is played once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .endings import Endings
from .limits import check_length
from .written import Notes, WrittenBar


@dataclass(frozen=True)
class Section:
    """Bars first..last, and the bars of each pass in their order.

    final: bar -> the last of several passes that plays it. repeats: whether all passes follow each other; without that the first is for
    the first time, the last for after a jump. again: the repeat is taken after a jump, too.
    """

    first: int
    last: int
    rows: dict[int, tuple[int, ...]]
    final: dict[int, int]
    repeats: bool
    again: bool


def cut(bars: Sequence[WrittenBar], notes: Notes, hard: frozenset[int] = frozenset()) -> list[Section]:
    """All bars in sections, cut at repeat signs, ends of endings and, where nothing else tells, double bars.

    hard: where a section begins in any case. Raises BadInput with a "range" fault when a repeat plays more than MAX_BARS.
    """
    sections: list[Section] = []
    first, opened, closed, left_open = 0, False, False, False
    jumps = any(bar.jump for bar in bars)
    for index, bar in enumerate(bars):
        if index > first and (index in hard or _begins(bars, index, opened=opened, closed=closed)):
            left_open |= _unclosed(bars, first, index, notes, opened=opened)
            sections.append(_section(bars, first, index - 1, notes, jumps=jumps))
            first, opened, closed = index, False, False
        opened = opened or bar.repeat_start
        closed = closed or bar.repeat_end > 0
        if bar.repeat_end and (index + 1 in hard or not _endings_follow(bars, index)):
            if not opened:
                _say_where_to(bars, first, index, notes, left_open=left_open)
                left_open = False
            sections.append(_section(bars, first, index, notes, jumps=jumps))
            first, opened, closed = index + 1, False, False
    if first < len(bars):
        _unclosed(bars, first, len(bars), notes, opened=opened)
        sections.append(_section(bars, first, len(bars) - 1, notes, jumps=jumps))
    return sections


def _begins(bars: Sequence[WrittenBar], index: int, *, opened: bool, closed: bool) -> bool:
    """Whether a new section begins with the bar at `index`. opened, closed: repeat signs of the section before."""
    bar = bars[index]
    if bar.repeat_start:
        return True
    if bar.ending:
        return False
    if bars[index - 1].ending:
        return not opened or bar.section_start or closed
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
    notes.say(f"the repeat that begins in {bars[first].place} never ends: played once", "a repeat that never ends is played once")
    return True


def _say_where_to(bars: Sequence[WrittenBar], first: int, index: int, notes: Notes, *, left_open: bool) -> None:
    before = bars[first - 1] if first else None
    if left_open:
        notes.say(
            f"a repeat stands inside another up to {bars[index].place}: the outer one is played once, "
            f"and the repeat sign there goes back to {bars[first].place}",
            "a repeat stands inside another",
        )
    elif before is not None and not before.repeat_end and not before.ending:
        notes.say(
            f"the repeat sign at the end of {bars[index].place} has no beginning: it goes back to the double bar, "
            f"part or Fine before {bars[first].place} (ABC 2.1 section 4.8)",
            "a repeat sign without beginning goes back to a double bar, part or Fine",
        )


def _section(bars: Sequence[WrittenBar], first: int, last: int, notes: Notes, *, jumps: bool) -> Section:
    inside = bars[first : last + 1]
    repeats = any(bar.repeat_end for bar in inside)
    endings = Endings(bars, first, last, notes, jumps=jumps)
    if endings.brackets and (repeats or endings.serve()):
        rows = endings.rows()
        repeats = repeats or not endings.for_jump
    else:
        times = max([1, *(bar.repeat_end for bar in inside)])
        check_length((times - 1) * len(inside))
        rows = dict.fromkeys(range(1, times + 1), tuple(range(first, last + 1)))
    final = {index: now for now, row in rows.items() for index in row} if len(rows) > 1 else {}
    return Section(first, last, rows, final, repeats, any(bar.after_jump for bar in inside))
