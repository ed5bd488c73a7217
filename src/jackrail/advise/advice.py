"""All advice on a machine for a songbook: chords, stops, tuning, and what each change buys."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from jackrail.faults import BadInput, Fault
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import TravellingStop
from jackrail.motion.ensemble import make_ensemble
from jackrail.motion.voice import Voice
from jackrail.setting.fit import arrange
from jackrail.tune.model import Tune

from .bars import Advised, best_bars, best_stops
from .changes import Change, changes_of, tunings_of
from .songbook import Standing, parts_of, play_all, standing_of

SAMPLE = 10
"""Changes that take long to fit are tried on so many tunes at most, evenly drawn."""
_MOST_KEYS = 3
Progress = Callable[[int, int], object]
"""Called with how many parts of the work are done and how many there are."""


@dataclass(frozen=True)
class Bought:
    """A change and the songbook with it. beside: the machine as it is on the same tunes."""

    name: str
    caution: str
    with_it: Standing
    beside: Standing

    @property
    def cost(self) -> float:
        """What it lowers the cost of all tunes by."""
        return self.beside.cost - self.with_it.cost

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a change in `jackrail advise --json`, see docs/formats.md."""
        return {"change": self.name, "caution": self.caution, "standing": self.with_it.to_json(), "beside": self.beside.to_json()}


@dataclass(frozen=True)
class Advice:
    """What would let a machine play more of a songbook.

    now: as it is. bought: each change that lowers the cost, the most first. bars: the best chords for one bar fewer, as many and one
    more than it has. stops: the best stops. tuning: the melody string tuned otherwise, where that lowers the cost.
    """

    machine: str
    now: Standing
    bought: tuple[Bought, ...]
    bars: tuple[Advised, ...]
    stops: Advised | None
    tuning: tuple[Bought, ...]

    def to_json(self) -> dict[str, object]:
        """The stable JSON of `jackrail advise --json`, see docs/formats.md."""
        return {
            "machine": self.machine,
            "now": self.now.to_json(),
            "changes": [one.to_json() for one in self.bought],
            "chords": [one.to_json() for one in self.bars],
            "stops": None if self.stops is None else self.stops.to_json(),
            "tuning": [one.to_json() for one in self.tuning],
        }


def advise(machine: Machine, tunes: Sequence[Tune], workers: int = 1, progress: Progress | None = None, limit_s: float = 60.0) -> Advice:
    """Advice for a machine and a songbook. workers: processes; limit_s: for the choice of stops.

    Raises BadInput when there is no tune.
    """
    if not tunes:
        raise BadInput(Fault("tune", "there is no tune to advise on", hint="give tunes or books of tunes"))
    voices = make_ensemble(machine.instrument, machine.mechanism).voices
    own = [voice.chord for voice in voices if voice.part == "chord"]
    bars = best_bars(tunes, voices, (len(own) - 1, len(own), len(own) + 1)) if own else []
    changes = changes_of(machine, _wanted(tunes, voices), _not_among(own, bars))
    quick, slow, tunings = [c for c in changes if not c.slow], [c for c in changes if c.slow], tunings_of(machine)
    some = tunes[:: max(1, -(-len(tunes) // SAMPLE))]
    harmonised = [tune for tune in tunes if tune.chords]
    rounds = [(tunes, quick), (some, slow), (harmonised, tunings)]
    whole = sum(parts_of(len(on), len(tried) + 1) for on, tried in rounds if tried or on is tunes)
    with _workers(workers) as executor:
        step = _Step(whole, progress)
        now, bought = _tried(tunes, quick, voices, executor, step)
        slower = _tried(some, slow, voices, executor, step)[1] if slow else []
        tuned = _tried(harmonised, tunings, voices, executor, step)[1] if tunings and harmonised else []
    bar = next((part for part in machine.mechanism.voices if isinstance(part, TravellingStop)), None)
    return Advice(
        machine.name,
        now,
        tuple(sorted((one for one in [*bought, *slower] if one.cost > 1e-6), key=lambda one: -one.cost / one.beside.tunes)),
        tuple(bars),
        best_stops(tunes, machine.instrument, bar, limit_s) if bar is not None else None,
        tuple(sorted((one for one in tuned if one.cost > 1e-6), key=lambda one: -one.cost)),
    )


class _Step:
    """Counts the parts that are done."""

    def __init__(self, whole: int, progress: Progress | None) -> None:
        self._done, self._whole, self._progress = 0, whole, progress

    def __call__(self) -> None:
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._whole)


@contextmanager
def _workers(workers: int) -> Iterator[Executor | None]:
    if workers < 2:
        yield None
        return
    with ProcessPoolExecutor(workers) as executor:
        yield executor


def _tried(
    tunes: Sequence[Tune], changes: Sequence[Change], voices: tuple[Voice, ...], executor: Executor | None, step: _Step
) -> tuple[Standing, list[Bought]]:
    """The machine as it is, and with each change, on some tunes."""
    machines = [voices, *(change.voices for change in changes if change.voices is not None)]
    now, *then = (standing_of(played) for played in play_all(tunes, machines, executor, step))
    return now, [Bought(change.name, change.caution, standing, now) for change, standing in zip(changes, then, strict=True)]


def _wanted(tunes: Sequence[Tune], voices: tuple[Voice, ...]) -> list[int]:
    """Keys that most tunes have, where they are played best, and no voice has."""
    places = {place.midi for voice in voices for place in voice.places if voice.part == "melody" and place.midi is not None}
    found: Counter[int] = Counter()
    for tune in tunes:
        moved = arrange(tune, voices, "")[1].transpose_semitones
        found.update({note.midi + moved for note in tune.notes} - places)
    return [key for key, _ in found.most_common(_MOST_KEYS)]


def _not_among(own: Sequence[str], bars: Sequence[Advised]) -> list[str]:
    """The chords that the largest of the best sets has and the machine has not."""
    return [name for one in bars[-1:] for name in one.names if name not in own][:_MOST_KEYS]
