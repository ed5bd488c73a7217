"""Is this a performance that can be made audible? All that is wrong with it, at once."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from jackrail.faults import BadInput, Fault, nearest
from jackrail.machine.instrument import Instrument
from jackrail.performance import Performance, SoundedNote, Stroke

LONGEST_S = 3600.0
"""An hour is 635 MB at 44.1 kHz; a longer performance is a slip of unit."""

SAMPLE_RATES_HZ = (8000, 192_000)


def check(performance: Performance, instrument: Instrument, sample_rate_hz: int) -> None:
    """Raise BadInput with every fault that keeps `performance` from sounding on `instrument`. A NaN is out of any range."""
    faults: list[Fault] = []
    lowest, highest = SAMPLE_RATES_HZ
    if not lowest <= sample_rate_hz <= highest:
        faults.append(Fault("option", "the sample rate is out of range", "", f"{sample_rate_hz} Hz", f"{lowest} to {highest} Hz"))
    if not 0 <= performance.end_s <= LONGEST_S:
        faults.append(_time(performance.end_s, "end_s"))
    known = [string.id for string in instrument.strings] + [sounder.id for sounder in instrument.sounders]
    for index, note in enumerate(performance.notes):
        faults += [fault.at(f"note {index + 1}") for fault in (*_common(note, (note.source,), known), *_of_note(note))]
    for index, stroke in enumerate(performance.strokes):
        faults += [fault.at(f"stroke {index + 1}") for fault in _common(stroke, stroke.sources, known)]
    if faults:
        raise BadInput(faults)


def _common(event: SoundedNote | Stroke, sources: tuple[str, ...], known: list[str]) -> Iterator[Fault]:
    for source in sources:
        if source not in known:
            yield Fault("reference", "is no string or sounder of the instrument", "source", repr(source), hint=nearest(source, known))
    if not 0 <= event.onset_s <= LONGEST_S:
        yield _time(event.onset_s, "onset_s")
    if not 0 <= event.strength <= 1:
        yield Fault("range", "the strength is out of range", "strength", f"{event.strength:g}", "0 to 1")


def _of_note(note: SoundedNote) -> Iterator[Fault]:
    if not note.duration_s >= 0:
        yield Fault("range", "the duration is no time", "duration_s", f"{note.duration_s:g} s", "0 s or more")
    if not 0 <= note.midi + note.cents / 100 <= 128:
        yield Fault("range", "the pitch is out of range", "midi", f"{note.midi} and {note.cents:g} cents", "0 to 128")
    times = [0.0, *(point.after_s for point in note.glide)]
    if not all(earlier <= later for earlier, later in pairwise(times)):
        yield Fault("range", "the points of the glide are not in time order", "glide", str(times[1:]))
    if not all(abs(point.cents) <= 12_000 for point in note.glide):
        yield Fault("range", "the glide leaves all that can be heard", "glide", limit="-12000 to 12000 cents")


def _time(value: float, where: str) -> Fault:
    return Fault("range", "the time is out of range", where, f"{value:g} s", f"0 to {LONGEST_S:g} s", "times are in seconds")
