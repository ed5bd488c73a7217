"""Standard MIDI Files from readable rows, for tests: 480 ticks a quarter unless said otherwise (RP-001, SMF 1.0)."""

import struct
from collections.abc import Iterable
from typing import Any

Row = tuple[int, bytes]
"""A moment in ticks and the bytes of one event without its delta."""
Q = 480


def quantity(value: int) -> bytes:
    """A variable-length quantity."""
    out = [value & 0x7F]
    while value := value >> 7:
        out.insert(0, value & 0x7F | 0x80)
    return bytes(out)


def hexes(tick: int, text: str) -> Row:
    return (tick, bytes.fromhex(text))


def meta(tick: int, kind: int, body: bytes) -> Row:
    return (tick, bytes([0xFF, kind]) + quantity(len(body)) + body)


def name(text: str) -> Row:
    return meta(0, 0x03, text.encode())


def tempo(tick: int, quarters_a_minute: float) -> Row:
    return meta(tick, 0x51, round(60_000_000 / quarters_a_minute).to_bytes(3, "big"))


def metre(tick: int, beats: int, unit: int) -> Row:
    return meta(tick, 0x58, bytes([beats, unit.bit_length() - 1, 24, 8]))


def key(tick: int, sharps: int, *, minor: bool = False) -> Row:
    return meta(tick, 0x59, bytes([sharps % 256, minor]))


def note(on: int, off: int, midi: int, channel: int = 1, velocity: int = 80) -> list[Row]:
    """channel from 1."""
    return [(on, bytes([0x8F + channel, midi, velocity])), (off, bytes([0x7F + channel, midi, 0]))]


def melody(onset: int, rows: Iterable[tuple[int, int]], channel: int = 1) -> list[Row]:
    """Notes one after the other, as (length in ticks, key), key 0 for a rest."""
    out: list[Row] = []
    for length, midi in rows:
        out += note(onset, onset + length, midi, channel) if midi else []
        onset += length
    return out


def chord(on: int, off: int, keys: Iterable[int], channel: int = 1) -> list[Row]:
    return [row for midi in keys for row in note(on, off, midi, channel)]


def track(*rows: Row | list[Row]) -> bytes:
    """A track of the rows in time order, at one tick in the order given but releases first, with its end mark."""
    flat = [row for part in rows for row in (part if isinstance(part, list) else [part])]
    flat.sort(key=lambda row: (row[0], row[1][0] & 0xF0 != 0x80))
    return in_order(flat)


def in_order(rows: Iterable[Row]) -> bytes:
    """A track of the rows as they come."""
    body, now = b"", 0
    for tick, event in rows:
        body += quantity(tick - now) + event
        now = tick
    body += b"\x00\xff\x2f\x00"
    return b"MTrk" + struct.pack(">I", len(body)) + body


def file(*tracks: bytes, division: int = Q, kind: int | None = None) -> bytes:
    kind = min(len(tracks) - 1, 1) if kind is None else kind
    return b"MThd" + struct.pack(">IHHH", 6, kind, len(tracks), division) + b"".join(tracks)


def struck(messages: Iterable[Any]) -> dict[int, list[tuple[int, int, int]]]:
    """Channel -> (on, length, key) in ticks of a track's messages as mido reads them, worked out on the whole row of each key.

    The rule of tune/midi/sounding.py: a note whose key is struck again ends there. Between a strike and the next one, the release that
    ends it is the one after all that are owed to notes cut short; where so many do not come, the first that is not at the very tick of
    the strike.
    """
    rows: dict[tuple[int, int], list[tuple[int, bool]]] = {}
    now = 0
    for message in messages:
        now += message.time
        if message.type in {"note_on", "note_off"}:
            rows.setdefault((message.channel, message.note), []).append((now, message.type == "note_on" and message.velocity > 0))
    found: dict[int, list[tuple[int, int, int]]] = {}
    for (channel, key), row in rows.items():
        owed = 0
        for index, (on, strike) in enumerate(row):
            if not strike:
                continue
            later = row[index + 1 :]
            until = next((at for at, (_, again) in enumerate(later) if again), len(later))
            releases = [tick for tick, _ in later[:until]]
            own = releases[min(owed, sum(tick == on for tick in releases)) :]
            full = len(releases) > owed
            off = releases[owed] if full else own[0] if own else later[until][0] if until < len(later) else None
            owed = 0 if full or own else owed - len(releases) + 1
            if off is not None and off > on:
                found.setdefault(channel, []).append((on, off - on, key))
    return found
