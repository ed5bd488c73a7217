"""What a session has to send: frames in flight, and the stream of a tune cut into payloads."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from .link_format import Frame, Verb


@dataclass(frozen=True)
class Order:
    """A frame to be sent. cue_bytes: what it takes of the board's stream buffer."""

    kind: Frame
    payload: bytes = b""
    verb: Verb | None = None
    cue_bytes: int = 0


@dataclass(frozen=True)
class Flying:
    """A frame sent and not yet known to be taken."""

    sequence: int
    order: Order
    line: bytes


class Stream:
    """A tune's records: waiting until the board has agreed to play them, then payload by payload."""

    def __init__(self) -> None:
        self.waiting: list[bytes] = []
        self.chunk: bytes | None = None
        """The next payload, None when there is none."""
        self._rest: Iterator[bytes] = iter(())

    def want(self, records: Iterable[bytes]) -> None:
        """Keep records until `begin`."""
        self.waiting = list(records)

    def begin(self, longest: int) -> None:
        """Cut what waits into payloads of whole records, none over `longest` bytes."""
        self._rest = packed(self.waiting, longest)
        self.chunk = next(self._rest, None)
        self.waiting = []

    def fits(self, credit: int) -> bool:
        """Whether there is a payload and the board has room for it."""
        return self.chunk is not None and len(self.chunk) <= credit

    def take(self) -> bytes:
        """The next payload, which there must be."""
        taken, self.chunk = self.chunk, next(self._rest, None)
        return taken or b""

    def drop(self) -> None:
        """Forget the payloads not yet taken."""
        self.chunk, self._rest = None, iter(())


def packed(records: list[bytes], longest: int) -> Iterator[bytes]:
    """Records joined to payloads of whole records, each as long as fits."""
    payload = b""
    for record in records:
        if payload and len(payload) + len(record) > longest:
            yield payload
            payload = b""
        payload += record
    if payload:
        yield payload
