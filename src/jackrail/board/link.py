"""The host's end of the serial link, without a serial port: bytes in, bytes out, the time told by whoever drives it.

So the same session talks to an emulated board in emulated time and to a real one in real time:

    session.hello()
    while ...:
        write(session.give(now_s))
        events = session.take(read(until=session.wake_s), now_s)

Frames to the board are numbered, at most two are unanswered, and what is not answered in time is sent again from the
first that the board lacks (go-back-N): each is taken once and in order, whatever the line does, or the session is lost.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from typing import Literal

from .frames import Packet, Receiver, to_line
from .link_format import KEEP_ALIVE_MS, LINK_LOST_MS, LINK_VERSION, LONGEST_PAYLOAD, RESEND_MS, STREAM, WINDOW, Frame, Verb
from .messages import Ack, Event, Happening, Info, Line, Lost, Status, Taken, read_message, verb_payload
from .outgoing import Flying, Order, Stream
from .reasons import State, explain

__all__ = ["Event", "Lost", "Session", "Taken"]

KNOCK = bytes(16)
"""Sent before HELLO: at the wrong rate each zero is a framing error, and after three the board tries the other rate."""
POLL_S = 0.005
"""First pause before the host asks a full board for room; it doubles up to the keep-alive, so that it never asks
later than twice the time that the room took to come free."""
_RESEND_S = RESEND_MS / 1000
_LOST_S = LINK_LOST_MS / 1000
_KEEP_ALIVE_S = KEEP_ALIVE_MS / 1000


Phase = Literal["new", "greeting", "open", "lost"]


class Session:
    """One conversation with a board. phase: new, greeting, open or lost; info, status: the last ones heard."""

    def __init__(self, sequence: int = 0) -> None:
        self.phase: Phase = "new"
        self.info: Info | None = None
        self.status: Status | None = None
        self.state = self.reason = self.resent = 0
        self._receiver = Receiver()
        self._sequence = sequence
        self._forget()

    def _forget(self) -> None:
        self._orders: deque[Order] = deque()
        self._flying: deque[Flying] = deque()
        self._stream = Stream()
        self._credit = 0
        self._progress_s = self._sent_s = self._spoke_s = -math.inf
        self._pause_s = _KEEP_ALIVE_S

    # What the caller wants

    def hello(self) -> None:
        """Begin anew: whatever was under way is forgotten."""
        self._forget()
        self.phase = "greeting"
        self._orders.append(Order(Frame.HELLO))

    def ask(self) -> None:
        """Ask how the board does; the answer is a Status."""
        self._orders.append(Order(Frame.ASK))

    def do(self, verb: Verb, *arguments: int) -> None:
        """Have the board do something, told by a Taken. STOP also drops what was not yet sent of a stream.

        Raises BadInput for an argument out of range.
        """
        if verb is Verb.STOP:
            self._stream = Stream()
            self._orders = deque(order for order in self._orders if order.kind is not Frame.STREAM)
        self._orders.append(Order(Frame.DO, verb_payload(verb, *arguments), verb))

    def stream(self, machine_id: int, horizon_ms: int, records: Iterable[bytes]) -> None:
        """Play a tune sent on the go. records: explicit waits, no REPEAT, END last. Told by a Taken, then by Status and news."""
        self._stream.want(records)
        self._orders.append(Order(Frame.STREAM, STREAM.pack(machine_id=machine_id, horizon_ms=horizon_ms)))

    @property
    def busy(self) -> bool:
        """Whether something is still to be sent or not yet known to be taken."""
        return bool(self._orders or self._flying or self._stream.waiting or self._stream.chunk)

    @property
    def answered(self) -> bool:
        """Whether the board has answered all that was sent so far."""
        return not self._flying

    # The line

    @property
    def bad_frames(self) -> int:
        """Damaged frames heard so far."""
        return self._receiver.bad_frames

    @property
    def wake_s(self) -> float:
        """When `give` has something to say at the latest, if nothing is heard before; infinity when never."""
        if self.phase not in ("greeting", "open"):
            return math.inf
        if len(self._flying) < self._window and (self._orders or self._stream.fits(self._credit)):
            return -math.inf
        if self._flying:
            return self._sent_s + _RESEND_S
        return self._spoke_s + self._pause_s

    def take(self, data: bytes, now_s: float) -> list[Event]:
        """Hear bytes from the board, and what they and the time tell."""
        events: list[Event] = []
        for item in self._receiver.feed(data):
            events += [Line(item)] if isinstance(item, str) else self._hear(item, now_s)
        if self._flying and now_s >= self._progress_s + _LOST_S:
            events += self._lose("it does not answer")
        return events

    def give(self, now_s: float) -> bytes:
        """The bytes to send now. To be called after each `take`, and at `wake_s`."""
        out = bytearray()
        if self._flying and now_s >= self._sent_s + _RESEND_S:
            self._sent_s = now_s
            self.resent += len(self._flying)
            for flying in self._flying:
                out += flying.line
        while len(self._flying) < self._window and (order := self._next_order(now_s)):
            out += self._launch(order, now_s)
        return bytes(out)

    # Sending

    @property
    def _window(self) -> int:
        return 1 if self.phase == "greeting" else WINDOW

    def _next_order(self, now_s: float) -> Order | None:
        if self.phase not in ("greeting", "open"):
            return None
        if self._orders:
            return self._orders.popleft()
        if self._stream.fits(self._credit):
            chunk = self._stream.take()
            self._credit -= len(chunk)
            return Order(Frame.CUES, chunk, cue_bytes=len(chunk))
        if not self._flying and now_s >= self._spoke_s + self._pause_s:
            return Order(Frame.ASK if self._stream.chunk is None else Frame.CUES)  # no cues at all, only to be told the room
        return None

    def _launch(self, order: Order, now_s: float) -> bytes:
        line = to_line(Packet(order.kind, self._sequence, order.payload))
        if order.kind is Frame.HELLO:
            line = KNOCK + line
        if not self._flying:
            self._progress_s = self._sent_s = now_s
        self._flying.append(Flying(self._sequence, order, line))
        self._sequence = (self._sequence + 1) % 256
        self._pause_s = POLL_S if order.cue_bytes else min(2 * self._pause_s, _KEEP_ALIVE_S)
        self._spoke_s = now_s
        return line

    # Hearing

    def _hear(self, packet: Packet, now_s: float) -> list[Event]:
        message = read_message(packet)
        match message:
            case Info() if self.phase == "greeting":
                return self._open(message)
            case Ack() if self.phase == "open":
                return self._acked(message, now_s)
            case Status() if self.phase == "open":
                self.status = message
                asks = [place for place, flying in enumerate(self._flying, 1) if flying.order.kind is Frame.ASK]
                return [message, *self._retire(asks[0] if asks else 0, message, now_s)]
            case Happening() if self.phase == "open":
                return [message]
        return []

    def _open(self, info: Info) -> list[Event]:
        if info.link != LINK_VERSION:
            return self._lose(f"it speaks version {info.link} of the link, and this is version {LINK_VERSION}")
        self._flying.clear()
        self.phase, self.info, self.state, self.reason = "open", info, info.state, info.reason
        return [info]

    def _acked(self, ack: Ack, now_s: float) -> list[Event]:
        base = self._flying[0].sequence if self._flying else self._sequence
        taken = (ack.next - base) % 256
        if taken > len(self._flying):  # a number we never sent: it was started anew
            return self._lose(f"it was started anew ({explain(ack.reason)})" if ack.reason else "it was started anew")
        events = self._retire(taken, ack, now_s)
        self._credit = ack.credit - sum(flying.order.cue_bytes for flying in self._flying)
        return events

    def _retire(self, taken: int, heard: Ack | Status, now_s: float) -> list[Event]:
        """The oldest frames in flight were taken. A STATUS stands for the ACK of the ASK it answers."""
        self.state, self.reason = heard.state, heard.reason
        events: list[Event] = []
        for order in [self._flying.popleft().order for _ in range(taken)]:
            if order.kind is Frame.STREAM:
                self._stream.begin(min(LONGEST_PAYLOAD, self.info.frame_bytes if self.info else LONGEST_PAYLOAD))
            if order.kind in (Frame.STREAM, Frame.DO):
                events.append(Taken(order.verb, heard.state, heard.reason))
        if taken:
            self._progress_s = self._sent_s = now_s
        if heard.state != State.PLAYING:
            self._stream.drop()
        return events

    def _lose(self, why: str) -> list[Event]:
        self._forget()
        self.phase = "lost"
        return [Lost(why)]
