"""Vibrato: a bar sways under a note that rings long at its pitch, after a third of that, as players do (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

from jackrail.motion.sway import RATE_HZ, Sway
from jackrail.motion.voice import GUARD_S, Voice
from jackrail.setting.model import SetNote, Setting, Vibrato
from jackrail.setting.wishes import Wishes

LEAST_RING_S = 0.6
_BEGINS_AFTER = 1 / 3
_LEAST_HALVES = 2
"""Half waves: one whole wave at least."""


def swaying(setting: Setting, voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with vibrato wherever a bar may sway and a note rings at its pitch for `LEAST_RING_S`, where `wishes.vibrato`."""
    if not wishes.vibrato:
        return setting
    following: dict[int, SetNote] = {}
    notes = []
    for note in reversed(setting.notes):
        voice = voices[note.voice]
        sway = voice.sways[note.place] if voice.sways and not note.ornamental else None
        vibrato = _vibrato(note, following.get(note.voice), voice, sway) if sway else None
        notes.append(replace(note, vibrato=vibrato))
        following[note.voice] = note
    return replace(setting, notes=tuple(reversed(notes)))


def _vibrato(note: SetNote, after: SetNote | None, voice: Voice, sway: Sway) -> Vibrato | None:
    """How the bar sways under a note, None where it is too short. It is back, and settled where it has to be, before all else."""
    struck_s = note.again_s[-1] if note.again_s else note.onset_s
    over_s = min(note.onset_s + note.written_s, struck_s + voice.ring_s)
    if after is not None:
        over_s = min(over_s, after.onset_s - voice.settle_s - GUARD_S if note.leave_s is None else note.leave_s - GUARD_S)
    begins_s = struck_s + (over_s - struck_s) * _BEGINS_AFTER
    halves = int((over_s - begins_s - sway.out_s) * 2 * RATE_HZ)
    if over_s - struck_s < LEAST_RING_S or halves < _LEAST_HALVES:
        return None
    return Vibrato(begins_s, begins_s + halves / (2 * RATE_HZ) + sway.out_s, RATE_HZ, sway.swing_steps)
