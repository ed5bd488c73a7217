"""A tune folded together: what comes again stands there once, with the weight of all its members.

Each group of notes to be treated alike is stood for by one of them, so that as many as can be follow each other as they do in the
tune. What must hold between such neighbours holds in every arrangement that is alike, so the folded tune costs no more than any of
them, at half the work or less. It is no arrangement itself: what must hold where a part begins again is left out.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

Kind = tuple[int, bool, float]
"""Key, whether it is a small note, and weight."""
_SAME_S = 1e-9


class Notes(NamedTuple):
    """The notes of a tune, each a list by index: kinds, onsets, how long each should ring and what it costs if it does not."""

    kinds: Sequence[Kind]
    onsets_s: Sequence[float]
    holds_s: Sequence[float]
    cuts: Sequence[float]

    @property
    def lost(self) -> list[float]:
        """What it costs to leave each out."""
        return [weight for _, _, weight in self.kinds]


def folded(notes: Notes, groups: Sequence[tuple[int, ...]], barred: Collection[int], far_s: float) -> Notes:
    """The notes with those of a group folded together, each with the weight of all that it stands for.

    barred: notes that cannot sound, they are alone. far_s: what stands so far apart at the written tempo cannot hinder each other at
    any; so far apart are parts that do not follow each other. A cut costs what it does for all members whose voice goes on alike.
    """
    members = _members(notes.kinds, groups, barred)
    stands_for = _standing(members)
    place = {index: n for n, rep in enumerate(stands_for) for index in members[rep]}
    onsets_s = _onsets_s(notes.onsets_s, stands_for, far_s + max(notes.holds_s, default=0.0))
    along = _along(notes, [place[index] for index in range(len(notes.kinds))], stands_for, onsets_s)
    kinds, cuts = [], []
    for n, rep in enumerate(stands_for):
        hold_s = notes.holds_s[rep]
        # as far as the bar may be hindered by what follows, or to the end of this stretch
        needed = min(along[rep], _within(onsets_s, n, far_s + hold_s))
        alike = [i for i in members[rep] if along[i] >= needed and abs(notes.holds_s[i] - hold_s) < _SAME_S]
        kinds.append((*notes.kinds[rep][:2], sum(notes.kinds[i][2] for i in members[rep])))
        cuts.append(sum(notes.cuts[i] for i in alike))
    return Notes(kinds, onsets_s, [notes.holds_s[rep] for rep in stands_for], cuts)


def _members(kinds: Sequence[Kind], groups: Sequence[tuple[int, ...]], barred: Collection[int]) -> list[tuple[int, ...]]:
    """For each note those that do as it does, itself among them."""
    members: list[tuple[int, ...]] = [(index,) for index in range(len(kinds))]
    for group in groups:
        parts: dict[tuple[int, bool], list[int]] = {}
        for index in group:
            if index not in barred:
                parts.setdefault(kinds[index][:2], []).append(index)
        for part in parts.values():
            for index in part:
                members[index] = tuple(part)
    return members


def _standing(members: Sequence[tuple[int, ...]]) -> list[int]:
    """The notes that stand for all, in time order: of each group one that follows another such note, or else the last."""
    chosen: list[int] = []
    done: set[int] = set()
    for index, group in enumerate(members):
        if group[0] not in done and (index == group[-1] or (chosen and chosen[-1] == index - 1)):
            chosen.append(index)
            done.add(group[0])
    return chosen


def _onsets_s(onsets_s: Sequence[float], stands_for: Sequence[int], apart_s: float) -> list[float]:
    """When they sound: as in the tune where they follow each other there, else far apart."""
    made: list[float] = []
    for n, index in enumerate(stands_for):
        follows = n > 0 and stands_for[n - 1] == index - 1
        made.append(made[-1] + (onsets_s[index] - onsets_s[index - 1] if follows else apart_s) if made else 0.0)
    return made


def _along(notes: Notes, place: Sequence[int], stands_for: Sequence[int], onsets_s: Sequence[float]) -> list[int]:
    """For each note of the tune how many that follow it are those that follow in the folded tune, as far away."""
    along = [0] * len(place)
    for index in range(len(place) - 2, -1, -1):
        here, after = place[index], place[index + 1]
        gap_s = notes.onsets_s[index + 1] - notes.onsets_s[index]
        if after == here + 1 and stands_for[after] == stands_for[here] + 1 and abs(onsets_s[after] - onsets_s[here] - gap_s) < _SAME_S:
            along[index] = along[index + 1] + 1
    return along


def _within(onsets_s: Sequence[float], n: int, far_s: float) -> int:
    """How many of the notes that follow are nearer than `far_s`."""
    end = n + 1
    while end < len(onsets_s) and onsets_s[end] - onsets_s[n] < far_s:
        end += 1
    return end - n - 1
