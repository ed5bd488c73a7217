"""The events of one track of a Standard MIDI File (RP-001, SMF 1.0), read into a `Track`."""

from __future__ import annotations

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line
from jackrail.tune.score.written import Notes

from .sounding import Sounding
from .track import CUE, LYRIC, MARKER, TEXT, Track

_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_LONGEST_TEXT = 60
_COPY = "was it copied completely? export it again"
_DAMAGED = "the file is damaged; export it again"


def bad_byte(what: str, byte: int, value: str = "", limit: str = "", hint: str = "") -> BadInput:
    """What is wrong with a file, by the byte where it is."""
    return BadInput(Fault("format", what, f"byte {byte}", value, limit, hint))


def text_of(raw: bytes) -> str:
    """A text as one line: UTF-8, else Latin-1 (RP-001 asks for ASCII and allows others)."""
    try:
        return one_line(raw.decode("utf-8"))
    except UnicodeDecodeError:
        return one_line(raw.decode("latin-1"))


class TrackReader:
    """Decodes the events of one track: `length` bytes from `start`, as its block says, or what the file has of them."""

    def __init__(self, data: bytes, start: int, length: int, number: int, notes: Notes) -> None:
        self.data, self.at, self.end = data, start, min(start + length, len(data))
        self.cut_short = start + length > len(data)
        self.track = Track(number)
        self.events = 0
        self._notes = notes
        self._tick = 0
        self._sounding = Sounding(self.track, notes)
        self._parameter: dict[int, list[int]] = {}  # channel -> registered parameter chosen
        self._packet_open = False
        self._ended = False

    def read(self, most: int) -> Track:
        """The track, or what the first `most` events and one hold of it; `events` says how many there were. Raises BadInput."""
        self._read_events(most)
        if not self._ended and self.cut_short:
            raise bad_byte(f"track {self.track.number} breaks off before its end, so notes are missing", self.at, hint=_COPY)
        if not self._ended:
            self._sounding.odd(f"track {self.track.number} has no end mark")
        elif self.cut_short:
            self._sounding.odd(f"track {self.track.number} says it is longer than the file: read to its end mark")
        self._sounding.end()
        return self.track

    def _byte(self) -> int:
        if self.at >= self.end:
            what = f"track {self.track.number} breaks off inside an event, so notes are missing"
            raise bad_byte(what, self.at, hint=_COPY)
        self.at += 1
        return self.data[self.at - 1]

    def _quantity(self) -> int:
        """A variable-length quantity: seven bits a byte, at most four bytes."""
        value = 0
        start = self.at
        for byte in self.data[start : min(start + 4, self.end)]:
            value = value << 7 | byte & 0x7F
            self.at += 1
            if byte < 0x80:
                return value
        if self.at < start + 4:
            raise bad_byte(f"track {self.track.number} breaks off inside an event, so notes are missing", self.at, hint=_COPY)
        raise bad_byte("has a number of more than four bytes", start, hint=_DAMAGED)

    def _read_events(self, most: int) -> None:
        """The one loop that sees every event; running status (0: none) is ended by sysex and meta events."""
        data, end, sounding, velocities = self.data, self.end, self._sounding, self.track.velocities
        status = 0
        while self.at < end and not self._ended and self.events <= most:
            self.events += 1
            delta = data[self.at]
            if delta < 0x80:
                self.at += 1
            else:
                delta = self._quantity()
            self._tick += delta
            first = data[self.at] if self.at < end else self._byte()
            if first >= 0x80:
                self.at += 1
                if first >= 0xF0:
                    self._long_event(first)
                    status = 0
                    continue
                status = first
            elif not status:
                raise bad_byte("has data without a status byte before it", self.at, f"{first:02X}", hint=_DAMAGED)
            at = self.at
            kind, channel = status >> 4, status & 0xF
            self.at += _DATA_BYTES[kind]
            if self.at > end:
                raise bad_byte(f"track {self.track.number} breaks off inside an event, so notes are missing", end, hint=_COPY)
            one, two = data[at], data[self.at - 1]
            if one | two > 0x7F:
                raise bad_byte("has a data byte with its top bit set", at, data[at : self.at].hex(" ").upper(), "00 to 7F", _DAMAGED)
            if kind == 0x9 and two:
                sounding.strike(self._tick, channel, one)
                velocities[channel, self._tick, one] = two
            elif kind <= 0x9:
                sounding.release(self._tick, channel, one)
            else:
                self._turned(kind, channel, one, two)

    def _skip(self, size: int) -> bytes:
        if self.at + size > self.end:
            raise bad_byte(f"track {self.track.number} breaks off inside an event", self.at, hint=_COPY)
        self.at += size
        return self.data[self.at - size : self.at]

    def _long_event(self, first: int) -> None:
        """A meta event, or system exclusive data whole or in packets (F0 begins, F7 goes on or sends any bytes)."""
        if first == 0xFF:
            self._meta()
            return
        start = self.at - 1
        if first not in {0xF0, 0xF7}:
            raise bad_byte("has a system message that a file cannot hold", start, f"{first:02X}", hint=_DAMAGED)
        body = self._skip(self._quantity())
        if first == 0xF7 and not self._packet_open:
            if body and 0x80 <= body[0] < 0xF0:
                self._notes.count("notes or controls hidden in an escape event (F7) are not read", f"byte {start}")
            return
        self._packet_open = not body.endswith(b"\xf7")

    def _turned(self, kind: int, channel: int, number: int, value: int) -> None:
        """A program, a pitch bend or a controller."""
        track = self.track
        if kind == 0xC:
            track.programs.setdefault(channel, number)
        elif kind == 0xE:
            if (number, value) != (0, 0x40):
                track.bent.add(channel)
        elif kind == 0xB:
            if number == 64 and value >= 64:
                track.pedalled.add(channel)
            elif number == 120 or number >= 123:
                self._sounding.all_off(self._tick, channel)
            elif number in {100, 101}:
                self._parameter.setdefault(channel, [127, 127])[number - 100] = value
            elif number == 6 and self._parameter.get(channel) == [2, 0] and value != 64:
                track.retuned.add(channel)

    def _meta(self) -> None:
        """A meta event; kinds that are not known are passed over, as RP-001 asks."""
        start = self.at
        kind, body = self._byte(), self._skip(self._quantity())
        track = self.track
        if kind == 0x2F:
            self._ended = True
        elif kind == 0x03:
            track.name = track.name or text_of(body)
        elif kind == 0x04:
            track.instrument = track.instrument or text_of(body)
        elif kind in {TEXT, LYRIC, MARKER, CUE}:
            track.texts.append((self._tick, kind, body[:_LONGEST_TEXT]))
        elif kind in {0x51, 0x58, 0x59} and not self._mark(kind, body):
            name = {0x51: "tempo", 0x58: "metre", 0x59: "key signature"}[kind]
            shown = f" of {int.from_bytes(body, 'big')}" if kind == 0x51 and len(body) == 3 else ""
            self._sounding.odd(f"a {name}{shown} at byte {start} cannot be and is left out")

    def _mark(self, kind: int, body: bytes) -> bool:
        """Keep a tempo, metre or key signature; False if it is none."""
        track, tick, size = self.track, self._tick, len(body)
        if kind == 0x51 and size == 3 and any(body):
            track.tempos.append((tick, int.from_bytes(body, "big")))
        elif kind == 0x58 and size >= 2 and 1 <= body[0] <= 64 and body[1] <= 6:
            track.metres.append((tick, (body[0], 2 ** body[1])))
        elif kind == 0x59 and size == 2 and (body[0] <= 7 or body[0] >= 249) and body[1] <= 1:
            track.keys.append((tick, (body[0] - 256 if body[0] > 127 else body[0], body[1] == 1)))
        else:
            return False
        return True
