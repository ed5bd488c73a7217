"""A host at the emulated board's serial line, in emulated time: it greets, homes, plays, and hears what the board says."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from jackrail.board.link import Event, Lost, Session
from jackrail.board.link_format import BAUD, News, Verb
from jackrail.board.messages import Happening, Info, Status
from jackrail.board.reasons import State

from .rig import CLOCK_HZ, Rig

SLICE_S = 0.25
"""Longest the rig runs without the host looking at the line: news is heard so late at most, and it is stamped by the board."""
_BUSY_SLICE_S = 0.002
"""While frames are on their way: short against the 30 ms after which they are sent again."""
MARK_PLACE, MARK_START, MARK_STATE = 0, 0x50, 2
"""The board writes 0x50 to GPIOR0 at time zero of play, and its state to GPIOR2 (firmware/queue.c, player.c)."""


@dataclass
class Noise:
    """What the line does to frames. share: of frames damaged, each by one bit flipped, one byte dropped or one put in."""

    share: float
    seed: int = 1
    damaged: int = 0
    _random: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)  # noqa: S311 - noise, not secrets

    def spoil(self, data: bytes) -> bytes:
        """The bytes as they arrive."""
        if not data or self._random.random() >= self.share:
            return data
        self.damaged += 1
        at, kind = self._random.randrange(len(data)), self._random.randrange(3)
        if kind == 0:
            return data[:at] + bytes([data[at] ^ 1 << self._random.randrange(8)]) + data[at + 1 :]
        if kind == 1:
            return data[:at] + data[at + 1 :]
        return data[:at] + bytes([self._random.randrange(256)]) + data[at:]


class Driver:
    """The host, and who watches the chip beside it.

    infos, happenings, status: what the board told; losses: why it was lost; silent: the host is gone. zero_cycle: cycle of
    time zero of play, None before; state: of the board; both as it marks them on the chip, whatever the line does.
    """

    def __init__(self, rig: Rig, noise: Noise | None = None, baud: int = BAUD) -> None:
        self.rig, self.noise, self.baud = rig, noise or Noise(0.0), baud
        self.session = Session()
        self.slice_s = SLICE_S  # a host that has dense cues to send must look more often
        self.infos: list[Info] = []
        self.happenings: list[Happening] = []
        self.status: Status | None = None
        self.losses: list[str] = []
        self.silent = False
        self.zero_cycle: int | None = None
        self.state: int = State.NOT_HOMED
        self._heard = self._marked = 0

    @property
    def now_s(self) -> float:
        """Emulated seconds since power-on."""
        return self.rig.cycle / CLOCK_HZ

    def greet(self, patience_s: float = 1.0) -> bool:
        """Say hello until the board answers. Returns whether it did."""
        self.session.hello()
        known, losses = len(self.infos), len(self.losses)
        return self.until(lambda: len(self.infos) > known or len(self.losses) > losses, patience_s) and len(self.losses) == losses

    def home(self, patience_s: float = 90.0) -> bool:
        """Have every axis find home. Returns whether the board is ready."""
        self.session.do(Verb.HOME)
        self.until(lambda: not self.session.busy, patience_s)
        self.until(lambda: self.state not in (State.HOMING, State.STOPPING), patience_s)
        return self.state == State.READY

    def until(self, done: Callable[[], bool], patience_s: float) -> bool:
        """Let time pass until something holds, at most so long. Returns whether it does."""
        end_s = self.now_s + patience_s
        while not done():
            if self.now_s >= end_s:
                return False
            self.step(end_s)
        return True

    def step(self, end_s: float) -> None:
        """One look at the line: say what is to be said, let a slice of time pass, hear what came."""
        if not self.silent:
            for frame in _frames(self.session.give(self.now_s)):
                self.rig.send(self.noise.spoil(frame), baud=self.baud, at=self.rig.cycle)
        self.rig.run_until(round(min(self._wake_s(), end_s) * CLOCK_HZ) + 1)
        self._watch()
        self._listen()

    def _wake_s(self) -> float:
        """When to look at the line again: soon while an answer is on its way, else when the host has something to say."""
        if self.silent:
            return self.now_s + SLICE_S
        slice_s = self.slice_s if self.session.answered else _BUSY_SLICE_S
        return min(self.now_s + slice_s, max(self.session.wake_s, self.now_s + _BUSY_SLICE_S))

    def _watch(self) -> None:
        fresh = self.rig.marks(self._marked)
        self._marked += len(fresh)
        for cycle, place, value in fresh.tolist():
            if place == MARK_STATE:
                self.state = value
            elif place == MARK_PLACE and value == MARK_START:
                self.zero_cycle = cycle

    def _listen(self) -> None:
        fresh = self.rig.sent(self._heard)["value"].astype("u1").tobytes()
        self._heard += len(fresh)
        if self.silent:
            return
        for frame in _frames(fresh) if self.noise.share else [fresh]:
            for event in self.session.take(self.noise.spoil(frame), self.now_s):
                self._note(event)

    def _note(self, event: Event) -> None:
        match event:
            case Info():
                self.infos.append(event)
            case Status():
                self.status = event
            case Happening():
                self.happenings.append(event)
            case Lost(why):
                self.losses.append(why)

    def stopped(self) -> Happening | None:
        """The last news that play stopped."""
        return next((one for one in reversed(self.happenings) if one.kind is News.STOPPED), None)


def _frames(data: bytes) -> list[bytes]:
    """Bytes cut behind each frame's closing zero, so that noise meets one frame at a time."""
    frames, start = [], 0
    for at in range(1, len(data)):
        if data[at] == 0 and data[at - 1] != 0:
            frames.append(data[start : at + 1])
            start = at + 1
    return [*frames, data[start:]] if start < len(data) else frames
