"""The trade-off drawn: tempo to the right, notes upwards, and how long notes ring as the size of each point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from jackrail.advise.gains import Gain
from jackrail.setting.front import Front, Point

from .numbers import Table
from .scales import Linear
from .svg import tag

_WIDTH, _HEIGHT = 520.0, 300.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 18.0, 16.0, 44.0
_SMALLEST, _LARGEST = 3.5, 9.0
_RUNGS = 5
_MOST_GAINS = 8


@dataclass(frozen=True)
class TradeOff:
    """The drawing, and the same as a table."""

    drawing: Markup
    table: Table


def trade_off(front: Front, taken: int | None = None) -> TradeOff | None:
    """The trade-off of a tune; None where one point beats all others and there is nothing to choose.

    taken: number of the point that is played, when it is not the setting of least cost.
    """
    if len(front.points) < 2:
        return None
    played = taken or next((point.number for point in front.points if point.chosen), 0)
    return TradeOff(_drawing(front.points, played), _table(front.points, played))


def gains_table(gains: Sequence[Gain]) -> Table:
    """What single changes to the machine would gain for this tune, the most first."""
    rows = tuple(
        (gain.name, _gained(100 * gain.tempo, " points", 1), _gained(gain.notes), _gained(gain.chords), gain.caution or "nothing known")
        for gain in gains[:_MOST_GAINS]
    )
    none = "No single change of the machine that is tried would gain anything for this tune."
    heads = ("Change", "Tempo", "Notes", "Chords", "What it strains")
    return Table("What it would take: what single changes to the machine would gain", heads, rows, none)


def _gained(value: float, unit: str = "", decimals: int = 0) -> str:
    text = f"{value:+.{decimals}f}"
    return f"{text}{unit}" if float(text) else "the same"


def _table(points: Sequence[Point], played: int) -> Table:
    heads = ("Point", "Tempo", "Notes", "Weight of notes", "Ringing", "Chords", "Key")
    rows = tuple(
        (
            f"{point.number}, played" if point.number == played else str(point.number),
            f"{100 * point.tempo_factor:.3g} %",
            f"{point.notes_kept} of {point.notes_total}",
            f"{100 * point.notes_share:.1f} %",
            f"{100 * point.sustain_share:.0f} %",
            f"{point.chords_kept} of {point.chords_total}" if point.chords_total else "none",
            point.key,
        )
        for point in points
    )
    return Table("Each point of the drawing: --point N plays it", heads, rows)


def _drawing(points: Sequence[Point], played: int) -> Markup:
    across = Linear(*_span([100 * point.tempo_factor for point in points]), _LEFT, _WIDTH - _RIGHT)
    up = Linear(*_span([100 * point.notes_share for point in points]), _HEIGHT - _BOTTOM, _TOP)
    shown = sorted(points, key=lambda point: -point.sustain_share)
    return tag(
        "svg",
        tag("title", "Tempo against notes"),
        *_axes(across, up),
        *(_mark(point, across, up, played) for point in shown),
        *_numbers(points, across, up),
        viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}",
        role="img",
        class_="trade-off",
    )


def _span(values: Sequence[float]) -> tuple[float, float]:
    """From the least to the largest, a little wider, no wider than 0 to 100 beyond what there is."""
    low, high = min(values), max(values)
    wider = max(0.06 * (high - low), 0.5)
    return max(0.0, low - wider), max(high, min(100.0, high + wider))


def _axes(across: Linear, up: Linear) -> list[Markup]:
    """Both axes with rungs at round values, named."""
    parts = []
    for value in _round_values(across.low, across.high):
        x = across(value)
        parts.append(tag("line", x1=x, x2=x, y1=_TOP, y2=_HEIGHT - _BOTTOM, class_="rung"))
        parts.append(tag("text", f"{value:g} %", x=x, y=_HEIGHT - _BOTTOM + 15, class_="across"))
    for value in _round_values(up.low, up.high):
        y = up(value)
        parts.append(tag("line", x1=_LEFT, x2=_WIDTH - _RIGHT, y1=y, y2=y, class_="rung"))
        parts.append(tag("text", f"{value:g} %", x=_LEFT - 6, y=y + 4, class_="up"))
    parts.append(tag("text", "tempo, of the written one", x=(_LEFT + _WIDTH - _RIGHT) / 2, y=_HEIGHT - 8, class_="across name"))
    middle = (_TOP + _HEIGHT - _BOTTOM) / 2
    parts.append(tag("text", "notes, by weight", x=13, y=middle, transform=f"rotate(-90 13 {middle:g})", class_="across name"))
    return parts


def _round_values(low: float, high: float) -> list[float]:
    """A handful of round values between two: steps of 1, 2 or 5 times a power of ten."""
    step = next(step for step in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if (high - low) / step <= _RUNGS)
    first = math.ceil(low / step - 1e-9)
    return [round(step * n, 1) for n in range(first, math.floor(high / step + 1e-9) + 1)]


def _mark(point: Point, across: Linear, up: Linear, played: int) -> Markup:
    """A point, the larger the longer its notes ring; the one that is played filled."""
    told = (
        f"point {point.number}: {100 * point.tempo_factor:.3g} % of the tempo, {point.notes_kept} of {point.notes_total} notes, "
        f"ringing {100 * point.sustain_share:.0f} % of their length"
    )
    size = _SMALLEST + (_LARGEST - _SMALLEST) * point.sustain_share
    place = {"cx": across(100 * point.tempo_factor), "cy": up(100 * point.notes_share), "r": size}
    return tag("circle", tag("title", told), **place, class_="point played" if point.number == played else "point")


def _numbers(points: Sequence[Point], across: Linear, up: Linear) -> list[Markup]:
    """The number of each point to its upper right, or upper left at the edge."""
    parts = []
    for point in points:
        x, y = across(100 * point.tempo_factor), up(100 * point.notes_share)
        inside = x < _WIDTH - _RIGHT - 20
        parts.append(tag("text", str(point.number), x=x + 9 if inside else x - 9, y=y - 6, class_="number" if inside else "number left"))
    return parts
