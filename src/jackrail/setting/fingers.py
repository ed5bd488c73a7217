"""When press fingers go down and up, worked out once for what is heard and for what is switched.

A finger is pressed early enough to have settled before its note, and lifted for the next note of its string or when its
note is over, never later than its coil may be on. It stays down over repeated notes of its fret while it may; else it is
lifted between two of them, for as long as its coil needs to cool.
"""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.motion.heat import Press
from jackrail.motion.voice import GUARD_S, Voice

from .model import SetNote


@dataclass(frozen=True)
class Hold:
    """A finger's coil switched on and off, in seconds, for the notes (of the tune, by index) it stays down for."""

    coil: str
    on_s: float
    off_s: float
    notes: tuple[int, ...]


def finger_holds(notes: list[SetNote], voice: Voice) -> list[Hold]:
    """Every hold of one fretted string's fingers. notes: those of this voice, in time order."""
    holds: list[Hold] = []
    held: list[SetNote] = []
    for note, after in zip(notes, [*notes[1:], None], strict=False):
        press, fit_s = voice.presses[note.place], voice.settle_s + GUARD_S
        if press is None:
            continue
        held.append(note)
        on_s = held[0].onset_s - fit_s - press.lead_s
        latest_s = on_s + press.endurance.max_on_s
        if after is not None and after.place == note.place and after.onset_s + after.written_s <= latest_s:
            continue
        off_s = _lift_s(note, after, press, fit_s)
        if off_s > latest_s:  # a rest follows that is longer than the coil may be on
            off_s = min(note.onset_s + note.written_s, latest_s)
        if after is not None and after.place == note.place:  # it cools as much as it grew hot, and is pressed again
            pressed_s = after.onset_s - fit_s - press.lead_s
            off_s = min(off_s, on_s + press.endurance.max_duty * (pressed_s - on_s))
        holds.append(Hold(press.coil, on_s, max(off_s, note.onset_s), tuple(one.index for one in held)))
        held = []
    return holds


def _lift_s(note: SetNote, after: SetNote | None, press: Press, fit_s: float) -> float:
    """When to let go so that the string is free in time for the next note, or when the last note is over."""
    if after is None:
        return note.onset_s + note.written_s
    press_again_s = press.lead_s + GUARD_S if after.place == note.place else 0.0
    return after.onset_s - fit_s - press_again_s - press.release_s
