"""Where on a string a pitch lies: equal temperament on an ideal string, position and pitch either way.

x = L * (1 - 2^(-k/12)) for k semitones above the open string, x from the nut, L the scale length (check value: stops of
a 650 mm scale). Stretching by the bar's pressure is not in here.
"""

from __future__ import annotations

import math


def stop_position_mm(scale_length_mm: float, semitones: float) -> float:
    """Distance from the nut in mm of the stop `semitones` above the open string (0 gives 0)."""
    return scale_length_mm * -math.expm1(-semitones / 12 * math.log(2))


def semitones_at(scale_length_mm: float, position_mm: float) -> float:
    """Semitones above the open string with a bar at position_mm from the nut: 12 * log2(L / (L - x)), 0 <= x < L."""
    return 12 * math.log2(scale_length_mm / (scale_length_mm - position_mm))
