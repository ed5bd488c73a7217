"""What a performance sets sounding: each string or sounder, when, at what pitch, until when."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from jackrail.machine.instrument import Instrument
from jackrail.performance import Performance, SoundedNote, Stroke
from jackrail.pitch import frequency_hz

from .struck import UNPITCHED_HZ
from .track import Track

DAMP_S = 0.030
"""How long a string takes to fall silent under a finger or a felt."""

_SPREAD_S = 0.004  # from string to string under a bar that does not fall quite level,
_WIDEST_SPREAD_S = 0.024  # and from the first to the last of them


@dataclass(frozen=True)
class Sounding:
    """One source set sounding. start, damp, length: in samples; damp and length count from the start."""

    source: str
    track: Track
    start: int
    damp: int
    length: int
    strength: float


def soundings(performance: Performance, instrument: Instrument, sample_rate_hz: int) -> list[Sounding]:
    """Everything set sounding, in time order, each as long as its source rings, its note lasts or its string is left alone."""
    rings = {string.id: string.ring_s for string in instrument.strings} | {sounder.id: sounder.ring_s for sounder in instrument.sounders}

    def sounding(source: str, track: Track, onset_s: float, duration_s: float, strength: float) -> Sounding:
        damp = round(min(duration_s, rings[source]) * sample_rate_hz)
        length = round(min(duration_s + DAMP_S, rings[source]) * sample_rate_hz)
        return Sounding(source, track, round(onset_s * sample_rate_hz), damp, length, strength)

    found = [
        sounding(note.source, _note_track(note, instrument), note.onset_s, note.duration_s, note.strength) for note in performance.notes
    ]
    for stroke in performance.strokes:
        # The sources share the stroke's strength so that a full chord is as loud as one note, not louder than the tune.
        share = stroke.strength / math.sqrt(max(1, len(stroke.sources)))
        found += [
            sounding(source, _open_track(source, instrument), onset_s, math.inf, share)
            for source, onset_s in zip(stroke.sources, _spread(stroke), strict=True)
        ]
    return _cut_short(sorted(found, key=lambda one: one.start), {string.id for string in instrument.strings})


def _note_track(note: SoundedNote, instrument: Instrument) -> Track:
    sounder = instrument.sounder(note.source)
    if sounder is not None and sounder.midi is None:
        return Track(UNPITCHED_HZ[sounder.kind])
    return Track(frequency_hz(note.midi + note.cents / 100, instrument.a4_hz), note.glide)


def _open_track(source: str, instrument: Instrument) -> Track:
    """The pitch of a source that nothing stops: an open string, a sounder as it is."""
    sounder = instrument.sounder(source)
    if sounder is None:
        return Track(frequency_hz(instrument.string(source).midi, instrument.a4_hz))
    if sounder.midi is None:
        return Track(UNPITCHED_HZ[sounder.kind])
    return Track(frequency_hz(sounder.midi, instrument.a4_hz))


def _spread(stroke: Stroke) -> list[float]:
    """When each source of a stroke sounds, in s: the first on the onset, the others one after the other."""
    step_s = min(_SPREAD_S, _WIDEST_SPREAD_S / max(1, len(stroke.sources) - 1))
    return [stroke.onset_s + index * step_s for index in range(len(stroke.sources))]


def _cut_short(in_order: list[Sounding], strings: set[str]) -> list[Sounding]:
    """The same, each string silenced by its next pluck. A bell struck again keeps what already rings in it."""
    next_start: dict[str, int] = {}
    kept: list[Sounding] = []
    for one in reversed(in_order):
        left = next_start.get(one.source, one.start + one.length) - one.start
        kept.append(replace(one, length=min(one.length, left)))
        if one.source in strings:
            next_start[one.source] = one.start
    return [one for one in reversed(kept) if one.length > 0]
