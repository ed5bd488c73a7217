"""When a voice strikes and when its bar moves: every stroke and move of a setting, worked out once for what is heard and what is sent."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from jackrail.motion.voice import Voice

from .model import SetNote, Vibrato


@dataclass(frozen=True)
class Leg:
    """One move from rest to rest. origin, target: in steps of the carriage."""

    start_s: float
    origin: int
    target: int


def struck_at_s(note: SetNote) -> tuple[float, ...]:
    """When a note is struck: at its onset, unless its bar glides into it, and again."""
    return note.again_s if note.slid else (note.onset_s, *note.again_s)


def legs_of(notes: Sequence[SetNote], voice: Voice) -> Iterator[Leg]:
    """The moves of a bar that stands at the place of its first note, in time order. notes: those of this voice, in time order."""
    for note, after in zip_longest(notes, notes[1:]):
        here = voice.places[note.place].steps
        if note.vibrato is not None:
            yield from _swaying(note.vibrato, here)
        if after is not None and note.leave_s is not None:
            yield Leg(note.leave_s, here, voice.places[after.place].steps)


def _swaying(vibrato: Vibrato, here: int) -> Iterator[Leg]:
    """From the middle to one side, from side to side in each half wave, and back to the middle."""
    halves = int((vibrato.ends_s - vibrato.begins_s) * 2 * vibrato.rate_hz)
    at = here
    for half in range(halves + 1):
        target = here if half == halves else here + (vibrato.swing_steps if half % 2 == 0 else -vibrato.swing_steps)
        yield Leg(vibrato.begins_s + half / (2 * vibrato.rate_hz), at, target)
        at = target
