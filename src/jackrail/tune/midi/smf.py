"""Standard MIDI Files (RP-001, SMF 1.0) as tracks of notes and marks, in ticks.

Own reader: the faults it reports name the byte, and odd meta events that do not touch the notes become warnings
(design/readers.md has the cases).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line
from jackrail.tune.score.written import Notes

DRUMS = 9
"""Channel 10 counted from 0: the drums of General MIDI."""
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_SMPTE_RATES = {24: Fraction(24), 25: Fraction(25), 29: Fraction(30000, 1001), 30: Fraction(30)}
MAX_TRACKS = 1000
MAX_EVENTS = 300_000
"""Events of one track; a long tune has three thousand."""
_COPY = "was it copied completely? export it again"
_DAMAGED = "the file is damaged; export it again"


@dataclass(slots=True)
class Track:
    """One track. notes: channel -> list of (on, off, key) in ticks; tempos in us a quarter; keys as (sharps, minor)."""

    number: int
    name: str = ""
    notes: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, tuple[int, int]]] = field(default_factory=list)
    keys: list[tuple[int, tuple[int, bool]]] = field(default_factory=list)


@dataclass(slots=True)
class Smf:
    """A file. ticks_per_second is set when the division is SMPTE time, else ticks_per_quarter counts."""

    kind: int
    ticks_per_quarter: int
    ticks_per_second: Fraction | None
    tracks: list[Track]


def read_smf(data: bytes, notes: Notes) -> Smf:
    """Decode a file. Raises BadInput with the byte of the first fault that would lose notes."""
    start, data = _unwrapped(data, notes)
    if len(data) < start + 14 or data[start : start + 4] != b"MThd":
        raise _bad("is no Standard MIDI File, or its header is cut short", start, hint="was it copied completely?")
    size = int.from_bytes(data[start + 4 : start + 8], "big")
    kind, declared, division = (int.from_bytes(data[at : at + 2], "big") for at in (start + 8, start + 10, start + 12))
    if size < 6 or kind > 2:
        raise _bad("has a header that cannot be read", start + 4, f"length {size}, format {kind}", "length 6, format 0 to 2")
    if size > 6:
        notes.say(f"the header is {size} bytes long: what stands after the first 6 was skipped")
    quarter, second = _division(division, start + 12)
    tracks: list[Track] = []
    at = start + 8 + size
    while at + 8 <= len(data):
        name, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "big")
        if name == b"MTrk":
            if len(tracks) >= MAX_TRACKS:
                raise _bad("has far too many tracks", at, limit=f"at most {MAX_TRACKS}")
            tracks.append(_TrackReader(data, at + 8, length, len(tracks) + 1, notes).read())
        else:
            notes.say(f"the block {name.decode('latin-1')!r} at byte {at} is no track and was skipped")
        at += 8 + length
    if not tracks:
        raise _bad("holds no track", start + 8 + size, hint="was it copied completely?")
    if len(tracks) != declared:
        notes.say(f"the header promises {declared} tracks, the file holds {len(tracks)}")
    return Smf(kind, quarter, second, tracks)


def _bad(what: str, byte: int, value: str = "", limit: str = "", hint: str = "") -> BadInput:
    return BadInput(Fault("format", what, f"byte {byte}", value, limit, hint))


def _unwrapped(data: bytes, notes: Notes) -> tuple[int, bytes]:
    """Where MThd begins: 0, or inside a RIFF wrapper (RMID)."""
    if not data.startswith(b"RIFF"):
        return 0, data
    at = data.find(b"data", 12, 4096)
    if data[8:12] != b"RMID" or at < 0 or len(data) < at + 8:
        raise _bad("is a RIFF file without MIDI in it", 8, repr(data[8:12]), hint="sound recordings are no tunes")
    notes.say("the MIDI file is wrapped in RIFF (RMID): the wrapper was taken off")
    return at + 8, data


def _division(division: int, byte: int) -> tuple[int, Fraction | None]:
    """Ticks a quarter, or ticks a second for SMPTE division (bit 15 set: minus frames a second, ticks a frame)."""
    if not division & 0x8000:
        if not division:
            raise _bad("has a division of 0 ticks a quarter note, so no lengths", byte, hint="export the file again")
        return division, None
    frames, resolution = 256 - (division >> 8), division & 0xFF
    if frames not in _SMPTE_RATES or not resolution:
        raise _bad("has an SMPTE division that does not exist", byte, f"{frames} frames, {resolution} ticks", "24, 25, 29 or 30 frames")
    return 0, _SMPTE_RATES[frames] * resolution


class _TrackReader:
    """Decodes the events of one track: `length` bytes from `start`, as its block says, or what the file has of them."""

    def __init__(self, data: bytes, start: int, length: int, number: int, notes: Notes) -> None:
        self.data, self.at, self.end = data, start, min(start + length, len(data))
        self.cut_short = start + length > len(data)
        self.track = Track(number)
        self.notes = notes
        self.tick = 0
        self.sounding: dict[tuple[int, int], int] = {}
        self.ended = False

    def read(self) -> Track:
        status = 0
        events = 0
        while self.at < self.end and not self.ended:
            events += 1
            if events > MAX_EVENTS:
                raise _bad(f"track {self.track.number} has far too many events", self.at, limit=f"at most {MAX_EVENTS}")
            self.tick += self._quantity()
            status = self._event(status)
        if not self.ended and self.cut_short:
            raise _bad(f"track {self.track.number} breaks off before its end, so notes are missing", self.at, hint=_COPY)
        if not self.ended:
            self.notes.say(f"track {self.track.number} has no end mark")
        elif self.cut_short:
            self.notes.say(f"track {self.track.number} says it is longer than the file: read to its end mark")
        for (_, key), tick in sorted(self.sounding.items(), key=lambda item: item[1]):
            self.notes.say(f"track {self.track.number}: key {key}, struck at tick {tick}, is never released and is left out")
        return self.track

    def _byte(self) -> int:
        if self.at >= self.end:
            what = f"track {self.track.number} breaks off inside an event, so notes are missing"
            raise _bad(what, self.at, hint=_COPY)
        self.at += 1
        return self.data[self.at - 1]

    def _quantity(self) -> int:
        """A variable-length quantity: seven bits a byte, at most four bytes."""
        value = 0
        for _ in range(4):
            byte = self._byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise _bad("has a number of more than four bytes", self.at - 4, hint=_DAMAGED)

    def _event(self, status: int) -> int:
        """Read one event; the running status after it (0: none), which sysex and meta events end."""
        first = self._byte()
        if first == 0xFF:
            self._meta()
            return 0
        if first in {0xF0, 0xF7}:
            self._skip(self._quantity())
            return 0
        if first >= 0xF0:
            raise _bad("has a system message that a file cannot hold", self.at - 1, f"{first:02X}", hint=_DAMAGED)
        if first < 0x80:
            if not status:
                raise _bad("has data without a status byte before it", self.at - 1, f"{first:02X}", hint=_DAMAGED)
            self.at -= 1
        else:
            status = first
        size = _DATA_BYTES[status >> 4]
        values = [self._byte() for _ in range(size)]
        if max(values) > 0x7F:
            value = " ".join(f"{byte:02X}" for byte in values)
            raise _bad("has a data byte with its top bit set", self.at - size, value, "00 to 7F", _DAMAGED)
        self._channel(status >> 4, status & 0xF, values)
        return status

    def _skip(self, size: int) -> bytes:
        if self.at + size > self.end:
            raise _bad(f"track {self.track.number} breaks off inside an event", self.at, hint=_COPY)
        self.at += size
        return self.data[self.at - size : self.at]

    def _channel(self, kind: int, channel: int, values: list[int]) -> None:
        if kind == 0x9 and values[1]:
            self._release(channel, values[0], struck_again=True)
            self.sounding[channel, values[0]] = self.tick
        elif kind in {0x8, 0x9}:
            self._release(channel, values[0], struck_again=False)
        elif kind == 0xE and values != [0, 0x40] and channel != DRUMS:
            self.notes.say(f"pitch bends in track {self.track.number} are not followed")

    def _release(self, channel: int, key: int, *, struck_again: bool) -> None:
        on = self.sounding.pop((channel, key), None)
        if on is None:
            return
        if on == self.tick:
            self.notes.count("notes of no length are left out", f"track {self.track.number} tick {on}")
            return
        if struck_again and channel != DRUMS:
            self.notes.count("a key struck again while it sounds ends its first note", f"track {self.track.number} tick {self.tick}")
        self.track.notes.setdefault(channel, []).append((on, self.tick, key))

    def _meta(self) -> None:
        start = self.at
        kind, body = self._byte(), self._skip(self._quantity())
        track = self.track
        if kind == 0x2F:
            self.ended = True
        elif kind == 0x03 and not track.name:
            track.name = one_line(body.decode("utf-8", "replace"))
        elif kind == 0x51:
            tempo = int.from_bytes(body, "big")
            if len(body) == 3 and tempo:
                track.tempos.append((self.tick, tempo))
            else:
                self.notes.say(f"a tempo of {tempo} at byte {start} cannot be and is left out")
        elif kind == 0x58:
            if len(body) >= 2 and 1 <= body[0] <= 64 and body[1] <= 6:
                track.metres.append((self.tick, (body[0], 2 ** body[1])))
            else:
                self.notes.say(f"the metre at byte {start} cannot be read and is left out")
        elif kind == 0x59:
            sharps = body[0] - 256 if body and body[0] > 127 else body[0] if body else 99
            if len(body) == 2 and abs(sharps) <= 7 and body[1] <= 1:
                track.keys.append((self.tick, (sharps, body[1] == 1)))
            else:
                self.notes.say(f"the key signature at byte {start} cannot be read and is left out")
