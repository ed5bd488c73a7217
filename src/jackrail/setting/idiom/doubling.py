"""Double strokes and tremolo: a note that lasts is struck again while it does.

"double" strikes a note of at least one felt beat again halfway; "tremolo" strikes one of at least two as often as its voice can, evenly,
not faster than 12 times a second: as fast as a hand (common practice, no source). A stroke is added only where nothing else gives
way: each voice has its time to strike again, each stroke rings before its bar or finger leaves, no coil grows too hot, no more coils are
on at once than without it, since the supply may give no more, and no more sounds come close together than the board can have waiting.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace

from jackrail.motion.voice import Voice
from jackrail.setting.fingers import finger_holds
from jackrail.setting.legs import struck_at_s
from jackrail.setting.model import SetNote, Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.embellish import MOST_A_SECOND
from jackrail.tune.model import Tune, beat_length_q

from .room import Room

_EPSILON_S = 1e-9


def struck_again(setting: Setting, tune: Tune, voices: tuple[Voice, ...], wishes: Wishes) -> Setting:
    """`setting` with the further strokes that `wishes.strokes` asks for. tune: as it is played."""
    if wishes.strokes == "single":
        return setting
    room = Room(setting, voices)
    made: dict[int, SetNote] = {}
    for v, voice in enumerate(voices):
        notes = [note for note in setting.notes if note.voice == v]
        ends_s = _ends_s(notes, voice, wishes.weights.least_ring_s)
        struck = [at_s for note in notes for at_s in struck_at_s(note)]
        for note in notes:
            window = _window(note, ends_s[note.index], struck, voice)
            for again_s in _ways(note, window, _beats(setting, tune, note), voice, tremolo=wishes.strokes == "tremolo"):
                if voice.bears([*struck, *again_s]) and room.moved((), again_s):
                    made[note.index] = replace(note, again_s=again_s)
                    struck = sorted([*struck, *again_s])
                    break
    return replace(setting, notes=tuple(made.get(note.index, note) for note in setting.notes))


def _ends_s(notes: Sequence[SetNote], voice: Voice, least_ring_s: float) -> dict[int, float]:
    """When each note (by index) can last be struck, so that it is heard before it is over and its bar or finger leaves."""
    lifts_s = {index: hold.off_s for hold in finger_holds(list(notes), voice) for index in hold.notes} if voice.presses else {}
    ends_s = {}
    for note in notes:
        leaves_s = [at_s for at_s in (note.leave_s, lifts_s.get(note.index)) if at_s is not None]
        ends_s[note.index] = min([note.onset_s + note.written_s, *leaves_s]) - least_ring_s
    return ends_s


def _beats(setting: Setting, tune: Tune, note: SetNote) -> float:
    """How many felt beats a note lasts, in the metre where it stands."""
    onset_q = tune.notes[note.index].onset_q
    bar = tune.bar_at(onset_q)
    beat_q = beat_length_q(bar.beats, bar.beat_unit) if bar else 1
    return note.written_s * setting.tempo_factor / (tune.seconds_at(onset_q + beat_q) - tune.seconds_at(onset_q))


def _window(note: SetNote, last_s: float, struck: Sequence[float], voice: Voice) -> tuple[float, float]:
    """From when to when a note can be struck again. struck: when its voice strikes, with all strokes added so far."""
    after = bisect_right(struck, note.onset_s + _EPSILON_S)
    first_s = note.onset_s + (voice.settle_s if note.slid else 0.0)
    if after:
        first_s = max(first_s, struck[after - 1] + voice.rearm_s)
    return first_s, min(last_s, struck[after] - voice.rearm_s) if after < len(struck) else last_s


def _ways(note: SetNote, window: tuple[float, float], beats: float, voice: Voice, *, tremolo: bool) -> Iterator[tuple[float, ...]]:
    """Rows of further strokes, the fullest first."""
    least_s = max(voice.rearm_s, 1 / MOST_A_SECOND) if tremolo else voice.rearm_s
    if note.ornamental or beats < (2 if tremolo else 1) - _EPSILON_S:
        return
    most = int((note.written_s + _EPSILON_S) / least_s) if tremolo else 2
    for parts in range(most, 1, -1):
        row = [note.onset_s + note.written_s * part / parts for part in range(1, parts)]
        within = tuple(at_s for at_s in row if window[0] - _EPSILON_S <= at_s <= window[1] + _EPSILON_S)
        if within:
            yield within
