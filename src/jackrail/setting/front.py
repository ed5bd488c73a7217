"""The trade-off: tempo against notes against sustain, each point the best that can be had of one for the others.

For each way of weighing sustain (only to choose between equals, as the taste says, and as much as the notes themselves) the
cost of the music falls in steps as the tune slows, and every step is found, over all keys. What no other point beats is
kept; of many the few that lie furthest apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from jackrail.faults import BadInput, Fault

from .keys import BELOW, Key, Music
from .leaving import with_leaving
from .naming import key_name
from .pareto import Scores, spread_out, unbeaten
from .parts import Parts
from .search import Found, Search
from .sounding import chosen_notes, sustained

MOST_POINTS = 12
"""More points than these nobody would read."""
MOST_STATES = 1_500_000
"""States looked at before the walk towards faster tempi ends, some seconds: a front of a very long tune may begin at a slower one."""
_ONLY_BETWEEN_EQUALS, _AS_MUCH_AS_NOTES = 0.001, 1.0
_ALIKE = 5e-4
"""Points that differ by less than this share in everything are one."""


@dataclass(frozen=True)
class Point:
    """One choice. number: from 1, the fastest first. key: what it is played in, "" when unknown.

    notes_share: kept weight of the notes, one moved by octaves counts in part. sustain_share: share of their length for which the notes
    kept ring at their pitch. proven: nothing of this tempo loses less by the weights it was found with. chosen: it is the
    setting of least cost. found: the arrangement itself.
    """

    number: int
    key: str
    notes_kept: int
    notes_total: int
    notes_share: float
    sustain_share: float
    chords_kept: int
    chords_total: int
    proven: bool
    chosen: bool
    found: Found = field(repr=False)

    @property
    def tempo_factor(self) -> float:
        """1 is the written tempo, 0.5 half as fast."""
        return 1.0 / self.found.slowdown

    @property
    def scores(self) -> Scores:
        """What it offers of each, the more the better."""
        return self.tempo_factor, self.notes_share, self.sustain_share

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a point in `jackrail fit --front --json`, see docs/formats.md."""
        return {
            "point": self.number,
            "transpose_semitones": self.found.transpose,
            "key": self.key,
            "tempo_factor": round(self.tempo_factor, 6),
            "notes_kept": self.notes_kept,
            "notes_total": self.notes_total,
            "notes_share": round(self.notes_share, 6),
            "sustain_share": round(self.sustain_share, 6),
            "chords_kept": self.chords_kept,
            "chords_total": self.chords_total,
            "cost": round(self.found.cost, 6),
            "proven": self.proven,
            "chosen": self.chosen,
        }


@dataclass(frozen=True)
class Front:
    """The points shown, fastest first. in_all: how many no other point beats."""

    points: tuple[Point, ...]
    in_all: int

    def to_json(self) -> dict[str, object]:
        """The stable JSON of `jackrail fit --front --json`, see docs/formats.md."""
        return {"in_all": self.in_all, "points": [point.to_json() for point in self.points]}


def front_of(parts: Parts, by_key: Mapping[int, Parts], keys: list[int], slowdown: float | None, found: Found) -> Front:
    """The trade-off of a tune. parts, by_key, keys, slowdown: what its fit chose from; found: what the fit found."""
    tries = [_point(parts, by_key, found, chosen=True)]
    for cut in dict.fromkeys((_ONLY_BETWEEN_EQUALS, parts.taste.cut, _AS_MUCH_AS_NOTES)):
        weighed = {key: _weighing(one, cut) for key, one in by_key.items()}
        steps = _steps(Search(_weighing(parts, cut), weighed), keys, slowdown, parts.taste.least_tempo)
        tries += [_point(parts, by_key, _priced(step, parts, cut), chosen=False) for step in steps]
    best = [tries[index] for index in unbeaten([point.scores for point in tries], _ALIKE)]
    few = spread_out([point.scores for point in best], MOST_POINTS, [index for index, point in enumerate(best) if point.chosen])
    shown = sorted((best[index] for index in few), key=lambda point: (-point.tempo_factor, -point.notes_share, -point.sustain_share))
    return Front(tuple(replace(point, number=number) for number, point in enumerate(shown, 1)), len(best))


def point_of(front: Front, number: int) -> Point:
    """The point of a number. Raises BadInput when there is none."""
    if not 1 <= number <= len(front.points):
        limit = f"1 to {len(front.points)}"
        raise BadInput(Fault("option", "there is no such point", "--point", str(number), limit, "jackrail fit --front lists them"))
    return front.points[number - 1]


def _weighing(parts: Parts, cut: float) -> Parts:
    """The same tune where a note that is cut short costs this share of leaving it out."""
    return parts.weighing(replace(parts.taste, cut=cut))


def _priced(step: Found, parts: Parts, cut: float) -> Found:
    """An arrangement that was found where a note cut short costs this share, at what it costs by the taste itself."""
    chosen = zip(parts.weights, step.notes.options, strict=True)
    cuts = step.notes.cost - sum(weight if option is None else option.cost for weight, option in chosen)
    return replace(step, cost=step.cost + cuts * (parts.taste.cut / cut - 1))


def _steps(search: Search, transpositions: list[int], slowdown: float | None, least_tempo: float) -> Iterator[Found]:
    """The best music over all keys at every tempo, as far as it changes, the slowest first.

    A key's music never costs less at a faster tempo, so what it cost at a slower one is its bound: few keys are asked at each step.
    """
    fastest, slowest = (1.0, 1.0 / least_tempo) if slowdown is None else (slowdown, slowdown)
    keys = [search.key(transpose) for transpose in transpositions]
    bounds = {key.transpose: search.floor(key.transpose) for key in keys}
    now, states = slowest, 0
    while now >= fastest and states < MOST_STATES:
        best: tuple[Key, Music] | None = None
        for key in sorted(keys, key=lambda key: bounds[key.transpose]):
            if best is not None and bounds[key.transpose] >= best[1].cost:
                break
            music = key.at(now)
            states += music.states
            bounds[key.transpose] = max(bounds[key.transpose], music.bound)
            if best is None or music.cost < best[1].cost:
                best = key, music
        assert best is not None  # noqa: S101 - a fit has at least one key
        key, music = best
        begins = max(fastest, music.steady_from)
        yield Found(key.transpose, begins, music.notes, music.chords, music.cost + search.tempo_cost(begins), music.proven)
        now = music.steady_from * BELOW


def _point(parts: Parts, by_key: Mapping[int, Parts], found: Found, *, chosen: bool) -> Point:
    """An arrangement and what it offers, its number still to be given."""
    here = by_key.get(found.transpose % 12, parts)
    taste, voices = here.taste, here.voices
    notes = with_leaving(chosen_notes(here, found), voices, early=False, least_ring_s=taste.least_ring_s)
    given_up = sum(
        weight if option is None else weight * taste.moved(option.octaves)
        for weight, option, note in zip(here.weights, found.notes.options, here.tune.notes, strict=True)
        if not note.ornamental
    )
    kept = [moment for moment, option in zip(here.moments, found.chords.options, strict=True) if option is not None]
    return Point(
        number=0,
        key=key_name(here.tune, found.transpose),
        notes_kept=sum(not note.ornamental for note in notes),
        notes_total=sum(not note.ornamental for note in here.tune.notes),
        notes_share=1.0 - given_up / here.weight,
        sustain_share=sustained(notes),
        chords_kept=sum(not moment.repeated for moment in kept),
        chords_total=sum(not moment.repeated for moment in here.moments),
        proven=found.proven,
        chosen=chosen,
        found=found,
    )
