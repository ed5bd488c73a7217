"""A serial line in memory with faults, and a board at its end made from the contract alone: no code of the host's side.

The COBS and the CRC here are those of a library and of the standard library.
"""

import random
import re
import struct
from binascii import crc_hqx
from collections import deque
from dataclasses import dataclass, field

from cobs import cobs

FRAMES = re.compile(rb"\0+[^\0]+\0|[^\0]+|\0+")
NOT_HOMED, READY, PLAYING = 0, 2, 3


def framed(kind, sequence, payload=b""):
    body = bytes([kind, sequence]) + payload
    return b"\0" + cobs.encode(body + struct.pack("<H", crc_hqx(body, 0xFFFF))) + b"\0"


@dataclass
class Board:
    """The board's end. eats_per_s: bytes of cues it plays in a second; taken: what it took, in order."""

    machine_id: int = 7
    stream_bytes: int = 256
    eats_per_s: float = 1e9
    state: int = READY
    reason: int = 0
    silent: bool = False
    next: int = 0
    collecting: bool = False
    held: bytearray = field(default_factory=bytearray)
    own: int = 0
    heard: list = field(default_factory=list)  # kinds of all frames, in order
    frame_bytes: int = 64
    taken: list = field(default_factory=list)
    cues: bytearray = field(default_factory=bytearray)
    filled: float = 0.0
    ate_s: float = 0.0
    bad_frames: int = 0
    fullest: float = 0.0
    link: int = 1
    closing_zero_opens: bool = True  # a board may also leave what follows a frame to people, until the next zero
    acks_asks: bool = False  # a board may also send an ACK before the STATUS

    def hear(self, byte, now_s):
        """One byte; what the board sends in answer."""
        if byte == 0:
            body, self.held = bytes(self.held), bytearray()
            whole = self.collecting and body
            self.collecting = self.closing_zero_opens or not whole
            return self.frame(body, now_s) if whole and not self.silent else []
        if self.collecting and len(self.held) < 80:
            self.held.append(byte)
        return []

    def frame(self, coded, now_s):
        try:
            body = cobs.decode(coded)
        except cobs.DecodeError:
            body = b""
        if len(body) < 4 or len(coded) > 69 or crc_hqx(body[:-2], 0xFFFF) != int.from_bytes(body[-2:], "little"):
            self.bad_frames += 1
            return []
        self.filled = max(0.0, self.filled - (now_s - self.ate_s) * self.eats_per_s)
        self.ate_s = now_s
        kind, sequence, payload = body[0], body[1], body[2:-2]
        self.heard.append(kind)
        assert len(payload) <= self.frame_bytes
        if kind == 0x01:
            self.next = (sequence + 1) % 256
            info = struct.pack(
                "<BIIBHBBBBB", self.link, 1, self.machine_id, 0, self.stream_bytes, self.frame_bytes, 1, 0, self.state, self.reason
            )
            return [self.say(0x82, info)]
        obeyed = sequence == self.next and self.obey(kind, payload)
        if obeyed:
            self.next = (self.next + 1) % 256
        answers = []
        if not (obeyed and kind == 0x02) or self.acks_asks:
            answers.append(self.say(0x81, struct.pack("<BHBB", self.next, int(self.stream_bytes - self.filled), self.state, self.reason)))
        if obeyed and kind == 0x02:
            answers.append(self.say(0x83, struct.pack("<11B2i", self.state, self.reason, 0, 0, 0, 0, 0, 0, 0, 0, 2, -5, 70_000)))
        return answers

    def obey(self, kind, payload):
        if kind == 0x05 and self.state == PLAYING:
            if self.filled + len(payload) > self.stream_bytes:
                return False
            self.filled += len(payload)
            self.fullest = max(self.fullest, self.filled)
            self.cues += payload
            if payload[-1:] == b"\xee":  # END in these tests
                self.state, self.reason = READY, 1
        elif kind == 0x04:
            right = self.state == READY and int.from_bytes(payload[:4], "little") == self.machine_id
            self.state, self.reason = (PLAYING, 0) if right else (self.state, 5 if self.state == NOT_HOMED else 18)
            self.filled = 0.0
        elif kind == 0x03:
            self.taken.append(payload)
            if payload[0] == 2 and self.state == PLAYING:
                self.state, self.reason = READY, 2
        return True

    def say(self, kind, payload):
        self.own = (self.own + 1) % 256
        return framed(kind, self.own, payload)

    def reset(self):
        self.next, self.state, self.reason, self.collecting = 0, NOT_HOMED, 23, False
        self.held.clear()


class Noise:
    """Damages a share of the frames: a bit flipped, a byte dropped, a byte put in, all equally often."""

    def __init__(self, share=0.0, seed=0):
        self.share, self.random, self.damaged = share, random.Random(seed), 0  # noqa: S311 - the same each time

    def over(self, frame):
        if self.random.random() >= self.share:
            return frame
        self.damaged += 1
        at = self.random.randrange(len(frame))
        match self.random.choice(("flip", "drop", "insert")):
            case "flip":
                return frame[:at] + bytes([frame[at] ^ 1 << self.random.randrange(8)]) + frame[at + 1 :]
            case "drop":
                return frame[:at] + frame[at + 1 :]
        return frame[:at] + bytes([self.random.randrange(256)]) + frame[at:]


class Wire:
    """One direction: each byte arrives ten bits after the one before it, plus a delay."""

    def __init__(self, baud, noise, delay_s=0.0):
        self.byte_s, self.noise, self.delay_s = 10 / baud, noise, delay_s
        self.free_s, self.bytes = 0.0, deque()

    def send(self, data, now_s):
        for frame in FRAMES.findall(data):
            for byte in self.noise.over(frame):
                self.free_s = max(self.free_s, now_s) + self.byte_s
                self.bytes.append((self.free_s + self.delay_s, byte))

    @property
    def next_s(self):
        return self.bytes[0][0] if self.bytes else float("inf")

    def arrived(self, now_s):
        while self.bytes and self.bytes[0][0] <= now_s:
            yield self.bytes.popleft()[1]


@dataclass
class Talk:
    """A session and a board on a line, and the time."""

    session: object
    board: Board
    share: float = 0.0
    seed: int = 0
    baud: int = 250_000
    delay_s: float = 0.0
    now_s: float = 0.0
    events: list = field(default_factory=list)

    def __post_init__(self):
        self.out = Wire(self.baud, Noise(self.share, self.seed), self.delay_s)
        self.back = Wire(self.baud, Noise(self.share, self.seed + 1), self.delay_s)

    def run(self, until_s, stop=None):
        """Let time pass until a moment, or until `stop` says so."""
        idle = 0
        while not (stop and stop(self)):
            self.out.send(self.session.give(self.now_s), self.now_s)
            then_s = max(self.now_s, min(self.out.next_s, self.back.next_s, self.session.wake_s))
            idle = idle + 1 if then_s == self.now_s else 0
            assert idle < 20, "the session wants to be called again and again and says nothing"
            if then_s > until_s:
                self.now_s = until_s
                break
            self.now_s = then_s
            for byte in self.out.arrived(then_s):
                for answer in self.board.hear(byte, then_s):
                    self.back.send(answer, then_s)
            self.events += self.session.take(bytes(self.back.arrived(then_s)), then_s)
        return self.events

    def until_quiet(self, limit_s=600.0):
        """Let time pass until nothing is left to be sent or answered, or the session is lost."""
        return self.run(limit_s, lambda talk: talk.session.phase != "greeting" and not talk.session.busy)
