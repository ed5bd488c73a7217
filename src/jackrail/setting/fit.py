"""Fitting: the door of this stage. A tune and a machine's voices in, the best setting out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count
from time import perf_counter

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import Voice
from jackrail.tune.embellish import written_out
from jackrail.tune.model import Ornament, Tune

from .asked import as_asked
from .explain import Explainer, with_roomless
from .front import Front, front_of, point_of
from .harmony import chord_bars
from .idiom.doubling import struck_again
from .idiom.dynamics import touched
from .idiom.rolling import rolled
from .idiom.slides import with_slides
from .idiom.vibrato import swaying
from .in_keys import InKeys
from .leaving import with_leaving
from .model import SetBeat, SetNote, SetStroke, Setting
from .parts import Manner, Parts
from .repeats import alike_groups
from .search import Found, Search
from .sounding import chosen_notes
from .strokes import within_heat
from .why import why
from .wishes import Wishes, slowdown_for, transpositions_for, written_tempo

_LEAD_IN_STEP_S = 0.25
_MOST_TRIES = 8
"""Searches with ever fewer ornaments before all are left out."""


@dataclass(frozen=True)
class _Task:
    """What a fit chooses from. full: the tune with its small notes written out; roomless: ornaments without room; by_key: see `Search`."""

    full: Tune
    roomless: Sequence[Ornament]
    parts: Parts
    by_key: Mapping[int, Parts]
    keys: list[int]
    slowdown: float | None

    def parts_in(self, transpose: int) -> Parts:
        """The tune as it is in a key, with the chords proposed there."""
        return self.by_key.get(transpose % 12, self.parts)


def arrange(tune: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes | None = None) -> tuple[Tune, Setting]:
    """The tune as it is to be played, with the small notes and chords wished for, and its setting of least cost (see `Taste`).

    Where there are no chords and `wishes` allow it, some are proposed from the machine's chord bars, those that cost least together
    with the key, the tempo and all else. With `Wishes.point` it is that point of the trade-off. Raises BadInput for wishes that cannot be
    read or met, for a tune without notes, and like `written_out`.
    """
    wishes = wishes or Wishes()
    task = _task(tune, voices, wishes)
    found = _search(task)
    if wishes.point is not None:
        taken = point_of(_front(task, found), wishes.point)
        found = replace(taken.found, bound=found.bound, proven=taken.chosen and found.proven, search_s=found.search_s)
    parts = task.parts_in(found.transpose)
    setting = with_slides(_setting(parts, found, machine_name, wishes), parts.tune, tune.ornaments, voices, wishes)
    setting = rolled(setting, voices, wishes)
    setting = struck_again(setting, parts.tune, voices, wishes)
    setting = swaying(setting, voices, wishes)
    setting = touched(setting, parts.tune, voices, wishes)
    return parts.tune, with_roomless(setting, task.full, task.roomless)


def fit(tune: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes | None = None) -> Setting:
    """The setting of `arrange`, without the tune."""
    return arrange(tune, voices, machine_name, wishes)[1]


def trade_off(tune: Tune, voices: tuple[Voice, ...], wishes: Wishes | None = None) -> Front:
    """What could be had instead: tempo against notes against sustain. Raises BadInput like `arrange`."""
    task = _task(tune, voices, wishes or Wishes())
    return _front(task, _search(task))


def _front(task: _Task, found: Found) -> Front:
    return front_of(task.parts, task.by_key, task.keys, task.slowdown, found)


def _task(tune: Tune, voices: tuple[Voice, ...], wishes: Wishes) -> _Task:
    """The tune as it is wished for, prepared, with what chords are proposed for it in each key."""
    heard = as_asked(tune, wishes)
    full, roomless = written_out(heard, wishes.ornaments, slides=wishes.slides == "written")
    if not full.notes:
        raise BadInput(Fault("tune", "the tune has no notes", tune.title))
    alike = tuple(alike_groups(full)) if wishes.repeats == "alike" else ()
    parts = Parts(full, voices, wishes.weights, Manner(wishes.strum, alike, slides=wishes.slides == "free"))
    keys, slowdown = transpositions_for(parts, wishes), slowdown_for(full, wishes)
    bars = chord_bars(voices) if wishes.harmony == "any" and not heard.chords else []
    by_key = InKeys(parts, heard, bars, [transpose % 12 for transpose in keys]) if bars else {}
    return _Task(full, roomless, parts, by_key, keys, slowdown)


def _search(task: _Task) -> Found:
    """The arrangement of least cost, again without such ornaments as would not be whole in it until there is none.

    What was set aside in one key might have been whole in another, so then nothing is proven any more but that nothing costs less than
    was found before any was set aside.
    """
    began_s, least, parts = perf_counter(), -math.inf, task.parts
    for done in count():
        found = Search(parts, task.by_key).run(task.keys, task.slowdown)
        least = found.bound if done == 0 else least
        whole = {index for index, option in enumerate(found.notes.options) if option is not None and option.octaves == 0}
        torn = parts.lengths.torn(whole) - parts.barred
        if not torn:
            break
        parts.barred |= torn if done < _MOST_TRIES else {index for index, note in enumerate(parts.tune.notes) if note.ornamental}
    return replace(found, proven=found.proven and not parts.barred, bound=least, search_s=perf_counter() - began_s)


def _setting(parts: Parts, found: Found, machine_name: str, wishes: Wishes) -> Setting:
    tune, notes = parts.tune, chosen_notes(parts, found)
    strokes = [
        SetStroke(moment.onset_s * found.slowdown, option.voice, moment.symbol.symbol, moment.repeated)
        for moment, option in zip(parts.moments, found.chords.options, strict=True)
        if option is not None
    ]
    strokes = within_heat(strokes, parts.voices)
    beats = _beats(parts, found.slowdown)
    lead_in_s = _lead_in_s(parts.voices, notes, [(s.onset_s, s.voice) for s in strokes] + [(b.onset_s, b.voice) for b in beats])
    notes = [replace(note, onset_s=note.onset_s + lead_in_s) for note in notes]
    return Setting(
        title=tune.title,
        machine=machine_name,
        transpose_semitones=found.transpose,
        tempo_factor=1.0 / found.slowdown,
        quarters_per_minute=written_tempo(tune) / found.slowdown,
        lead_in_s=lead_in_s,
        notes=tuple(with_leaving(notes, parts.voices, early=wishes.leave == "early", least_ring_s=wishes.weights.least_ring_s)),
        strokes=tuple(replace(stroke, onset_s=stroke.onset_s + lead_in_s) for stroke in strokes),
        beats=tuple(replace(beat, onset_s=beat.onset_s + lead_in_s) for beat in beats),
        losses=tuple(Explainer(parts, found, lead_in_s).losses()),
        why=why(parts, found, wishes),
        notes_total=sum(not note.ornamental for note in tune.notes),
        chords_total=sum(not moment.repeated for moment in parts.moments),
        chords_kept=sum(not stroke.repeated for stroke in strokes),
        optimal=found.proven,
        cost=found.cost,
        bound=found.bound,
        search_s=found.search_s,
        point=wishes.point,
        small_total=sum(note.ornamental for note in tune.notes),
        harmony=tune.harmony or ("written" if tune.chords else ""),
        warnings=tune.warnings,
        remarks=tune.remarks,
    )


def _beats(parts: Parts, slowdown: float) -> list[SetBeat]:
    """Every drum beats the first beat of each bar, unless it could not be ready again."""
    beats = []
    for v, voice in enumerate(parts.voices):
        last_s = -math.inf
        for bar in parts.tune.bars if voice.part == "beat" else ():
            at_s = parts.tune.seconds_at(bar.onset_q) * slowdown
            if bar.downbeat and at_s - last_s >= voice.rearm_s:
                beats.append(SetBeat(at_s, v))
                last_s = at_s
    return sorted(beats, key=lambda beat: beat.onset_s)


def _lead_in_s(voices: tuple[Voice, ...], notes: list[SetNote], others: list[tuple[float, int]]) -> float:
    """Time before the first beat that lets every voice be ready for its first sound, in whole quarter seconds."""
    first: dict[int, tuple[float, int]] = {}
    for onset_s, v, place in [(note.onset_s, note.voice, note.place) for note in notes] + [(at, v, 0) for at, v in others]:
        first.setdefault(v, (onset_s, place))
    short_s = [voices[v].ready_s[place] - onset_s for v, (onset_s, place) in first.items()]
    return _LEAD_IN_STEP_S * (math.floor(max([0.0, *short_s]) / _LEAD_IN_STEP_S) + 1)
