"""What stands between two notes of one voice: how far apart they are in time, what the change takes and what that is made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jackrail.motion.voice import Place, Voice

from .parts import Parts
from .solver import Option

_EPSILON_S = 1e-9

Sounded = tuple[int, Option]
"""An event by its index, and how it sounds."""


@dataclass(frozen=True)
class Hindrance:
    """Two events that a voice cannot sound both. other: index of the one that sounds. have_s, need_s: between the onsets."""

    other: int
    have_s: float
    need_s: float
    text: str

    @property
    def short_s(self) -> float:
        """By how much they are too near."""
        return self.need_s - self.have_s

    @property
    def slower(self) -> float:
        """How many times as long everything would have to take for both to fit; infinite for two at the same moment."""
        return self.need_s / self.have_s if self.have_s > 0 else math.inf


def between(parts: Parts, slowdown: float, early: Sounded, late: Sounded, other: int) -> Hindrance | None:
    """What keeps one voice from sounding both of two events at a slowdown, None when nothing does."""
    have_s, need_s = gap(parts, slowdown, early, late)
    if have_s >= need_s - _EPSILON_S:
        return None
    return Hindrance(other, have_s, need_s, _too_soon(parts, early[1], late[1], have_s, need_s))


def gap(parts: Parts, slowdown: float, early: Sounded, late: Sounded) -> tuple[float, float]:
    """Seconds that there are between two events of one voice, and seconds that it needs."""
    have_s = (parts.onsets_s[late[0]] - parts.onsets_s[early[0]]) * slowdown
    return have_s, parts.rules.needs[early[1].voice][early[1].place][late[1].place]


def move_named(voice: Voice, a: Place, b: Place) -> str:
    """A change of place: "B4 to D5, 84 mm" on a travelling bar, "two strokes on B4" where it stays."""
    if a == b:
        return f"two strokes on {a.name}"
    far = f", {abs(b.position_mm - a.position_mm):.0f} mm" if voice.travels else ""
    return f"{a.name} to {b.name}{far}"


def needed(parts: Parts, early: Option, late: Option, digits: int = 0) -> str:
    """What a change needs, and what that is made of: "382 ms (60 to ring, 302 to travel, 20 to settle)"."""
    voice = parts.voices[early.voice]
    need_s = parts.rules.needs[early.voice][early.place][late.place]
    if need_s <= voice.rearm_s:
        return f"{_ms(need_s, digits)} ms to strike again"
    settle_s = voice.settle_s
    way = "travel" if voice.travels else "change"
    pieces = [(parts.taste.least_ring_s, "ring"), (need_s - parts.taste.least_ring_s - settle_s, way), (settle_s, "settle")]
    return f"{_ms(need_s, digits)} ms ({', '.join(f'{_ms(length_s, digits)} to {what}' for length_s, what in pieces if length_s > 0)})"


def _too_soon(parts: Parts, early: Option, late: Option, have_s: float, need_s: float) -> str:
    voice = parts.voices[early.voice]
    a, b = voice.places[early.place], voice.places[late.place]
    if have_s == 0 and a == b:
        return f"{a.name} is struck for another note at the same moment"
    if have_s == 0:
        return f"{a.name} and {b.name} start together and one voice sounds one note at a time"
    digits = 0 if round(1000 * have_s) < round(1000 * need_s) else 1
    return f"{move_named(voice, a, b)}: there are {_ms(have_s, digits)} ms, and it needs {needed(parts, early, late, digits)}"


def _ms(seconds: float, digits: int) -> str:
    return f"{1000 * seconds:.{digits}f}"
