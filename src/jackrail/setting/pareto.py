"""Fronts of what cannot all be had at once: points that no other beats, and a few that stand for many."""

from __future__ import annotations

import math
from collections.abc import Sequence

Scores = tuple[float, ...]
"""What a point offers, each the more the better."""


def unbeaten(scores: Sequence[Scores], tolerance: float = 1e-9) -> list[int]:
    """Indices of the points that no other beats: as good in everything and better in something. Of equal ones the first stays."""

    def beats(a: int, b: int) -> bool:
        if not all(x >= y - tolerance for x, y in zip(scores[a], scores[b], strict=True)):
            return False
        better = any(x > y + tolerance for x, y in zip(scores[a], scores[b], strict=True))
        return better or a < b

    return [b for b in range(len(scores)) if not any(beats(a, b) for a in range(len(scores)) if a != b)]


def spread_out(scores: Sequence[Scores], most: int, keep: Sequence[int] = ()) -> list[int]:
    """At most `most` indices that lie far from each other, each score measured by its own span; those to keep and the extremes first.

    The next one taken is always that which is furthest from all taken (Gonzalez 1985, farthest-first traversal).
    """
    if len(scores) <= most:
        return list(range(len(scores)))
    spans = [max(column) - min(column) or 1.0 for column in zip(*scores, strict=True)]

    def far(a: int, b: int) -> float:
        return math.dist([x / s for x, s in zip(scores[a], spans, strict=True)], [y / s for y, s in zip(scores[b], spans, strict=True)])

    best = [column.index(max(column)) for column in zip(*scores, strict=True)]
    taken = list(dict.fromkeys([*keep, *best]))[:most]
    away = [min(far(index, other) for other in taken) for index in range(len(scores))]
    while len(taken) < most:
        furthest = max(range(len(scores)), key=away.__getitem__)
        taken.append(furthest)
        away = [min(now, far(index, furthest)) for index, now in enumerate(away)]
    return sorted(taken)
