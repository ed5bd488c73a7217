"""One track of a Standard MIDI File (RP-001, SMF 1.0) as notes and marks, in ticks.

Which release ends which note. A key struck again while it sounds ends its first note there. The second lasts until as many
releases have come as strikes, so that two lines meeting on one key are one note, the longer; where a release is missing, which
shows at the next strike or the end, the first release ends it. Notes of no length, and keys never released, are left out and
said. All notes off (controllers 120 and 123 to 127, MIDI 1.0 channel mode messages) ends what sounds on its channel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line
from jackrail.tune.score.written import Notes

DRUMS = 9
"""Channel 10 counted from 0: the drums of General MIDI."""
RawNote = tuple[int, int, int]
"""On, off, key; times in ticks."""
TEXT, LYRIC, MARKER, CUE = 0x01, 0x05, 0x06, 0x07
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_LONGEST_TEXT = 60
_MOST_ODD = 12
_COPY = "was it copied completely? export it again"
_DAMAGED = "the file is damaged; export it again"


@dataclass(slots=True)
class Track:
    """One track. notes: channel -> its notes; tempos in us a quarter; keys as (sharps, minor); texts as (tick, kind, bytes).

    programs: channel -> its first program, from 0. bent, pedalled, retuned: channels with pitch bends, the sustain pedal or a coarse
    tuning (registered parameter 2), none of which is followed.
    """

    number: int
    name: str = ""
    instrument: str = ""
    notes: dict[int, list[RawNote]] = field(default_factory=dict)
    programs: dict[int, int] = field(default_factory=dict)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, tuple[int, int]]] = field(default_factory=list)
    keys: list[tuple[int, tuple[int, bool]]] = field(default_factory=list)
    texts: list[tuple[int, int, bytes]] = field(default_factory=list)
    bent: set[int] = field(default_factory=set)
    pedalled: set[int] = field(default_factory=set)
    retuned: set[int] = field(default_factory=set)

    @property
    def title(self) -> str:
        """Its name, else that of its instrument, else ""."""
        return self.name or self.instrument


def _bad(what: str, byte: int, value: str = "", limit: str = "", hint: str = "") -> BadInput:
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
        self._sounding: dict[tuple[int, int], tuple[int, int, int]] = {}  # channel, key -> on, releases owed, first release or -1
        self._parameter: dict[int, list[int]] = {}  # channel -> registered parameter chosen
        self._packet_open = False
        self._odd_seen = 0
        self._ended = False

    def read(self, most: int) -> Track:
        """The track, or what the first `most` events and one hold of it; `events` says how many there were. Raises BadInput."""
        self._read_events(most)
        if not self._ended and self.cut_short:
            raise _bad(f"track {self.track.number} breaks off before its end, so notes are missing", self.at, hint=_COPY)
        if not self._ended:
            self._odd(f"track {self.track.number} has no end mark")
        elif self.cut_short:
            self._odd(f"track {self.track.number} says it is longer than the file: read to its end mark")
        self._leave_stuck()
        return self.track

    def _odd(self, sentence: str) -> None:
        """Say something odd, unless there is so much of it that nobody would read on."""
        self._odd_seen += 1
        if self._odd_seen <= _MOST_ODD and self.track.number <= _MOST_ODD:
            self._notes.say(sentence)
        else:
            self._notes.count("more of the kind was left out", f"track {self.track.number}")

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

    def _read_events(self, most: int) -> None:
        """The one loop that sees every event; running status (0: none) is ended by sysex and meta events."""
        data, end = self.data, self.end
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
                raise _bad("has data without a status byte before it", self.at, f"{first:02X}", hint=_DAMAGED)
            at = self.at
            kind, channel = status >> 4, status & 0xF
            self.at += _DATA_BYTES[kind]
            if self.at > end:
                raise _bad(f"track {self.track.number} breaks off inside an event, so notes are missing", end, hint=_COPY)
            one, two = data[at], data[self.at - 1]
            if one | two > 0x7F:
                raise _bad("has a data byte with its top bit set", at, data[at : self.at].hex(" ").upper(), "00 to 7F", _DAMAGED)
            if kind == 0x9 and two:
                self._strike(channel, one)
            elif kind <= 0x9:
                self._release(channel, one)
            else:
                self._turned(kind, channel, one, two)

    def _skip(self, size: int) -> bytes:
        if self.at + size > self.end:
            raise _bad(f"track {self.track.number} breaks off inside an event", self.at, hint=_COPY)
        self.at += size
        return self.data[self.at - size : self.at]

    def _long_event(self, first: int) -> None:
        """A meta event, or system exclusive data whole or in packets (F0 begins, F7 goes on or sends any bytes)."""
        if first == 0xFF:
            self._meta()
            return
        start = self.at - 1
        if first not in {0xF0, 0xF7}:
            raise _bad("has a system message that a file cannot hold", start, f"{first:02X}", hint=_DAMAGED)
        body = self._skip(self._quantity())
        if first == 0xF7 and not self._packet_open:
            if body and 0x80 <= body[0] < 0xF0:
                self._notes.count("notes or controls hidden in an escape event (F7) are not read", f"byte {start}")
            return
        self._packet_open = not body.endswith(b"\xf7")

    def _strike(self, channel: int, key: int) -> None:
        tick = self._tick
        before = self._sounding.get((channel, key))
        owed = 0
        if before is not None:
            on, owed, released = before
            if released >= 0:
                owed = 0  # a release was missing
                self._note(channel, on, released, key)
            else:
                owed += 1
                if tick > on:
                    self._note(channel, on, tick, key)
        self._sounding[channel, key] = (tick, owed, -1)

    def _release(self, channel: int, key: int) -> None:
        held = self._sounding.pop((channel, key), None)
        if held is None:
            self._notes.count("releases of keys that do not sound are ignored", f"track {self.track.number} tick {self._tick}")
            return
        on, owed, released = held
        if owed and self._tick == on:  # the first note's own, written after the strike that comes with it
            self._sounding[channel, key] = (on, owed - 1, released)
        elif owed:
            self._say_cut(channel, on)
            self._sounding[channel, key] = (on, owed - 1, released if released >= 0 else self._tick)
        else:
            self._note(channel, on, self._tick, key)

    def _say_cut(self, channel: int, tick: int) -> None:
        if channel != DRUMS:
            self._notes.count("a key struck again while it sounds ends its first note", f"track {self.track.number} tick {tick}")

    def _note(self, channel: int, on: int, off: int, key: int) -> None:
        if on == off:
            if channel != DRUMS:
                self._notes.count("notes of no length are left out", f"track {self.track.number} tick {on}")
            return
        self.track.notes.setdefault(channel, []).append((on, off, key))

    def _leave_stuck(self) -> None:
        for (channel, key), (on, owed, released) in sorted(self._sounding.items(), key=lambda item: item[1][0]):
            if owed:
                self._say_cut(channel, on)
            if released >= 0:
                self._note(channel, on, released, key)
            elif channel != DRUMS:
                self._odd(f"track {self.track.number}: key {key}, struck at tick {on}, is never released and is left out")

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
                for key in [key for sounding, key in self._sounding if sounding == channel]:
                    on, _, released = self._sounding.pop((channel, key))
                    self._note(channel, on, released if released >= 0 else self._tick, key)
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
            self._odd(f"a {name}{shown} at byte {start} cannot be and is left out")

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
