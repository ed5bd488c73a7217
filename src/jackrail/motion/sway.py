"""How a bar sways about its place under a ringing string: by what its file allows, as far as its motor comes in the time, in tune."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from jackrail.machine.geometry import semitones_at
from jackrail.machine.instrument import String
from jackrail.machine.mechanism import Carriage

from .axis import Axis

RATE_HZ = 6.0
"""Whole waves a second: the rate that listeners judge best; performers make 5.5 to 8 (J. Voice 26 (2012) 820.e19; Seashore 1938)."""
MOST_CENTS, LEAST_CENTS = 20.0, 4.0
"""To either side: more than the first sounds out of tune, less than the second is not worth the wear (judgements of ours, no source)."""


@dataclass(frozen=True)
class Sway:
    """One swing for one place: steps to either side. out_s: from the middle to one side, or back."""

    swing_steps: int
    out_s: float


def sway_at(steps: int, carriage: Carriage, string: String, axis: Axis, spare_s: float) -> Sway | None:
    """How a bar can sway that stands at some steps, None when it may not or not so far that it is heard.

    spare_s: kept free between two moves. It goes from side to side in each half wave.
    """
    if not carriage.vibrato_mm:
        return None
    most = min(int(carriage.vibrato_mm / axis.step), steps - axis.lowest, axis.highest - steps)
    pitch, length_mm = semitones_at(string.scale_length_mm, axis.position_at(steps)), string.scale_length_mm

    def sharp_cents(swing: int) -> float:
        return 100 * (semitones_at(length_mm, axis.position_at(steps + swing)) - pitch)

    swings = range(1, most + 1)
    most = min(bisect_right(swings, MOST_CENTS, key=sharp_cents), most)
    most = bisect_right(swings[:most], 0.5 / RATE_HZ - spare_s, key=lambda swing: axis.ramp.duration_s(2 * swing))
    return Sway(most, axis.ramp.duration_s(most)) if most and sharp_cents(most) >= LEAST_CENTS else None
