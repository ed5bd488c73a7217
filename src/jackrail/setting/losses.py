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
    "chord-changed": "chord by another bar",
}

_MOST_NAMES = 3
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

    Notes cut short are one row, since a travelling bar cuts most of its notes by a little; it stands behind all that is missing or
    changed. Small notes come last.
    """
    rows: dict[tuple[str, ...], list[Loss]] = {}
    for loss in sorted(losses, key=lambda loss: _LATER.get(loss.kind, 0)):
        row = rows.setdefault(_alike(loss), [])
        if loss.kind != "small-lost" or not row or row[-1].place != loss.place:
            row.append(loss)
    return [_row(row) for row in rows.values()]


def _alike(loss: Loss) -> tuple[str, ...]:
    return (loss.kind,) if loss.kind == "note-cut" else (loss.kind, loss.written, loss.played, loss.reason)


def _row(row: list[Loss]) -> LossRow:
    first, places = row[0], tuple(loss.place for loss in row)
    if first.kind == "note-cut" and len(row) > 1:
        names = list(dict.fromkeys(loss.written for loss in row))
        written = ", ".join(names[:_MOST_NAMES]) + (" and others" if len(names) > _MOST_NAMES else "")
        return LossRow(_WORDS[first.kind], written, "shorter", f"to be in time for what follows; the first {first.reason}", places)
    return LossRow(_WORDS[first.kind], first.written, first.played or "nothing", first.reason, places)


def played_instead(losses: Iterable[Loss]) -> str:
    """How the chords that are not struck as written are played: "as its plain triad", "as the nearest bars"; "" without any."""
    changed = [loss for loss in losses if loss.kind == "chord-changed"]
    if not changed:
        return ""
    plain = all("plain triad" in loss.reason for loss in changed)
    if len(changed) == 1:
        return "as its plain triad" if plain else "as the nearest bar"
    return "as their plain triads" if plain else "as the nearest bars"
