"""The places where a travelling bar can stand: from the maker's words to position, pitch and error in cents."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.faults import BadInput, Fault
from jackrail.pitch import parse_pitch, pitch_name
from jackrail.units import parse_quantity

from .geometry import semitones_at, stop_position_mm
from .instrument import String
from .mechanism import TravellingStop

MUTE_SHARE = 0.97
"""Share of the string's length at which a bar is so near the bridge that nothing is left to sound (common practice, no source)."""


@dataclass(frozen=True)
class Stop:
    """One place of the bar: name as in the file, mm from the nut, the MIDI key it gives, and how far off in cents."""

    name: str
    position_mm: float
    midi: int
    cents: float


def stops_of(voice: TravellingStop, string: String) -> tuple[Stop, ...]:
    """All places of `voice` on `string`, from the nut up. A bar without stops gets one place a semitone of its range.

    Raises BadInput with a fault for every stop that cannot be read or lies off the string.
    """
    if voice.range is not None:
        low, high = (parse_pitch(text) for text in voice.range)
        texts = [pitch_name(midi) for midi in range(low, high + 1)]
    else:
        texts = list(voice.stops or ())
    stops: list[Stop] = []
    faults: list[Fault] = []
    for index, text in enumerate(texts):
        try:
            stops.append(_stop(text, string))
        except BadInput as bad:
            place = "range" if voice.range is not None else f"stops[{index}]"
            faults.extend(fault.at(place) for fault in bad.faults)
    if faults:
        raise BadInput(faults[:1] if voice.range is not None else faults)
    return tuple(sorted(stops, key=lambda stop: stop.position_mm))


def _stop(text: str, string: String) -> Stop:
    if text[:1].isalpha():
        midi = parse_pitch(text)
        if midi < string.midi:
            hint = f"the open string is {string.open_pitch}: a stop can only sound higher"
            raise BadInput(Fault("range", "a stop lies below the open string", value=repr(text), hint=hint))
        return Stop(text, stop_position_mm(string.scale_length_mm, midi - string.midi), midi, 0.0)
    position_mm = parse_quantity(text, "length")
    if not 0 <= position_mm < MUTE_SHARE * string.scale_length_mm:
        limit = f"0 to {MUTE_SHARE * string.scale_length_mm:.1f} mm"
        raise BadInput(
            Fault("range", "a stop lies off the string", value=repr(text), limit=limit, hint="positions are counted from the nut")
        )
    exact = string.midi + semitones_at(string.scale_length_mm, position_mm)
    return Stop(text, position_mm, round(exact), 100 * (exact - round(exact)))
