"""What was given up, gathered: equal losses become one row with the list of their places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .model import Loss, LossKind

_WORDS: dict[LossKind, str] = {
    "note-lost": "note left out",
    "note-folded": "note in another octave",
    "small-lost": "small note left out",
    "chord-lost": "chord left out",
    "chord-changed": "chord simplified",
}


@dataclass(frozen=True)
class LossRow:
    """Losses alike in everything but their place. places: bar and beat of each, in time order; an ornament's once for all its notes."""

    what: str
    written: str
    played: str
    reason: str
    places: tuple[str, ...]


def gather(losses: Iterable[Loss]) -> list[LossRow]:
    """One row for each different (kind, written, played, reason), in the order of their first places, those of small notes last."""
    places: dict[tuple[LossKind, str, str, str], list[str]] = {}
    for loss in sorted(losses, key=lambda loss: loss.kind == "small-lost"):
        where = places.setdefault((loss.kind, loss.written, loss.played, loss.reason), [])
        if loss.kind != "small-lost" or where[-1:] != [loss.place]:
            where.append(loss.place)
    return [
        LossRow(_WORDS[kind], written, played or "nothing", reason, tuple(where))
        for (kind, written, played, reason), where in places.items()
    ]
