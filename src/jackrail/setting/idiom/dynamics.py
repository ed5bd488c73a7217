"""Dynamics: hammers that can strike softly do so, by what is written in the tune or by the beat.

A note has a strength, 0 to 1, and is struck with the nearest touch that its hammer has, of two as near the harder. Written: its velocity
over that of forte, at which a hammer strikes fully. By the beat: the first of a bar fully, the others with 0.8, between them 0.6, which
is how accents of the metre are played (common practice, no source).

A softer blow is switched on earlier. Where that would make a coil too hot, or have more coils on at once than when all strike fully,
for which the supply is known to do or is told not to, those notes are struck fully, as they were fitted to.
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

_FULL = -1
BY_ACCENT = {FIRST_BEAT: 1.0, BEAT: 0.8, BETWEEN: 0.6}


def touched(setting: Setting, tune: Tune, voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with the touch of each note by `wishes.dynamics`. tune: as it is played."""
    if wishes.dynamics == "even" or not any(voice.touches for voice in voices):
        return setting
    wanted = _strengths(tune, wishes)
    notes = [_struck(note, voices[note.voice], wanted[note.index]) for note in setting.notes]
    most = _most_at_once(_spans(setting, setting.notes, voices))
    while too_much := {*_hot(notes, voices), *_crowded(_spans(setting, notes, voices), most)}:
        notes = [full if full.index in too_much else note for full, note in zip(setting.notes, notes, strict=True)]
    return replace(setting, notes=tuple(notes))


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


Span = tuple[float, float, int]
"""A coil is switched on and off; index of the note if that is a soft one, else -1: what is full is not to be changed."""


def _hot(notes: Sequence[SetNote], voices: tuple[Voice, ...]) -> Iterator[int]:
    """The soft notes (by index) of hammers whose coils do not bear their blows."""
    for v, voice in enumerate(voices):
        mine = [note for note in notes if note.voice == v] if voice.touches else []
        if voice.blow is not None and any(note.touch for note in mine):
            spans = sorted((on_s, off_s) for note in mine for on_s, off_s, _ in _blows(note, voice))
            if voice.blow.endurance.first_too_hot(spans) is not None:
                yield from (note.index for note in mine if note.touch)


def _blows(note: SetNote, voice: Voice) -> Iterator[Span]:
    touch = voice.touch(note.touch)
    for at_s in struck_at_s(note):
        yield at_s - touch.lead_s, at_s - touch.lead_s + touch.pulse_s, note.index if note.touch else _FULL


def _spans(setting: Setting, notes: Sequence[SetNote], voices: tuple[Voice, ...]) -> list[Span]:
    """All times at which a coil that strikes is on, chord bars and drums among them. notes: those of the setting, with their touches."""
    spans = [span for note in notes if voices[note.voice].blow for span in _blows(note, voices[note.voice])]
    others = [(stroke.onset_s, voices[stroke.voice]) for stroke in setting.strokes]
    others += [(beat.onset_s, voices[beat.voice]) for beat in setting.beats]
    for at_s, voice in others:
        if voice.blow is not None:
            spans.append((at_s - voice.lead_s, at_s - voice.lead_s + voice.blow.pulse_s, _FULL))
    return spans


def _counted(spans: Sequence[Span]) -> Iterator[tuple[int, set[int]]]:
    """Each time a coil is switched on: how many are on then, and the soft notes among them."""
    on, soft = 0, set[int]()
    for _, goes_on, index in sorted(
        [(off_s, False, index) for _, off_s, index in spans] + [(on_s, True, index) for on_s, _, index in spans]
    ):
        on += 1 if goes_on else -1
        if index != _FULL:
            (soft.add if goes_on else soft.discard)(index)
        if goes_on:
            yield on, soft


def _most_at_once(spans: Sequence[Span]) -> int:
    return max((on for on, _ in _counted(spans)), default=0)


def _crowded(spans: Sequence[Span], most: int) -> set[int]:
    """The soft notes that are on when more than `most` coils are."""
    return {index for on, soft in _counted(spans) if on > most for index in soft}
