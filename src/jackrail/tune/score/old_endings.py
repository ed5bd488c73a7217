"""Endings as old books write them: a new |1 after the |2 of the repeat before, without a double bar where that ends."""

from __future__ import annotations

from collections.abc import Sequence

from .written import Notes, WrittenBar


def part_endings(bars: Sequence[WrittenBar], notes: Notes) -> None:
    """End a last bracket that goes on up to a new first one after as many bars as the first bracket of its repeat has; told.

    A new first ending can only be one of a new repeat, which then begins there. Where that would leave it no bars, nothing is changed.
    """
    first_length = begin = 0  # of the first bracket of the repeat; where the bracket now read begins
    for index, bar in enumerate(bars):
        before = bars[index - 1] if index else None
        joined = before is not None and bool(before.ending) and not bar.repeat_start and (not bar.section_start or before.repeat_end > 0)
        if bar.ending_start and 1 in bar.ending:
            split = begin + first_length
            if joined and not bar.section_start and first_length and 1 not in bars[begin].ending and split < index:
                _begin_anew(bars[split:index])
                notes.count(
                    "a first ending after a last one is of a new repeat, taken to begin after as many bars as its like", bars[split]
                )
            first_length = 0
        elif bar.ending_start and joined and 1 in bars[begin].ending:
            first_length = index - begin
        elif bar.ending_start and not joined:
            first_length = 0
        begin = index if bar.ending_start else begin


def _begin_anew(bars: Sequence[WrittenBar]) -> None:
    bars[0].section_start = True
    for bar in bars:
        bar.ending = frozenset()
