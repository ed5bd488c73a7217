"""Slides that are written: the small note is struck, and the bar glides into the main note, which it reaches on its beat.

A slide wants more time than a grace note: the small note must speak before the bar may leave, and a bar takes its time. So it begins as
early as those need, in at most half of the time since the note before, like every small note before a beat. Where there is not that
time, or the main note is not played by a travelling bar, the slide stays the small note that the fit made of it, or left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from jackrail.motion.voice import Voice
from jackrail.setting.events import Rules
from jackrail.setting.leaving import with_leaving
from jackrail.setting.model import SetNote, Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament, Tune

_EPSILON_S = 1e-9


def with_slides(setting: Setting, tune: Tune, ornaments: Sequence[Ornament], voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with real slides where `wishes.slides` is "written". tune: as it is played; ornaments: as the file has them."""
    if wishes.slides != "written":
        return setting
    least_ring_s = wishes.weights.least_ring_s
    bench, found = _Bench(setting, tune, voices, Rules(voices, least_ring_s)), set()
    for small, main in _written(tune, ornaments):
        found |= {small} if bench.slide(small, main, least_ring_s) else set()
    if not found:
        return setting
    left = with_leaving(bench.notes, voices, early=wishes.leave == "early", least_ring_s=least_ring_s)
    losses = tuple(loss for loss in setting.losses if loss.index not in found)
    return replace(setting, notes=tuple(left), losses=losses)


def _written(tune: Tune, ornaments: Sequence[Ornament]) -> Iterator[tuple[int, int]]:
    """Index of the small and of the main note of each slide that was written out."""
    mains = {(note.onset_q, note.midi): index for index, note in enumerate(tune.notes) if not note.ornamental}
    smalls = {(note.onset_q + note.duration_q, note.midi): index for index, note in enumerate(tune.notes) if note.ornamental}
    for one in (one for one in ornaments if one.kind == "slide"):
        small, main = smalls.get((one.onset_q, one.keys[0])), mains.get((one.onset_q, one.midi))
        if small is not None and main is not None:
            yield small, main


class _Bench:
    """The notes of a setting while slides are put among them."""

    def __init__(self, setting: Setting, tune: Tune, voices: tuple[Voice, ...], rules: Rules) -> None:
        self.notes = list(setting.notes)
        self._setting, self._tune, self._voices, self._rules = setting, tune, voices, rules

    def slide(self, small: int, main: int, least_ring_s: float) -> bool:
        """Play a small and a main note (by index) as a slide. Returns whether the machine can, and has the time."""
        into = next((note for note in self.notes if note.index == main), None)
        if into is None or into.slid or not self._voices[into.voice].slide_s:
            return False
        voice, midi = self._voices[into.voice], self._tune.notes[small].midi + self._setting.transpose_semitones + 12 * into.octaves
        start = next((place for place, one in enumerate(voice.places) if one.midi == midi), into.place)
        lasts_s = least_ring_s + voice.slide_s[start][into.place]
        others = [note for note in self.notes if note.index not in (small, main)]
        earlier = [note for note in others if note.onset_s < into.onset_s]
        since_s = earlier[-1].onset_s if earlier else -math.inf
        begins_s = into.onset_s - lasts_s
        if lasts_s > (into.onset_s - since_s) / 2 or begins_s < self._free_s(earlier, into.voice, start) - _EPSILON_S:
            return False
        struck = SetNote(small, begins_s, lasts_s, midi, into.octaves, into.voice, start, ornamental=True)
        self.notes = sorted([*others, struck, replace(into, slid=True)], key=lambda note: (note.onset_s, note.index))
        return True

    def _free_s(self, earlier: Sequence[SetNote], v: int, place: int) -> float:
        """When a voice can strike at a place, after the last of some notes that it sounds."""
        before = next((note for note in reversed(earlier) if note.voice == v), None)
        return self._voices[v].ready_s[place] if before is None else before.onset_s + self._rules.needs[v][before.place][place]
