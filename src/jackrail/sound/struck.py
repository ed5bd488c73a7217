"""Bells, bars, drums and blocks as sums of the modes they vibrate in.

Each kind has its mode frequencies as ratios to the pitch it is named for. Every mode loses the same share of each swing,
so one twice as high fades twice as fast; the lowest fades by 60 dB in the sounder's ring time.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from jackrail.machine.instrument import Sounder

from .strings import HIGHEST_SHARE
from .track import Samples, Track, blocks


class Mode(NamedTuple):
    """ratio: frequency over that of the pitch; level: amplitude at the stroke."""

    ratio: float
    level: float


# Levels are our choice, not measured. Ratios of a bell: hum, prime, tierce, quint, nominal, twelfth, upper octave of a bell tuned to
# the minor third. Bar: free at both ends, roots of cos(x)*cosh(x) = 1, squared. Drum: zeros of the Bessel functions in
# the order (0,1) (1,1) (2,1) (0,2) (3,1) (1,2), an ideal circular membrane struck off its centre. Block: our choice.
MODES: dict[str, tuple[Mode, ...]] = {
    "bell": (Mode(0.5, 0.3), Mode(1, 1), Mode(1.2, 0.6), Mode(1.5, 0.25), Mode(2, 0.8), Mode(3, 0.3), Mode(4.2, 0.15)),
    "bar": (Mode(1, 1), Mode(2.7565, 0.35), Mode(5.4039, 0.15)),
    "drum": (Mode(1, 1), Mode(1.5933, 0.6), Mode(2.1355, 0.4), Mode(2.2954, 0.3), Mode(2.6531, 0.2), Mode(2.9173, 0.15)),
    "block": (Mode(1, 1), Mode(1.52, 0.5), Mode(2.6, 0.3), Mode(4.1, 0.15)),
}

UNPITCHED_HZ: dict[str, float] = {"bell": 880.0, "bar": 523.0, "drum": 110.0, "block": 750.0}
"""Where a sounder without a pitch has its mode of ratio 1: a choice of ours, only to be told apart by ear."""


def strike(sounder: Sounder, track: Track, samples: int, sample_rate_hz: int) -> Samples:
    """The sounder struck once and left to ring: `samples` float32 values, at most about 1 at the peak, starting from 0."""
    modes = [mode for mode in MODES[sounder.kind] if mode.ratio * track.highest_hz < HIGHEST_SHARE * sample_rate_hz]
    loudest = sum(mode.level for mode in MODES[sounder.kind])
    lowest = min(mode.ratio for mode in MODES[sounder.kind])
    wave = np.zeros(samples, np.float32)
    for place, time_s in blocks(samples, sample_rate_hz):
        cycles = track.cycles(time_s)
        for mode in modes:
            turned = mode.ratio * cycles
            fade = math.log(1000.0) / sounder.ring_s * mode.ratio / lowest
            phase = (2 * math.pi * (turned - np.floor(turned))).astype(np.float32)
            wave[place] += mode.level / loudest * np.exp((-fade * time_s).astype(np.float32)) * np.sin(phase)
    return wave
