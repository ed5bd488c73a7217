"""The cheapest path through a row of choices: the one algorithm behind guessed and proposed chords."""

from __future__ import annotations

from collections.abc import Sequence
from operator import add


def best_path(costs: Sequence[Sequence[float]], change: Sequence[Sequence[float]]) -> tuple[list[int], float]:
    """The choice at each step that makes the sum of costs least (Viterbi 1967), and that sum.

    costs: shape (steps, choices), what each choice costs at each step, 0 or more, infinite for one that cannot be. change: shape
    (choices, choices), what it costs to go from the one to the other between two steps. Of equal paths the one with the lower
    choices at the end. No steps give an empty path of cost 0.
    """
    if not costs:
        return [], 0.0
    so_far = list(costs[0])
    came_from: list[list[int]] = []
    into = list(zip(*change, strict=True))
    for step in costs[1:]:
        origins, sums = [], []
        for to_here in into:
            over = list(map(add, so_far, to_here))
            least = min(over)
            origins.append(over.index(least))
            sums.append(least)
        so_far = list(map(add, sums, step))
        came_from.append(origins)
    last = so_far.index(min(so_far))
    path = [last]
    for origins in reversed(came_from):
        path.append(origins[path[-1]])
    return path[::-1], so_far[last]


def steady_path(costs: Sequence[Sequence[float]], changes: Sequence[float]) -> tuple[list[int], float]:
    """`best_path` where it depends on the step alone what a change costs: in time linear in the choices.

    changes: what it costs to change the choice before each step, 0 or more; the first, before the first step, is not used. Where
    to keep a choice and to change it cost the same, it is kept.
    """
    if not costs:
        return [], 0.0
    so_far = list(costs[0])
    before: list[tuple[list[float], int]] = []
    for step, change in zip(costs[1:], changes[1:], strict=True):
        least = min(so_far)
        before.append((so_far, so_far.index(least)))
        dearest = least + change
        so_far = [(kept if kept <= dearest else dearest) + cost for kept, cost in zip(so_far, step, strict=True)]  # noqa: FURB136 - min() is slow
    last = so_far.index(min(so_far))
    path = [last]
    for (kept, cheapest), change in zip(reversed(before), reversed(changes[1:]), strict=True):
        path.append(path[-1] if kept[path[-1]] <= kept[cheapest] + change else cheapest)
    return path[::-1], so_far[last]
