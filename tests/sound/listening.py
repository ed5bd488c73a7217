"""Ears of the sound tests, written for them alone: they share no code with what they listen to."""

import numpy as np

from jackrail.machine.instrument import Instrument
from jackrail.performance import Performance, SoundedNote, Stroke
from jackrail.sound import render

RATE_HZ = 44100
STRING = {"id": "string", "scale_length": "610 mm", "gauge": "0.43 mm", "material": "plain steel", "open_pitch": "G3", "ring": "20 s"}


def strings(*changes):
    return Instrument.model_validate({"strings": [STRING | change for change in changes]})


def sounder(kind, pitch=None, ring="20 s", **more):
    return Instrument.model_validate({"sounders": [{"id": "sounder", "kind": kind, "ring": ring, "pitch": pitch}], **more})


def note(onset_s=0.0, duration_s=2.0, midi=55, *, cents=0.0, source="string", glide=(), strength=1.0):
    return SoundedNote(onset_s, duration_s, midi, cents, "voice", source, glide, strength)


def played(instrument, *events, end_s=0.0, rate_hz=RATE_HZ, seed=0):
    notes = tuple(event for event in events if isinstance(event, SoundedNote))
    strokes = tuple(event for event in events if isinstance(event, Stroke))
    return render(Performance(notes, strokes, end_s), instrument, rate_hz, seed)


def part(samples, from_s, to_s, rate_hz=RATE_HZ):
    return samples[round(from_s * rate_hz) : round(to_s * rate_hz)]


def peak(samples, near_hz, within=0.03, rate_hz=RATE_HZ):
    """Frequency in Hz and level in dB (of any reference) of the highest peak within +-3 % of near_hz.

    Hann window, zeros to eight times the length, parabola through the logarithms of the three highest bins.
    """
    size = 8 * len(samples)
    power = np.abs(np.fft.rfft(samples.astype(float) * np.hanning(len(samples)), size)) + 1e-12
    low, high = (round(near_hz * (1 + side * within) * size / rate_hz) for side in (-1, 1))
    top = low + int(np.argmax(power[low : high + 1]))
    left, middle, right = 20 * np.log10(power[top - 1 : top + 2])
    aside = (left - right) / (left - 2 * middle + right) / 2
    return (top + aside) * rate_hz / size, middle - (left - right) * aside / 4


def heard_hz(samples, near_hz, within=0.03, rate_hz=RATE_HZ):
    return peak(samples, near_hz, within, rate_hz)[0]


def level_db(samples, near_hz, within=0.003, rate_hz=RATE_HZ):
    return peak(samples, near_hz, within, rate_hz)[1]


def cents(low_hz, high_hz):
    return 1200 * np.log2(high_hz / low_hz)
