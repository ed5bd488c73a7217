"""The tune in a Standard MIDI File: which track is the melody, bars from the metre, tempo.

Melody rule. Channel 10 (drums) never counts. A track whose name has melody, lead, tune, vocal, voice, solo or right in it is
taken; else the first track with notes; in it the lowest channel. A warning names what was left out; `number` picks a track.
"""

from __future__ import annotations

import re
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import Choice, Offer
from jackrail.tune.model import Bar, KeyMark, Quarters, TempoMark, Tune, TuneNote
from jackrail.tune.score.written import Notes

from .smf import DRUMS, Smf, Track, read_smf

_MELODY = re.compile(r"melod|lead|\btune|vocal|voice|solo|\bright", re.IGNORECASE)
MAX_QUARTERS = 20_000
"""Longest tune: about three hours. More is a slip or an attack."""


def list_midi(data: bytes) -> list[Offer]:
    """Each track with notes that are no drums."""
    tracks = [track for track in read_smf(data, Notes()).tracks if _pitched(track)]
    return [Offer("track", track.number, track.name, ("--track", str(track.number))) for track in tracks]


def read_midi(data: bytes, title: str, choice: Choice) -> Tune:
    """The melody of a file. title: used when the file has none. Raises BadInput."""
    notes = Notes()
    smf = read_smf(data, notes)
    melody = melody_track(smf, choice.track, notes)
    ticks_per_quarter = Fraction(smf.ticks_per_quarter)
    if smf.ticks_per_second is not None:
        ticks_per_quarter = smf.ticks_per_second  # with 60 quarters a minute below, a quarter is a second
        notes.say("times are in seconds (SMPTE division): a quarter note stands for one second, there are no bars")
    conductors = [melody] if smf.kind == 2 else smf.tracks
    channel = min(_pitched(melody))
    scale = _Scale(ticks_per_quarter)
    sounding = _joined(melody.notes[channel], scale)
    end_q = max(note.onset_q + note.duration_q for note in sounding)
    if end_q > MAX_QUARTERS:
        raise BadInput(Fault("range", "is far too long for a tune", value=f"{float(end_q):.0f} quarters", limit=f"at most {MAX_QUARTERS}"))
    keys = sorted(mark for track in conductors for mark in track.keys)
    return Tune(
        title=smf.tracks[0].name or title,
        notes=sounding,
        tempo=_tempo(smf, conductors, scale, end_q, notes),
        bars=() if smf.ticks_per_second is not None else _bars(conductors, scale, end_q, notes),
        keys=tuple(
            KeyMark(scale.quarters(tick) if index else Fraction(0), sharps, "minor" if minor else "major")
            for index, (tick, (sharps, minor)) in enumerate(keys)
            if scale.quarters(tick) < end_q or not index
        ),
        warnings=notes.sentences(),
    )


class _Scale:
    """Ticks as quarters."""

    def __init__(self, ticks_per_quarter: Fraction) -> None:
        self._per_tick = 1 / ticks_per_quarter

    def quarters(self, ticks: int) -> Quarters:
        return ticks * self._per_tick


def _pitched(track: Track) -> list[int]:
    return [channel for channel in track.notes if channel != DRUMS]


def melody_track(smf: Smf, number: int | None, notes: Notes) -> Track:
    """The track to play, by the rule above. Raises BadInput when there is none."""
    candidates = [track for track in smf.tracks if _pitched(track)]
    if any(DRUMS in track.notes for track in smf.tracks):
        notes.say("drums (channel 10) are left out")
    if not candidates:
        raise BadInput(Fault("tune", "the file holds no note that sounds", hint="drums (channel 10) do not count"))
    if number is not None:
        chosen = next((track for track in candidates if track.number == number), None)
        if chosen is None:
            known = ", ".join(str(track.number) for track in candidates)
            raise BadInput(Fault("option", "has no notes in the track asked for", value=f"track {number}", limit=f"tracks {known}"))
    else:
        chosen = next((track for track in candidates if _MELODY.search(track.name)), candidates[0])
    others = [track for track in candidates if track is not chosen]
    if others:
        why = "asked for" if number is not None else "named like a melody" if _MELODY.search(chosen.name) else "the first with notes"
        rest = ", ".join(f"{track.number} ({track.name or 'no name'})" for track in others[:6]) + (" ..." if len(others) > 6 else "")
        notes.say(f"track {chosen.number} ({chosen.name or 'no name'}) was read, {why}; left out: {rest}; give a track number for another")
    channels = sorted(_pitched(chosen))
    if len(channels) > 1:
        rest = ", ".join(str(channel + 1) for channel in channels[1:])
        notes.say(f"track {chosen.number}: channel {channels[0] + 1} was read, the lowest; left out: channels {rest}")
    return chosen


def _joined(raw: list[tuple[int, int, int]], scale: _Scale) -> tuple[TuneNote, ...]:
    quarters = scale.quarters
    return tuple(TuneNote(quarters(on), quarters(off - on), key) for on, off, key in sorted(raw, key=lambda note: (note[0], note[2])))


def _tempo(smf: Smf, conductors: list[Track], scale: _Scale, end_q: Quarters, notes: Notes) -> tuple[TempoMark, ...]:
    """The tempo map; the first tempo counts from 0 on, before it 120 (RP-001)."""
    if smf.ticks_per_second is not None:
        return (TempoMark(Fraction(0), 60.0),)
    marks: dict[Quarters, float] = {Fraction(0): 120.0}
    written = sorted(mark for track in conductors for mark in track.tempos)
    if not written:
        notes.say("no tempo is written: 120 quarter notes a minute are taken")
    for tick, us_per_quarter in written:
        if (onset_q := scale.quarters(tick)) < end_q:
            marks[onset_q] = 60_000_000 / us_per_quarter
    return tuple(TempoMark(onset_q, rate) for onset_q, rate in marks.items())


def _bars(conductors: list[Track], scale: _Scale, end_q: Quarters, notes: Notes) -> tuple[Bar, ...]:
    """Bars counted from tick 0 by the metres of the file; a new metre begins a new bar."""
    written = sorted(mark for track in conductors for mark in track.metres)
    if not written:
        notes.say("no metre is written: bars are counted in 4/4")
    marks: dict[Quarters, tuple[int, int]] = {Fraction(0): (4, 4)}
    marks.update({scale.quarters(tick): metre for tick, metre in written})
    starts = [*marks, max(end_q, *marks)]
    bars: list[Bar] = []
    for (start_q, (beats, unit)), until_q in zip(marks.items(), starts[1:], strict=True):
        full_q, onset_q = Fraction(4 * beats, unit), start_q
        while onset_q < min(until_q, end_q):
            length_q = full_q if until_q >= end_q else min(full_q, until_q - onset_q)
            bars.append(Bar(onset_q, length_q, len(bars) + 1, beats, unit))
            onset_q += length_q
        if len(bars) > MAX_QUARTERS:
            raise BadInput(Fault("range", "has far too many bars", limit=f"at most {MAX_QUARTERS}"))
    return tuple(bars)
