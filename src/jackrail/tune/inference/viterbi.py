"""The cheapest path through a row of choices: the one algorithm behind guessed and proposed chords."""

from __future__ import annotations

from collections.abc import Sequence


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
    choices = range(len(so_far))
    for step in costs[1:]:
        origins = [min(choices, key=lambda before, now=now: so_far[before] + change[before][now]) for now in choices]  # type: ignore[misc]
        so_far = [so_far[before] + change[before][now] + step[now] for now, before in enumerate(origins)]
        came_from.append(origins)
    last = min(choices, key=so_far.__getitem__)
    path = [last]
    for origins in reversed(came_from):
        path.append(origins[path[-1]])
    return path[::-1], so_far[last]
