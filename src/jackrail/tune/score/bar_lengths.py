"""Bars against their metre: where each begins, numbers for notations without them, a word for each that does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from jackrail.tune.model import Quarters

from .written import Notes, WrittenBar

_SHOWN = 6
_MOST_PIECES = 8
"""Most pieces that signs cut one bar into."""


def find_starts(bars: Sequence[WrittenBar]) -> None:
    """Set where in the full bar each bar begins: after its earlier pieces, or as long before its end as an upbeat is.

    A later piece that is said to be no bar of its own takes the number of its first.
    """
    index = 0
    while index < len(bars):
        count = _pieces(bars, index)
        for piece in range(index + 1, index + count):
            _go_on(bars, piece, bars[piece - 1].starts_q + bars[piece - 1].length_q)
        if count == 1 and (starts_q := _under_next_bracket(bars, index)):
            _go_on(bars, index, starts_q)
        elif count == 1 and _upbeat(bars, index):
            bars[index].starts_q = bars[index].metre_q - bars[index].length_q
        index += count


def _go_on(bars: Sequence[WrittenBar], index: int, starts_q: Quarters) -> None:
    bars[index].starts_q = starts_q
    if bars[index].implicit:
        bars[index].number = bars[index - 1].number


def _pieces(bars: Sequence[WrittenBar], index: int) -> int:
    """How many bars from `index` on are pieces that signs cut one full bar into; 1 when it is no first piece."""
    whole, total_q, end = bars[index], bars[index].length_q, index + 1
    if not whole.short:
        return 1
    most = min(len(bars), index + _MOST_PIECES)
    while end < most and total_q < whole.metre_q and bars[end].short and bars[end].metre_q == whole.metre_q and _joined(bars, end):
        total_q += bars[end].length_q
        end += 1
    return end - index if total_q == whole.metre_q else 1


def _joined(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether what stands between a bar and the one before may cut a full bar in two."""
    bar = bars[index]
    return bar.implicit or _boundary(bars, index) or bar.number == bars[index - 1].number != 0


def _under_next_bracket(bars: Sequence[WrittenBar], index: int) -> Quarters:
    """Where a bar at the beginning of a bracket goes on from, if the bracket before it begins with as long a later piece; else 0."""
    first = index - 1
    if not bars[index].ending_start or index == 0 or not bars[first].ending:
        return Fraction(0)
    while first > 0 and not bars[first].ending_start:
        first -= 1
    same = bars[index].short and bars[first].length_q == bars[index].length_q
    return bars[first].starts_q if same else Fraction(0)


def number_bars(bars: Sequence[WrittenBar]) -> None:
    """Number bars as on paper: an upbeat at the beginning is 0, what begins later than on its downbeat counts with the bar before."""
    number = 0
    for bar in bars:
        number += bar.starts_q == 0
        bar.number = number


def check_lengths(bars: Sequence[WrittenBar], notes: Notes) -> None:
    """Warn of bars that hold more or less than their metre, and of voices of unequal length in a bar. After `find_starts`.

    Excepted are upbeats, a last bar that an upbeat completes, and bars cut into pieces by signs.
    """
    odd = []
    upbeats = {bar.length_q for index, bar in enumerate(bars) if bar.short and (index == 0 or _boundary(bars, index))}
    for index, bar in enumerate(bars):
        if bar.full_at and not bar.length_q % bar.metre_q:
            continue
        if bar.free or bar.length_q == bar.metre_q or (bar.short and (bar.implicit or _excused(bars, index, upbeats))):
            continue
        odd.append(f"{bar.place} holds {_quarters(bar.length_q)} where {bar.beats}/{bar.beat_unit} asks for {_said(bar.metre_q)}")
    _say_run_on([line for bar in bars for line in bar.full_at], notes)
    _say_all(odd, ("bar does not fit its metre", "bars do not fit their metre"), notes)
    _say_all(
        [_uneven(bar) for bar in bars if len(set(bar.voices_q.values())) > 1],
        ("bar has voices of unequal length", "bars have voices of unequal length"),
        notes,
    )


def _say_run_on(lines: Sequence[int], notes: Notes) -> None:
    if len(lines) == 1:
        notes.say(f"a bar runs on over the end of line {lines[0]}, where it is full: is a bar line missing there?")
    elif lines:
        more = f" and {len(lines) - _SHOWN} more" if len(lines) > _SHOWN else ""
        named = ", ".join(map(str, lines[:_SHOWN]))
        notes.say(f"bars run on over the ends of lines {named}{more}, where they are full: is a bar line missing there?")


def _uneven(bar: WrittenBar) -> str:
    """That the voices of a bar differ in length: the first, and the one farthest from it."""
    (first, length_q), *others = bar.voices_q.items()
    name, other_q = max(others, key=lambda voice: abs(voice[1] - length_q))
    return f"voice {name} of {bar.place} holds {_quarters(other_q)}, voice {first} holds {_said(length_q)}"


def _say_all(sentences: Sequence[str], one_and_many: tuple[str, str], notes: Notes) -> None:
    for sentence in sentences[:_SHOWN]:
        notes.say(f"{sentence}: played as written")
    if len(sentences) > _SHOWN:
        rest = len(sentences) - _SHOWN
        notes.say(f"{rest} more {one_and_many[rest > 1]}: played as written")


def _boundary(bars: Sequence[WrittenBar], index: int) -> bool:
    """Whether a repeat sign, bracket or double bar stands at the left of a bar."""
    bar = bars[index]
    return bar.repeat_start or bar.section_start or bar.ending_start or bars[index - 1].repeat_end > 0


def _upbeat(bars: Sequence[WrittenBar], index: int) -> bool:
    """A short bar before a full one, at the beginning of the tune or, if it is no more than half a bar, of a section."""
    bar = bars[index]
    if not bar.short or index + 1 == len(bars):
        return False
    if index == 0:
        return bar.number == 0 or bar.implicit or not bars[1].short
    return (bar.implicit or _boundary(bars, index)) and _short_before_full(bars, index)


def _excused(bars: Sequence[WrittenBar], index: int, upbeats: set[Quarters]) -> bool:
    bar = bars[index]
    following_q = bars[index + 1].starts_q if index + 1 < len(bars) else Fraction(0)
    if index == 0:
        return len(bars) > 1 and (not bars[1].short or following_q == bar.length_q)
    if bar.starts_q or following_q == bar.length_q:
        return True
    at_end = index + 1 == len(bars) or _boundary(bars, index + 1)
    earlier_q = bars[index - 1].length_q if _joined(bars, index) and bars[index - 1].short else Fraction(0)
    completed = at_end and {bar.metre_q - bar.length_q, bar.metre_q - bar.length_q - earlier_q} & upbeats
    return bool(completed) or (_boundary(bars, index) and _short_before_full(bars, index))


def _short_before_full(bars: Sequence[WrittenBar], index: int) -> bool:
    return index + 1 < len(bars) and not bars[index + 1].short and bars[index].length_q * 2 <= bars[index].metre_q


def _quarters(length_q: Quarters) -> str:
    return f"{_said(length_q)} quarter{'s' * (length_q != 1)}"


def _said(length_q: Quarters) -> str:
    return f"{float(length_q):.4g}" if isinstance(length_q, Fraction) else str(length_q)
