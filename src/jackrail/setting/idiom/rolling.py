"""Rolled chords: notes that start together begin one after the other, from the lowest to the highest, which is on the beat.

30 ms apart is common practice (no source): well above the 20 ms at which people tell which of two came first (Hirsh 1959), well below
what is heard as a figure. The lower notes come before the beat, so each is moved only by as much as its voice is free for: what it
sounded before keeps its place, is let ring, and can be left.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from jackrail.motion.voice import Voice
from jackrail.setting.events import Rules
from jackrail.setting.leaving import with_leaving
from jackrail.setting.model import SetNote, Setting
from jackrail.setting.wishes import Wishes

from .room import Room

APART_S = 0.03
_MOST_SHARE = 0.25
"""A roll takes no more than this share of the shortest of its notes."""
_TOGETHER_S = 1e-6


def rolled(setting: Setting, voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with its chords rolled where `wishes.rolled`. Chord bars sound all their strings with one coil and stay on the beat."""
    if not wishes.rolled:
        return setting
    rules, room = Rules(voices, wishes.weights.least_ring_s), Room(setting, voices)
    before: dict[int, SetNote] = {}
    notes: list[SetNote] = []
    for _, group in groupby(setting.notes, key=lambda note: round(note.onset_s / _TOGETHER_S)):
        together = list(group)
        moved = dict(_moved([note for note in together if not (note.slid or note.ornamental)], before, voices, rules))
        away = [note.onset_s for note in together if note.index in moved]
        fits = not moved or room.moved(away, [note.onset_s for note in moved.values()])
        played = [moved.get(note.index, note) for note in together] if fits else together
        notes += played
        before |= {note.voice: note for note in played}
    notes = _cooled(setting.notes, notes, voices)
    left = with_leaving(notes, voices, early=wishes.leave == "early", least_ring_s=wishes.weights.least_ring_s)
    return replace(setting, notes=tuple(left))


def _cooled(written: Sequence[SetNote], notes: Sequence[SetNote], voices: tuple[Voice, ...]) -> list[SetNote]:
    """The notes as moved, but as written those of each voice whose coil would only now grow too hot: strokes came nearer together."""
    hot = {v for v, voice in enumerate(voices) if not _borne(voice, notes, v) and _borne(voice, written, v)}
    kept = [*(note for note in notes if note.voice not in hot), *(note for note in written if note.voice in hot)]
    return sorted(kept, key=lambda note: (note.onset_s, note.index))


def _borne(voice: Voice, notes: Sequence[SetNote], v: int) -> bool:
    return voice.bears(note.onset_s for note in notes if note.voice == v and not note.slid)


def _moved(chord: Sequence[SetNote], before: dict[int, SetNote], voices: tuple[Voice, ...], rules: Rules) -> Iterator[tuple[int, SetNote]]:
    """The notes of a chord that come before their beat, by index. before: what each voice sounded last."""
    ordered = sorted(chord, key=lambda note: note.midi)
    apart_s = min(APART_S, _MOST_SHARE * min((note.written_s for note in chord), default=0.0) / max(1, len(chord) - 1))
    ahead_s = apart_s * (len(chord) - 1)
    for place, note in enumerate(ordered[:-1]):
        last = before.get(note.voice)
        free_s = voices[note.voice].ready_s[note.place] if last is None else last.onset_s + rules.needs[note.voice][last.place][note.place]
        ahead_s = max(0.0, min(ahead_s, apart_s * (len(chord) - 1 - place), note.onset_s - free_s))
        if ahead_s > _TOGETHER_S:
            yield note.index, replace(note, onset_s=note.onset_s - ahead_s, written_s=note.written_s + ahead_s, ahead_s=ahead_s)
