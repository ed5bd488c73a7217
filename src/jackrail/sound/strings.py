"""A plucked string as the sum of its harmonic partials.

Partial n of an ideal string plucked at the fraction b of its length starts with a_n ~ sin(n*pi*b) / n^2 (Fourier series
of the string pulled to a corner) and is an exact multiple of the lowest: stiffness is left out so that the pitch is true.
The lowest partial fades by 60 dB in the string's ring time, and each higher one faster by the same step, as losses do
that take the same share of every swing. Thanks to that step partial n is the n-th power of one complex wave, so the whole
sum is a polynomial: one multiplication and one addition per partial and sample, and only one sine and cosine per sample.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from jackrail.machine.instrument import Material, String

from .track import Samples, Times, Track, blocks

PLUCK_AT = 0.2
"""Where the pick stands as a fraction of the sounding length: on a moving stop it rides along with the bar."""

PARTIALS = 40
"""More would lie 64 dB below the first at the onset, and are the first to fade."""

HIGHEST_SHARE = 0.45
"""Partials above this share of the sample rate are left out: they would fold back as wrong pitches."""

Waves = NDArray[np.complex64]

_INAUDIBLE = 1e-5  # 100 dB below the first partial: under the last bit of the 16-bit file
_DECAY_60_DB = math.log(1000.0)  # 60 dB is a factor of 1000 in amplitude

# How much faster each next partial fades, as a share of the rate of the first, for a string 0.4 mm thick. Our choice, not measured:
# steel is bright for long, nylon and gut lose their brightness at once. Thicker strings bend harder and are duller.
_LOSS: dict[Material, float] = {
    "plain steel": 0.25,
    "wound steel": 0.30,
    "phosphor bronze": 0.30,
    "brass": 0.35,
    "nylon": 0.70,
    "gut": 0.90,
}
_LOSS_GAUGE_MM = 0.4


def partial_amplitudes(count: int) -> Samples:
    """Amplitudes at the onset of partials 1 to `count`, the first being 1: sin(n*pi*b) / n^2 with b = `PLUCK_AT`."""
    n = np.arange(1, count + 1)
    return np.asarray(np.sin(n * math.pi * PLUCK_AT) / n**2 / math.sin(math.pi * PLUCK_AT), np.float32)


def pluck(string: String, track: Track, samples: int, sample_rate_hz: int) -> Samples:
    """The string plucked once and left to ring: `samples` float32 values, about 1 at the peak, starting from 0."""
    count = min(PARTIALS, int(HIGHEST_SHARE * sample_rate_hz / track.highest_hz))
    amplitudes = partial_amplitudes(count)
    fade = _DECAY_60_DB / string.ring_s
    step = fade * _LOSS[string.material] * math.sqrt(string.gauge_mm / _LOSS_GAUGE_MM)
    wave = np.zeros(samples, np.float32)
    for place, time_s in blocks(samples, sample_rate_hz):
        left = np.abs(amplitudes) * np.exp(-step * time_s[0] * np.arange(count))
        audible = amplitudes[: np.flatnonzero(left > _INAUDIBLE)[-1] + 1] if count else amplitudes
        wave[place] = _powers(_turning(track.cycles(time_s), step * time_s), audible) * np.exp((step - fade) * time_s)
    return wave


def _turning(cycles: Times, decay: Times) -> Waves:
    """e^(2*pi*i*cycles - decay). Whole cycles go before the change to float32, which then keeps the phase to 1e-6."""
    phase = (2 * math.pi * (cycles - np.floor(cycles))).astype(np.float32)
    size = np.exp(-decay.astype(np.float32))
    turning = np.empty(len(cycles), np.complex64)
    turning.real = np.cos(phase) * size
    turning.imag = np.sin(phase) * size
    return turning


def _powers(turning: Waves, amplitudes: Samples) -> Samples:
    """Imaginary part of the sum of amplitudes[n-1] * turning^n, by Horner's rule."""
    total = np.zeros_like(turning)
    for amplitude in amplitudes[::-1]:
        total += amplitude
        total *= turning
    return total.imag
