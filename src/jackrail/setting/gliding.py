"""How the pitch of a ringing string moves with the bar on it."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jackrail.machine.geometry import semitones_at
from jackrail.machine.instrument import String
from jackrail.motion.axis import Axis
from jackrail.motion.voice import Place
from jackrail.performance import Glide

from .legs import Leg

_GLIDE_POINTS, _SWAY_POINTS = 12, 4
_SWAYING_CENTS = 50.0
"""A move of less than half a semitone is that of a bar that sways: there are many of them, and few points tell each."""


@dataclass(frozen=True)
class BarOnString:
    """A string, the carriage of its bar and all that it does, in time order."""

    string: String
    axis: Axis
    legs: Sequence[Leg]

    def glide(self, at_s: float, until_s: float, struck: Place) -> tuple[Glide, ...]:
        """The pitch of the string, struck at `at_s` with the bar at a place, until `until_s`."""
        first, last = (bisect_left(self.legs, moment_s, key=lambda leg: leg.start_s) for moment_s in (at_s, until_s))
        points = (point for leg in self.legs[first:last] for point in self._during(leg, struck, leg.start_s - at_s))
        return tuple(point for point in points if at_s + point.after_s < until_s)

    def _during(self, leg: Leg, struck: Place, waits_s: float) -> Iterator[Glide]:
        """Pitch at steps of a move that are crowded towards both ends, where it changes speed."""
        total, sign = abs(leg.target - leg.origin), 1 if leg.target > leg.origin else -1
        points = _SWAY_POINTS if abs(self._cents(leg.target, struck) - self._cents(leg.origin, struck)) < _SWAYING_CENTS else _GLIDE_POINTS
        for index in range(points + 1):
            step = round(total * (1 - math.cos(math.pi * index / points)) / 2)
            yield Glide(waits_s + self.axis.ramp.step_time_s(step, total), self._cents(leg.origin + sign * step, struck))

    def _cents(self, steps: int, struck: Place) -> float:
        """How far the string sounds from where it was struck."""
        length_mm = self.string.scale_length_mm
        return 100 * (semitones_at(length_mm, self.axis.position_at(steps)) - semitones_at(length_mm, struck.position_mm))
