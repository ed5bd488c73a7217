"""The wait table: a tune has few note lengths, so most waits are one byte that points to its own short table.

A time off by a microsecond is the same note length: waits that differ only by rounding become one. What that leaves adds
up, so each record is also held to its own window; where a table's wait would leave it, an exact one is written.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import accumulate, pairwise

from .due import TICKS_PER_US
from .format import EXPLICIT_WAIT, LONGEST_WAIT_US
from .fuse import Wanted
from .records import RollRecord

_ALIKE_TICKS = 2


def timed_records(wanted: Sequence[Wanted]) -> tuple[RollRecord, ...]:
    """Each wanted record at a time within its window, its wait the usual one wherever that holds."""
    usual = usual_waits(after - before for before, after in pairwise([0, *(one.ideal for one in wanted)]))
    latest = list(accumulate((one.high_us for one in reversed(wanted)), min))[::-1]
    records, now, before = [], 0, 0
    for one, high_us in zip(wanted, latest, strict=True):
        at_us = now + usual[one.ideal - before]
        if not one.low_us <= at_us <= high_us:
            at_us = max(now, one.low_us, min(high_us, round(one.ideal / TICKS_PER_US)))
        if at_us - now > LONGEST_WAIT_US:
            raise ValueError("a rest is longer than a record can wait")
        records.append(RollRecord(at_us, one.op, one.argument))
        now, before = at_us, one.ideal
    return tuple(records)


def usual_waits(waits_ticks: Iterable[int]) -> dict[int, int]:
    """For each wait in timer ticks, the whole microseconds of the note length it belongs to: the mean of those alike."""
    counts = Counter(waits_ticks)
    usual: dict[int, int] = {}
    group: list[int] = []
    for wait, after in pairwise([*sorted(counts), None]):
        if wait is None:
            continue
        group.append(wait)
        if after is None or after - wait > _ALIKE_TICKS:
            number = sum(counts[each] for each in group)
            mean = round(sum(each * counts[each] for each in group) / number / TICKS_PER_US)
            usual |= dict.fromkeys(group, mean)
            group = []
    return usual


def wait_table(waits_us: Iterable[int]) -> tuple[int, ...]:
    """The waits worth a place: those used more than once, the most frequent first."""
    return tuple(wait for wait, count in Counter(waits_us).most_common(EXPLICIT_WAIT) if count > 1)
