"""Supply rails in a rehearsal, as panels: the lowest voltage and the highest current of every moment that can be told apart."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from jackrail.machine.board import Rail
from jackrail.machine.machine import Machine
from jackrail.rehearsal.model import RailTrace, Rehearsal

from .panels import Level, Panel, PathKind
from .scales import Linear, Point

_HEIGHT = 34.0
_MARGIN = 3.0
_HEADROOM = 0.05
"""Share of the nominal voltage that is drawn beyond what the voltage is compared with."""


def supply_panels(machine: Machine, rehearsal: Rehearsal, moment_s: float) -> list[Panel]:
    """Voltage and current of each rail that was watched while the tune was played. moment_s: what can be told apart."""
    panels = []
    for trace in rehearsal.rails:
        if len(trace.time_s) and trace.time_s[-1] > 0:
            rail = machine.supply.rail(trace.rail)
            panels += [_voltage(rail, trace, moment_s), _current(rail, trace, moment_s)]
    return panels


def _voltage(rail: Rail, trace: RailTrace, moment_s: float) -> Panel:
    nominal_v, needed_v = rail.voltage_v, trace.needed_v
    low_v = min(trace.lowest_v, needed_v or 0.8 * nominal_v) - _HEADROOM * nominal_v
    y = Linear(low_v, (1 + _HEADROOM) * nominal_v, _HEIGHT - _MARGIN, _MARGIN)
    levels = [Level(y(nominal_v), f"{nominal_v:g} V", "zero")]
    if needed_v:
        levels.append(Level(y(needed_v), f"{needed_v:g} V", "limit"))
    need = f", above the dashed line of {needed_v:g} V that its motor drivers need" if needed_v else ""
    points = _extremes(trace.time_s, trace.voltage_v, moment_s, np.minimum)
    about = f"rail {rail.id}: its lowest voltage from moment to moment{need}"
    title = f"rail {rail.id} · voltage, {trace.lowest_v:.2f} V at least"
    return _panel((title, about), tuple(levels), y, points, "voltage")


def _current(rail: Rail, trace: RailTrace, moment_s: float) -> Panel:
    y = Linear(0.0, max(rail.limit_a, trace.highest_a), _HEIGHT - _MARGIN, _MARGIN)
    levels = (Level(y(0.0), "0 A", "zero"), Level(y(rail.limit_a), f"{rail.limit_a:g} A", "limit"))
    points = _extremes(trace.time_s, trace.current_a, moment_s, np.maximum)
    about = f"rail {rail.id}: its highest current (means of a millisecond), below the dashed line of what it can give"
    title = f"rail {rail.id} · current, {trace.highest_a:.2f} A at most"
    return _panel((title, about), levels, y, points, "current")


def _panel(words: tuple[str, str], levels: tuple[Level, ...], y: Linear, points: list[Point], kind: PathKind) -> Panel:
    path = tuple((at_s, y(value)) for at_s, value in points)
    return Panel(words[0], words[1], _HEIGHT, levels, path=path, path_kind=kind, path_title=words[0])


def _extremes(time_s: NDArray[Any], values: NDArray[Any], moment_s: float, worse: np.ufunc) -> list[Point]:
    """The worst value of each moment from time zero on, as a step line in which thinning hides no peak.

    The plant takes no samples while all is at rest: then the last value holds.
    """
    played = time_s >= 0
    known = values[played].astype(float)
    moments = (time_s[played] / moment_s).astype(np.int64)
    firsts = np.flatnonzero(np.diff(moments, prepend=-1))
    lasts = np.append(firsts[1:], len(moments)) - 1
    points: list[Point] = [(0.0, float(values[~played][-1]))] if not played.all() else []
    for moment, worst, last in zip(moments[firsts].tolist(), worse.reduceat(known, firsts).tolist(), known[lasts].tolist(), strict=True):
        start_s, end_s = moment * moment_s, (moment + 1) * moment_s
        rest = [(start_s, points[-1][1])] if points else []
        points += [*rest, (start_s, worst), (end_s, worst), (end_s, last)]
    return points
