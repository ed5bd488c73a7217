"""Repeats: a row of records that stood before is written as one REPEAT.

The longest earlier row is taken each time. A short REPEAT saves a little and cuts the row it stands in, so that a longer
one later cannot reach across it; hence a few thresholds are tried and the shortest roll is kept.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from .format import MOST_REPEATED
from .records import REPEAT_BYTES, pack_repeat

_LEAST_SAVED = (1, 5, 13, 41)
_KEY = 2
_CUT = -1
_TRIED = 24
"""Earlier places tried for one row, the latest first: bounds the time for a tune that says the same all along."""


def with_repeats(literals: Sequence[bytes]) -> bytes:
    """The shortest that was found of the same records written with REPEATs."""
    numbers: dict[bytes, int] = {}
    row = [numbers.setdefault(literal, len(numbers)) for literal in literals]
    return min((_written(literals, row, least) for least in _LEAST_SAVED), key=len)


def _written(literals: Sequence[bytes], row: list[int], least_saved: int) -> bytes:
    """The records with every REPEAT that saves so many bytes or more."""
    out = bytearray()
    kept: list[int] = []  # the records written out, a cut wherever a REPEAT stands between them
    offsets: list[int] = []  # of those, in bytes
    places: dict[tuple[int, ...], list[int]] = defaultdict(list)  # where in `kept` each short row stands
    at = 0
    while at < len(row):
        first, count = _longest(row, at, kept, places.get(tuple(row[at : at + _KEY]), []))
        if count and sum(map(len, literals[at : at + count])) - REPEAT_BYTES >= least_saved:
            out += pack_repeat(offsets[first], count)
            kept.append(_CUT)
            offsets.append(len(out))
            at += count
            continue
        kept.append(row[at])
        offsets.append(len(out))
        out += literals[at]
        places[tuple(kept[-_KEY:])].append(len(kept) - _KEY)
        at += 1
    return bytes(out)


def _longest(row: list[int], at: int, kept: list[int], tried: list[int]) -> tuple[int, int]:
    """Where in `kept` the longest row stands that continues as `row` does at `at`, and how long it is; 0 long for none."""
    best, longest = 0, 0
    most = min(MOST_REPEATED, len(row) - at)
    for place in reversed(tried[-_TRIED:]):
        end = min(most, len(kept) - place)
        if longest and (end <= longest or kept[place + longest] != row[at + longest]):
            continue
        count = 0
        while count < end and kept[place + count] == row[at + count]:
            count += 1
        if count > longest:
            best, longest = place, count
    return best, longest
