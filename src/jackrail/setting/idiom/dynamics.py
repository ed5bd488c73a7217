"""Dynamics: hammers that can strike softly do so, by what is written in the tune or by the beat.

A note has a strength, 0 to 1, and is struck with the nearest touch that its hammer has, of two as near the harder. Written: its velocity
over that of forte, at which a hammer strikes fully. By the beat: the first of a bar fully, the others with 0.8, between them 0.6, which
is how accents of the metre are played (common practice, no source). A softer blow is switched on earlier, and when that would make its
coil too hot the hammer strikes all its notes fully, as it was fitted to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from jackrail.motion.voice import Voice
from jackrail.setting.legs import struck_at_s
from jackrail.setting.metre import BEAT, BETWEEN, FIRST_BEAT, accents
from jackrail.setting.model import SetNote, Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.loudness import FORTE
from jackrail.tune.model import Tune

BY_ACCENT = {FIRST_BEAT: 1.0, BEAT: 0.8, BETWEEN: 0.6}


def touched(setting: Setting, tune: Tune, voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with the touch of each note by `wishes.dynamics`. tune: as it is played."""
    if wishes.dynamics == "even" or not any(voice.touches for voice in voices):
        return setting
    wanted = _strengths(tune, wishes)
    notes = [_struck(note, voices[note.voice], wanted[note.index]) for note in setting.notes]
    hot = {v for v, voice in enumerate(voices) if voice.touches and not _borne(voice, [note for note in notes if note.voice == v])}
    kept = [plain if plain.voice in hot else note for plain, note in zip(setting.notes, notes, strict=True)]
    return replace(setting, notes=tuple(kept))


def _strengths(tune: Tune, wishes: Wishes) -> list[float]:
    """How strongly each note of a tune should sound."""
    by_beat = [BY_ACCENT[accent] for accent in accents(tune)]
    if wishes.dynamics == "beats":
        return by_beat
    written = (note.velocity for note in tune.notes)
    return [beat if velocity is None else min(1.0, velocity / FORTE) for velocity, beat in zip(written, by_beat, strict=True)]


def _struck(note: SetNote, voice: Voice, wanted: float) -> SetNote:
    """A note with the nearest touch of its voice."""
    if not voice.touches:
        return note
    touch = min(range(len(voice.touches)), key=lambda index: round(abs(voice.touches[index].strength - wanted), 9))
    return replace(note, touch=touch, strength=voice.touches[touch].strength)


def _borne(voice: Voice, notes: Sequence[SetNote]) -> bool:
    """Whether the coil of a voice bears its blows."""
    return voice.blow is None or voice.blow.endurance.first_too_hot(_on_s(voice, notes)) is None


def _on_s(voice: Voice, notes: Sequence[SetNote]) -> Iterator[tuple[float, float]]:
    for at_s, touch in sorted((at_s, note.touch) for note in notes for at_s in struck_at_s(note)):
        on_s = at_s - voice.touches[touch].lead_s
        yield on_s, on_s + voice.touches[touch].pulse_s
