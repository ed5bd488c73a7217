"""What was given up, gathered: equal losses become one row with the list of their places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .model import Loss, LossKind

_WORDS: dict[LossKind, str] = {
    "note-lost": "note left out",
    "note-folded": "note in another octave",
    "small-lost": "small note left out",
    "note-cut": "note cut short",
    "note-slid": "note slid into",
    "chord-lost": "chord left out",
    "chord-changed": "chord simplified",
}

_LATER: dict[LossKind, int] = {"note-cut": 1, "small-lost": 2}


@dataclass(frozen=True)
class LossRow:
    """Losses alike in everything but their place. places: bar and beat of each, in time order; an ornament's once for all its notes."""

    what: str
    written: str
    played: str
    reason: str
    places: tuple[str, ...]


def gather(losses: Iterable[Loss]) -> list[LossRow]:
    """One row for each different (kind, written, played, reason), in the order of their first places.

    Notes cut short stand behind all that is missing or changed, small notes last.
    """
    places: dict[tuple[LossKind, str, str, str], list[str]] = {}
    for loss in sorted(losses, key=lambda loss: _LATER.get(loss.kind, 0)):
        where = places.setdefault((loss.kind, loss.written, loss.played, loss.reason), [])
        if loss.kind != "small-lost" or where[-1:] != [loss.place]:
            where.append(loss.place)
    return [
        LossRow(_WORDS[kind], written, played or "nothing", reason, tuple(where))
        for (kind, written, played, reason), where in places.items()
    ]
