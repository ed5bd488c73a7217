"""Frames on the serial line, and the receiver that tells them from lines of text.

A frame is 0x00, COBS of (type, sequence number, payload, CRC), 0x00. A line of text is printable ASCII ended by CR or LF.
No frame can be taken for a line: its second byte, the type, is neither printable nor an end of line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.roll.format import crc16

from . import cobs
from .link_format import LONGEST_CODED, LONGEST_PAYLOAD

_END_OF_FRAME = 0
_ENDS_OF_LINE = b"\r\n"
_LONGEST_LINE = 250


@dataclass(frozen=True)
class Packet:
    """What a frame carries. kind: its type; sequence: 0-255."""

    kind: int
    sequence: int
    payload: bytes


def to_line(packet: Packet) -> bytes:
    """A frame as it goes over the line, with a 0x00 on either side. Raises ValueError for a payload over 64 bytes."""
    if len(packet.payload) > LONGEST_PAYLOAD:
        raise ValueError(f"a payload of {len(packet.payload)} bytes: {LONGEST_PAYLOAD} at most")
    body = bytes([packet.kind, packet.sequence]) + packet.payload
    return b"\0" + cobs.encode(body + crc16(body).to_bytes(2, "little")) + b"\0"


def from_line(coded: bytes) -> Packet | None:
    """The packet between two 0x00, or None when it is damaged."""
    body = cobs.decode(coded) if len(coded) <= LONGEST_CODED else None
    if body is None or len(body) < 4 or crc16(body[:-2]) != int.from_bytes(body[-2:], "little"):
        return None
    return Packet(body[0], body[1], body[2:-2])


class Receiver:
    """Sorts arriving bytes into packets and lines of text. bad_frames: how many were damaged so far."""

    def __init__(self) -> None:
        self.bad_frames = 0
        self._held = bytearray()

    def feed(self, data: bytes) -> Iterator[Packet | str]:
        """All packets and lines that `data` completes, in order; a piece of one is kept for the next call."""
        for byte in data:
            if byte == _END_OF_FRAME:
                yield from self._frame()
            elif byte in _ENDS_OF_LINE and (line := self._text()) is not None:
                if line:
                    yield line
                self._held[:] = bytes([byte])  # kept, for behind a 0x00 it may be a frame's first byte as well
            elif len(self._held) <= _LONGEST_LINE:  # what is longer is neither, and is held only to be counted as bad
                self._held.append(byte)

    def _frame(self) -> Iterator[Packet]:
        held = bytes(self._held)
        self._held.clear()
        packet = from_line(held)
        if packet:
            yield packet
        elif held.strip(_ENDS_OF_LINE):
            self.bad_frames += 1

    def _text(self) -> str | None:
        """What is held, if it is text: perhaps the end of the line before, then printable bytes. Nothing, if it can be no frame either."""
        text = self._held[1:] if self._held and self._held[0] in _ENDS_OF_LINE else self._held
        if len(text) <= _LONGEST_LINE and all(0x20 <= byte < 0x7F for byte in text):
            return text.decode("ascii")
        return "" if len(self._held) > LONGEST_CODED else None
