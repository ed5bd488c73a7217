"""How much of a songbook a machine plays, as it is and after each change."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

from jackrail.motion.voice import Voice
from jackrail.setting.fit import fit
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Tune

_FULL = 0.999
_CHUNK = 8


@dataclass(frozen=True)
class Played:
    """One tune on a machine. whole_tempo: the fastest at which every note of the melody is kept in its octave, None when there is none.

    notes, notes_total, tempo, cost: of the setting of least cost.
    """

    whole_tempo: float | None
    notes: int
    notes_total: int
    tempo: float
    cost: float


@dataclass(frozen=True)
class Standing:
    """A songbook on a machine. whole: how many tunes are whole at the written tempo, at 75 % and at 50 % of it."""

    tunes: int
    whole: tuple[int, int, int]
    notes: int
    notes_total: int
    tempo: float
    cost: float

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a standing in `jackrail advise --json`, see docs/formats.md."""
        return {
            "tunes": self.tunes,
            "whole_at_written_tempo": self.whole[0],
            "whole_at_75_percent": self.whole[1],
            "whole_at_50_percent": self.whole[2],
            "notes_kept": self.notes,
            "notes_total": self.notes_total,
            "median_tempo": round(self.tempo, 4),
        }


def play(tune: Tune, voices: tuple[Voice, ...]) -> Played:
    """How a tune is played: once with the notes before all else, once by the weights."""
    whole = fit(tune, voices, "", Wishes(prefer="notes", harmony="none", repeats="free"))
    lost = whole.notes_kept < whole.notes_total or whole.notes_folded
    best = fit(tune, voices, "", Wishes(harmony="written", repeats="free"))
    return Played(None if lost else whole.tempo_factor, best.notes_kept, best.notes_total, best.tempo_factor, best.cost)


def standing_of(played: Iterable[Played]) -> Standing:
    """All tunes of a songbook together."""
    rows = list(played)
    whole = [sum(row.whole_tempo is not None and row.whole_tempo >= share for row in rows) for share in (_FULL, 0.75, 0.5)]
    return Standing(
        len(rows),
        (whole[0], whole[1], whole[2]),
        sum(row.notes for row in rows),
        sum(row.notes_total for row in rows),
        statistics.median(row.tempo for row in rows) if rows else 1.0,
        sum(row.cost for row in rows),
    )


def play_all(
    tunes: Sequence[Tune], machines: Sequence[tuple[Voice, ...]], executor: Executor | None, step: Callable[[], object]
) -> list[list[Played]]:
    """How each tune is played by each of some machines, the machines outside. executor: to share the work; step: called after each part.

    What comes out does not depend on the executor.
    """
    parts = [(voices, tunes[start : start + _CHUNK]) for voices in machines for start in range(0, len(tunes), _CHUNK)]
    run = map if executor is None else partial(executor.map, chunksize=1)
    rows: list[Played] = []
    for part in run(_play_some, *zip(*parts, strict=True)) if parts else ():
        rows += part
        step()
    return [rows[n * len(tunes) : (n + 1) * len(tunes)] for n in range(len(machines))]


def parts_of(tunes: int, machines: int) -> int:
    """How many parts `play_all` makes of the work."""
    return machines * -(-tunes // _CHUNK)


def _play_some(voices: tuple[Voice, ...], tunes: Sequence[Tune]) -> list[Played]:
    return [play(tune, voices) for tune in tunes]
