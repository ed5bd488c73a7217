"""Chord symbols that stand over other parts of a score, such as a guitar's: lent to the part read, or said to be left out."""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.pitch import parse_chord
from jackrail.tune.model import NO_CHORD, Quarters
from jackrail.tune.score.written import Notes, WrittenBar

from .form import read_aside
from .part import PartReader
from .parts import Part


def share_chords(bars: list[WrittenBar], part: Part, parts: list[Part], notes: Notes) -> None:
    """The chords of the part read, or of the first other part that has some; which others have more, is said."""
    owner = part if any(bar.chords for bar in bars) else None
    for other in parts:
        if other is part or not any(measure.find("harmony") is not None for measure in other.measures):
            continue
        if owner is None:
            reader = read_aside(other, PartReader(other.measures, other.place, notes, reads="chords"))
            if reader is not None:
                owner = other
                notes.remark(f"chord symbols were taken from {other.place}")
                _lend(reader.bars, bars, notes)
        else:
            _say_more(bars, owner, other, notes)


def _lend(lent: list[WrittenBar], bars: list[WrittenBar], notes: Notes) -> None:
    for bar, lender in zip(bars, lent, strict=False):
        bar.chords = [(onset_q, symbol) for onset_q, symbol in lender.chords if onset_q <= bar.length_q]
        if len(bar.chords) < len(lender.chords):
            notes.count("chord symbols of another part that lie beyond the measure are left out", f"measure {bar.number}")


def _say_more(bars: list[WrittenBar], owner: Part, other: Part, notes: Notes) -> None:
    """How many chord symbols another part has where those played are others, or none."""
    reader = PartReader(other.measures, other.place, Notes(), reads="chords")
    if read_aside(other, reader) is None:
        notes.say(f"{other.place} cannot be read: its chord symbols are left out")
        return
    more = _more(list(_in_order(bars)), list(_in_order(reader.bars[: len(bars)])))
    if more:
        what = "1 chord symbol that is" if more == 1 else f"{more} chord symbols that are"
        notes.say(f"{other.place} has {what} not among those of {owner.place}, which are played: left out")


def _in_order(bars: list[WrittenBar]) -> Iterator[tuple[tuple[int, Quarters], str]]:
    """Chord symbols with index of their bar and onset in it."""
    for index, bar in enumerate(bars):
        for onset_q, symbol in bar.chords:
            yield (index, onset_q), symbol


def _more(own: list[tuple[tuple[int, Quarters], str]], others: list[tuple[tuple[int, Quarters], str]]) -> int:
    """How many of the others are not the chord that is in force by then."""
    more = at = 0
    now = NO_CHORD
    for place, symbol in others:
        while at < len(own) and own[at][0] <= place:
            now = own[at][1]
            at += 1
        more += not _same(now, symbol)
    return more


def _same(one: str, other: str) -> bool:
    """Whether two symbols mean one chord, however it is spelt."""
    if one == other or NO_CHORD in {one, other}:
        return one == other
    first, second = parse_chord(one), parse_chord(other)
    return (first.classes, first.bass) == (second.classes, second.bass)
