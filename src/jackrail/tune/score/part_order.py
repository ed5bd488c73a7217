"""The playing order of a tune whose parts are played in an order of their own (ABC 2.1 section 3.1.9).

The tune is written out part by part, each with its repeats, and then played like any other, so that a D.C. goes back to the beginning of
the tune and a D.S. or a way to the coda leads into another part. Where the order leaves room, these rules hold, and each is said:
- Where a part is named several times in a row and has an ending for each, the time chooses the ending (section 4.10).
- A jump in a part after which others follow is taken within the part, each time, if the part has all that it leads to, or the tune has
  no Fine; else it is taken the last time that the part is played (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import cycle, groupby
from operator import itemgetter

from .limits import check_length
from .playing_out import order_of, say_unplayed
from .written import Notes, WrittenBar

_Turn = list[tuple[int, WrittenBar]]
"""A part as it is played once: bars of the tune, with the signs that still count."""


def play_parts(bars: Sequence[WrittenBar], spans: Mapping[str, tuple[int, int]], labels: str, notes: Notes) -> list[int]:
    """Indices of `bars` in playing order. spans: first bar and end of each part; what stands before all parts is played first.

    Raises BadInput with a "range" fault when that is more than MAX_BARS.
    """
    turns: list[_Turn] = [[(index, bars[index]) for index in range(min(first for first, _ in spans.values()))]]
    ways = {label: _ways(label, bars, spans[label], labels, notes) for label in spans if label in set(labels)}
    final = {label: place for place, label in enumerate(labels)}
    length = len(turns[0])
    for label, run in groupby(enumerate(labels), key=itemgetter(1)):
        for way, (place, _) in zip(cycle(ways.get(label, [[]])), run, strict=False):
            turns.append(way if place == final[label] else _without_jumps(way))
            length += len(way)
            check_length(length)
    written = [pair for turn in turns for pair in turn]
    starts, at = set(), 0
    for turn in turns:
        starts.add(at)
        at += len(turn)
    order = [written[index][0] for index in order_of([bar for _, bar in written], notes, frozenset(starts))]
    named = {index for label in ways for index in range(*spans[label])} | {index for index, _ in turns[0]}
    say_unplayed([bars[index] for index in sorted(named - set(order))], notes)
    return order


def _ways(label: str, bars: Sequence[WrittenBar], span: tuple[int, int], labels: str, notes: Notes) -> list[_Turn]:
    """Ways to play a part, one for each time that the order names it in a row."""
    part = [(index, bars[index]) for index in range(*span)]
    endings = frozenset[int]().union(*(bar.ending for _, bar in part))
    runs = {len(list(run)) for name, run in groupby(labels) if name == label}
    times = max(runs)
    if times > 1 and len(runs) == 1 and endings >= set(range(1, times + 1)):
        notes.say(f"part {label} is named {times} times in a row: each time with its own ending (ABC 2.1 section 4.10)")
        return [[(index, _unrepeated(bar)) for index, bar in part if not bar.ending or now in bar.ending] for now in range(1, times + 1)]
    if labels.count(label) > 1 and any(bar.repeat_end for _, bar in part):
        notes.say(f"part {label} has a repeat sign and stands {labels.count(label)} times in the order of parts: it is repeated each time")
    jumps = [bar for _, bar in part if bar.jump]
    if jumps and label in labels.rstrip(labels[-1]) and _leads_to_itself(jumps, [bar for _, bar in part], bars):
        notes.say(f"the {jumps[0].jump_sign} in part {label} is taken within the part, for the order of parts goes on after it")
        return [_played(part, notes)]
    if jumps and len(set(labels)) > 1:
        to = "" if jumps[0].jump == "segno" else " and goes back to the beginning of the tune"
        notes.say(f"the {jumps[0].jump_sign} in part {label} is taken the last time that the part is played{to}")
    return [part]


def _leads_to_itself(jumps: Sequence[WrittenBar], part: Sequence[WrittenBar], bars: Sequence[WrittenBar]) -> bool:
    """Whether a part has all that its jumps lead to."""
    fine = any(bar.fine_q is not None for bar in part) or not any(bar.fine_q is not None for bar in bars)
    segno, coda = any(bar.segno is not None for bar in part), any(bar.coda is not None for bar in part)
    return all((jump.jump == "capo" or segno) and (coda if jump.until == "coda" else fine) for jump in jumps)


def _played(part: _Turn, notes: Notes) -> _Turn:
    """A part with its own jumps played out; of its signs only a Fine at its end counts for jumps in other parts."""
    order = [part[at] for at in order_of([bar for _, bar in part], notes)]
    turn = [
        (index, replace(_unrepeated(bar), segno=None, coda=None, to_coda=None, fine_q=None, jump="", jump_on=frozenset()))
        for index, bar in order
    ]
    if turn:
        turn[-1] = turn[-1][0], replace(turn[-1][1], fine_q=order[-1][1].fine_q)
    return turn


def _unrepeated(bar: WrittenBar) -> WrittenBar:
    return replace(bar, ending=frozenset(), ending_start=False, repeat_start=False, repeat_end=0, after_jump=False)


def _without_jumps(turn: _Turn) -> _Turn:
    return [(index, replace(bar, jump="", jump_on=frozenset()) if bar.jump else bar) for index, bar in turn]
