"""When each voice leaves for its next place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from jackrail.motion.voice import Voice

from .model import SetNote


def with_leaving(notes: Sequence[SetNote], voices: tuple[Voice, ...], *, early: bool, least_ring_s: float) -> list[SetNote]:
    """Notes in time order, each with the moment its voice leaves: as late as it can, or `early`, once it has spoken.

    A bar that glides into the next note arrives at its onset, neither settling before it nor leaving early: the glide is the note.
    """
    following: dict[int, SetNote] = {}
    result = []
    for note in reversed(notes):
        after, voice = following.get(note.voice), voices[note.voice]
        following[note.voice] = note
        if after is None or after.place == note.place:
            result.append(note if note.leave_s is None else replace(note, leave_s=None))
            continue
        leave_s = after.onset_s - (voice.slide_s if after.slid else voice.move_s)[note.place][after.place]
        if early and voice.travels and not after.slid:
            leave_s = min(leave_s, note.onset_s + least_ring_s)
        result.append(replace(note, leave_s=leave_s))
    return result[::-1]
