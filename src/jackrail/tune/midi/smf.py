"""Standard MIDI Files (RP-001, SMF 1.0): the blocks of a file, its header and tracks.

Own reader: the faults it reports name the byte, and odd meta events that do not touch the notes become warnings
(design/readers.md has the cases). What a track holds is read in `events`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from jackrail.findings import count
from jackrail.tune.score.written import Notes

from .events import TrackReader, bad_byte
from .track import Track

_SMPTE_RATES = {24: Fraction(24), 25: Fraction(25), 29: Fraction(30000, 1001), 30: Fraction(30)}
MAX_TRACKS = 1000
MAX_EVENTS = 200_000
"""Events of one file; a long tune has three thousand."""
_MOST_STRANGERS = 8


@dataclass(slots=True)
class Smf:
    """A file. kind: format 0 to 2. ticks_per_second is set when the division is SMPTE time, else ticks_per_quarter counts."""

    kind: int
    ticks_per_quarter: int
    ticks_per_second: Fraction | None
    tracks: list[Track]

    @property
    def ticks_per_beat(self) -> Fraction:
        """Ticks a quarter note, with SMPTE division ticks a second."""
        return self.ticks_per_second or Fraction(self.ticks_per_quarter)


def read_smf(data: bytes, notes: Notes) -> Smf:
    """Decode a file. Raises BadInput with the byte of the first fault that would lose notes."""
    start, data = _unwrapped(data, notes)
    if len(data) < start + 14 or data[start : start + 4] != b"MThd":
        raise bad_byte("is no Standard MIDI File, or its header is cut short", start, hint="was it copied completely?")
    size = int.from_bytes(data[start + 4 : start + 8], "big")
    kind, declared, division = (int.from_bytes(data[at : at + 2], "big") for at in (start + 8, start + 10, start + 12))
    if size < 6 or kind > 2:
        raise bad_byte("has a header that cannot be read", start + 4, f"length {size}, format {kind}", "length 6, format 0 to 2")
    if size > 6:
        notes.say(f"the header is {size} bytes long: what stands after the first 6 was skipped")
    quarter, second = _division(division, start + 12)
    tracks = _tracks(data, start + 8 + size, notes)
    if not tracks:
        raise bad_byte("holds no track", start + 8 + size, hint="was it copied completely?")
    if len(tracks) != declared:
        notes.say(f"the header promises {count(declared, 'track')}, the file holds {len(tracks)}")
    if kind == 0 and len(tracks) > 1:
        notes.say(f"the header says one track (format 0), the file holds {len(tracks)}: they were read as sounding together (format 1)")
    return Smf(kind, quarter, second, tracks)


def _tracks(data: bytes, at: int, notes: Notes) -> list[Track]:
    tracks: list[Track] = []
    left, strangers = MAX_EVENTS, 0
    while at + 8 <= len(data):
        name, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "big")
        if name == b"MTrk":
            if len(tracks) >= MAX_TRACKS:
                raise bad_byte("has far too many tracks", at, limit=f"at most {MAX_TRACKS}")
            reader = TrackReader(data, at + 8, length, len(tracks) + 1, notes)
            tracks.append(reader.read(left))
            left -= reader.events
            if left < 0:
                raise bad_byte(f"track {len(tracks)} has far too many events", reader.at, limit=f"at most {MAX_EVENTS} in a file")
        else:
            strangers += 1
            if strangers <= _MOST_STRANGERS:
                notes.say(f"the block {name.decode('latin-1')!r} at byte {at} is no track and was skipped")
        at += 8 + length
    if strangers > _MOST_STRANGERS:
        notes.say(f"{strangers} blocks in all are no tracks and were skipped")
    return tracks


def _unwrapped(data: bytes, notes: Notes) -> tuple[int, bytes]:
    """Where MThd begins: 0, or inside a RIFF wrapper (RMID)."""
    if not data.startswith(b"RIFF"):
        return 0, data
    at = data.find(b"data", 12, 4096)
    if data[8:12] != b"RMID" or at < 0 or len(data) < at + 8:
        raise bad_byte("is a RIFF file without MIDI in it", 8, repr(data[8:12]), hint="sound recordings are no tunes")
    notes.say("the MIDI file is wrapped in RIFF (RMID): the wrapper was taken off")
    return at + 8, data


def _division(division: int, byte: int) -> tuple[int, Fraction | None]:
    """Ticks a quarter, or ticks a second for SMPTE division (bit 15 set: minus frames a second, ticks a frame)."""
    if not division & 0x8000:
        if not division:
            raise bad_byte("has a division of 0 ticks a quarter note, so no lengths", byte, hint="export the file again")
        return division, None
    frames, resolution = 256 - (division >> 8), division & 0xFF
    if frames not in _SMPTE_RATES or not resolution:
        raise bad_byte("has an SMPTE division that does not exist", byte, f"{frames} frames, {resolution} ticks", "24, 25, 29 or 30 frames")
    return 0, _SMPTE_RATES[frames] * resolution
