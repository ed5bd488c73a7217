"""A performance mixed into one signal.

Mono: the instrument stands in one place, a recording to compare with comes from one microphone, and it is half the memory.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from jackrail.machine.instrument import Instrument
from jackrail.performance import Performance

from .fitness import check
from .soundings import DAMP_S, Sounding, soundings
from .strings import pluck
from .struck import strike
from .track import Samples, Track

PEAK = 10 ** (-1 / 20)
"""-1 dBFS, so that a player that resamples does not clip."""

_CUT_S = 0.003  # the pick touches the string just before it plucks it again
_PICK_NOISE_S = 0.002
_PICK_NOISE = 0.03  # beside a string's peak of about 1


def render(performance: Performance, instrument: Instrument, sample_rate_hz: int = 44100, seed: int = 0) -> Samples:
    """The performance as heard: mono float32, shape (n,), peak at -1 dBFS, from time 0 until the last sound has died.

    seed: of the picks' noise; the same seed gives the same samples. Raises BadInput with every fault of the performance:
    "reference" for a source that the instrument lacks, "range" for times, pitches or strengths, "option" for the sample rate.
    """
    check(performance, instrument, sample_rate_hz)
    sounded = soundings(performance, instrument, sample_rate_hz)
    end = math.ceil(performance.end_s * sample_rate_hz)
    mixed = np.zeros(max([end, *(one.start + one.length for one in sounded)]), np.float32)
    _add_waves(mixed, sounded, instrument, sample_rate_hz)
    strings = {string.id for string in instrument.strings}
    _add_picks(mixed, [one for one in sounded if one.source in strings], sample_rate_hz, seed)
    peak = max(mixed.max(initial=0.0), -mixed.min(initial=0.0))
    if peak > 0:
        mixed *= np.float32(PEAK / peak)
    return mixed


def _add_waves(mixed: Samples, sounded: Iterable[Sounding], instrument: Instrument, sample_rate_hz: int) -> None:
    """Add all soundings. Those of one source and pitch are one wave, made once, as long as the longest of them."""
    alike: dict[tuple[str, Track], list[Sounding]] = defaultdict(list)
    for one in sounded:
        alike[one.source, one.track].append(one)
    damping = _falling(round(DAMP_S * sample_rate_hz))
    cut = _falling(round(_CUT_S * sample_rate_hz))
    for (source, track), group in alike.items():
        longest = max(one.length for one in group)
        sounder = instrument.sounder(source)
        if sounder is None:
            wave = pluck(instrument.string(source), track, longest, sample_rate_hz)
        else:
            wave = strike(sounder, track, longest, sample_rate_hz)
        for one in group:
            piece = wave[: one.length] * np.float32(one.strength)
            _fade(piece[one.damp : one.damp + len(damping)], damping)
            _fade(piece[-len(cut) :], cut[-len(piece) :])
            mixed[one.start : one.start + len(piece)] += piece


def _fade(part: Samples, curve: Samples) -> None:
    """Multiply part of a wave, in place, by as much of the curve as it is long."""
    part *= curve[: len(part)]


def _falling(samples: int) -> Samples:
    """From 1 down to 0 without corners: half a cosine."""
    return ((1 + np.cos(np.linspace(0, math.pi, samples))) / 2).astype(np.float32)


def _add_picks(mixed: Samples, plucked: Iterable[Sounding], sample_rate_hz: int, seed: int) -> None:
    """Add to each pluck the short scrape of its pick, never twice the same."""
    random = np.random.default_rng(seed)
    samples = round(3 * _PICK_NOISE_S * sample_rate_hz)
    fading = _PICK_NOISE * np.exp(-np.arange(samples) / (_PICK_NOISE_S * sample_rate_hz)) * _falling(samples)
    for one in plucked:
        noise = (random.uniform(-1, 1, samples) * fading * one.strength).astype(np.float32)[: one.length]
        mixed[one.start : one.start + len(noise)] += noise
