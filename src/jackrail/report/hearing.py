"""What was expected and what was heard, as panels: each sound over time, how late it was, how far off in pitch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from jackrail.checks.heard import LATE_S, NOTICED_CENTS, NOTICED_S, OFF_CENTS
from jackrail.findings import count
from jackrail.performance import WINDOW_S, Comparison, Difference
from jackrail.pitch import pitch_name
from jackrail.work import Work

from .panels import Level, MarkKind, Marks, Panel
from .scales import Banded

_EDGE = 8.0
_ROW = 17.0
_BANDS = (0.0, 12.0, 24.0, 36.0)
_MOST_CENTS = 100.0
_FAMILIES = {"melody": "hammers", "chord": "chord bars", "beat": "drums"}


@dataclass(frozen=True)
class Family:
    """Voices that share a panel, each with a row of its own: ids and the words beside their rows. pitched: can be off in pitch."""

    name: str
    rows: dict[str, str]
    pitched: bool


@dataclass(frozen=True)
class _Measure:
    """One way to be off: what it is called each way, its unit, and the limits that are drawn."""

    title: str
    over: str
    under: str
    unit: str
    aim: float
    noticed: float
    most: float

    def kind(self, value: float) -> MarkKind:
        """How bad a value is."""
        return "within" if abs(value) <= self.aim else "beyond" if abs(value) <= self.noticed else "noticed"


_LATE = _Measure("onset: later above, earlier below", "late", "early", "ms", 1000 * LATE_S, 1000 * NOTICED_S, 1000 * WINDOW_S)
_SHARP = _Measure("pitch: sharper above, flatter below", "sharp", "flat", "cents", OFF_CENTS, NOTICED_CENTS, _MOST_CENTS)


def families_of(work: Work, comparison: Comparison) -> list[Family]:
    """A family for each voice that has several places, one for all hammers, chord bars and drums each; only such as sound.

    Hammers stand by pitch, the highest on top, all others as in the machine file.
    """
    sounding = {one.voice for one in comparison.differences} | {voice for _, voice in comparison.extra}
    voices = [pair for pair in zip(work.ensemble.voice_ids, work.ensemble.voices, strict=True) if pair[0] in sounding]
    families = {name: Family(name, {name: ""}, pitched=True) for name, voice in voices if len(voice.places) > 1}
    single = [(name, voice, voice.places[0]) for name, voice in voices if len(voice.places) == 1]
    for name, voice, place in sorted(single, key=lambda one: -(one[2].midi or 0)):
        title = _FAMILIES[voice.part]
        family = families.setdefault(title, Family(title, {}, pitched=False))
        family.rows[name] = voice.chord or (place.name if place.midi is None else pitch_name(place.midi))
    return list(families.values())


def heard_panels(work: Work, comparison: Comparison) -> list[Panel]:
    """The panels of all families."""
    return [_panel(family, comparison) for family in families_of(work, comparison)]


def _panel(family: Family, comparison: Comparison) -> Panel:
    rows = {voice: _EDGE + _ROW * number for number, voice in enumerate(family.rows)}
    mine = [one for one in comparison.differences if one.voice in rows]
    late = Banded(_EDGE + _ROW * len(rows) + _BANDS[-1], (0.0, _LATE.aim, _LATE.noticed, _LATE.most), _BANDS)
    sharp = Banded(late.middle + 2 * _BANDS[-1] + _ROW, (0.0, _SHARP.aim, _SHARP.noticed, _SHARP.most), _BANDS)
    measures = [(_LATE, late), (_SHARP, sharp)] if family.pitched else [(_LATE, late)]
    levels = [Level(y, family.rows[voice], "row") for voice, y in rows.items()]
    marks = [marks for voice, y in rows.items() for marks in _in_row(voice, y, mine, comparison)]
    for measure, y in measures:
        levels += _rungs(measure, y)
        marks += _off(measure, y, mine)
    about = (
        f"{family.name}: a stroke above the line when a sound was expected, one below when it was heard; then how far off each onset was"
    )
    about += " in ms" + (", and each pitch in cents" if family.pitched else "")
    height = measures[-1][1].middle + _BANDS[-1] + 2
    return Panel(f"{family.name} · {_tally(mine, _extra(rows, comparison))}", about, height, tuple(levels), marks=tuple(marks))


def _extra(voices: Iterable[str], comparison: Comparison) -> list[float]:
    return [at_s for at_s, voice in comparison.extra if voice in voices]


def _tally(mine: Sequence[Difference], extra: Sequence[float]) -> str:
    missing = sum(one.late_s is None for one in mine)
    parts = [f"{len(mine)} expected", f"{len(mine) - missing + len(extra)} heard"]
    parts += [f"{missing} missing"] if missing else []
    parts += [f"{len(extra)} extra"] if extra else []
    return ", ".join(parts)


def _in_row(voice: str, y: float, mine: Sequence[Difference], comparison: Comparison) -> Iterator[Marks]:
    """Strokes of a voice above and below its line, and what is missing or extra."""
    own, extra = [one for one in mine if one.voice == voice], _extra((voice,), comparison)
    yield Marks("expected", tuple((one.onset_s, y) for one in own))
    yield Marks("heard", tuple((one.onset_s + one.late_s, y) for one in own if one.late_s is not None))
    for silent, run in groupby(sorted(own, key=lambda one: one.onset_s), key=lambda one: one.late_s is None):
        if silent:
            yield _run("missing", [(one.onset_s, y) for one in run], f"{voice}: expected and not heard")
    if extra:
        yield _run("extra", [(at_s, y) for at_s in extra], f"{voice}: heard and not expected")


def _run(kind: MarkKind, points: list[tuple[float, float]], words: str) -> Marks:
    first, last = points[0][0], points[-1][0]
    when = f"at {first:.2f} s" if len(points) == 1 else f"{count(len(points), 'sound')} from {first:.2f} to {last:.2f} s"
    return Marks(kind, tuple(points), f"{words}, {when}")


def _rungs(measure: _Measure, y: Banded) -> Iterator[Level]:
    """Zero, and both limits on either side."""
    yield Level(y(0.0), f"0 {measure.unit}", "zero")
    for size in (measure.aim, -measure.aim):
        yield Level(y(size), f"{size:+g}", "aim")
    for size in (measure.noticed, -measure.noticed):
        yield Level(y(size), f"{size:+g}", "limit")


def _off(measure: _Measure, y: Banded, mine: Sequence[Difference]) -> Iterator[Marks]:
    """How far off each sound is. Those in a row that are alike bad share a mark's title; those within the aim have none."""
    values = [(one, one.late_s if measure is _LATE else one.sharp_cents) for one in sorted(mine, key=lambda one: one.onset_s)]
    known = [(one, 1000 * value if measure is _LATE else value) for one, value in values if value is not None]
    for kind, group in groupby(known, key=lambda pair: measure.kind(pair[1])):
        run = list(group)
        points = [(one.onset_s, y(value)) for one, value in run]
        if kind == "within":
            yield Marks(kind, tuple(points))
        else:
            worst = max((value for _, value in run), key=abs)
            which = ", ".join(dict.fromkeys(one.voice for one, _ in run))
            yield _run(kind, points, f"{which}: {abs(worst):.1f} {measure.unit} {measure.over if worst > 0 else measure.under}")
