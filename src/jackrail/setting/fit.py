"""Fitting: the door of this stage. A tune and a machine's voices in, the best setting out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from itertools import count
from time import perf_counter

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import Voice
from jackrail.tune.embellish import written_out
from jackrail.tune.model import Tune

from .asked import as_asked
from .explain import Explainer, with_roomless
from .harmony import chord_bars, propose
from .leaving import with_leaving
from .model import SetBeat, SetNote, SetStroke, Setting
from .parts import Parts
from .search import Found, Search
from .why import why
from .wishes import Wishes, slowdown_for, transpositions_for, written_tempo

_LEAD_IN_STEP_S = 0.25
_MOST_TRIES = 8
"""Searches with ever fewer ornaments before all are left out."""


def fit(tune: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes | None = None) -> Setting:
    """The setting of least cost (see `Taste`) of a tune for the voices of a machine.

    Raises BadInput for wishes that cannot be read or met, or for a tune without notes.
    """
    wishes = wishes or Wishes()
    if not tune.notes:
        raise BadInput(Fault("tune", "the tune has no notes", tune.title))
    parts = Parts(tune, voices, wishes.weights, wishes.strum)
    found = _search(parts, {}, transpositions_for(parts, wishes), slowdown_for(tune, wishes))
    return _setting(parts, found, machine_name, wishes)


def arrange(tune: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes | None = None) -> tuple[Tune, Setting]:
    """The tune as it is to be played, with the small notes and chords wished for, and its setting of least cost.

    Where there are no chords and `wishes` allow it, some are proposed from the machine's chord bars, those that cost least together
    with the key, the tempo and all else. Raises BadInput like `fit` and `embellished`.
    """
    wishes = wishes or Wishes()
    heard = as_asked(tune, wishes)
    full, roomless = written_out(heard, wishes.ornaments)
    full, setting = _arrange(heard, full, voices, machine_name, wishes)
    return full, with_roomless(setting, full, roomless)


def _arrange(heard: Tune, full: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes) -> tuple[Tune, Setting]:
    """The tune with what chords are proposed for it, and its setting. full: `heard` with its small notes written out."""
    bars = chord_bars(voices) if wishes.harmony == "any" and not heard.chords else []
    if not bars or not heard.notes:
        return full, fit(full, voices, machine_name, wishes)
    parts = Parts(full, voices, wishes.weights, wishes.strum)
    keys = transpositions_for(parts, wishes)
    proposals = propose(heard, bars, sorted({transpose % 12 for transpose in keys}))
    by_key = {
        key: parts.with_chords(proposal.added_to(full), wishes.weights.harmony * proposal.cost) for key, proposal in proposals.items()
    }
    found = _search(parts, by_key, keys, slowdown_for(full, wishes))
    chosen = by_key[found.transpose % 12]
    return chosen.tune, _setting(chosen, found, machine_name, wishes)


def _search(parts: Parts, by_key: Mapping[int, Parts], transpositions: list[int], slowdown: float | None) -> Found:
    """The arrangement of least cost, again without such ornaments as would not be whole in it until there is none.

    What was set aside in one key might have been whole in another, so then nothing is proven any more but that nothing costs less than
    was found before any was set aside.
    """
    began_s, least = perf_counter(), -math.inf
    for done in count():
        found = Search(parts, by_key).run(transpositions, slowdown)
        least = found.bound if done == 0 else least
        torn = parts.torn({index for index, option in enumerate(found.notes.options) if option is not None and option.octaves == 0})
        if not torn:
            break
        parts.barred |= torn if done < _MOST_TRIES else {index for index, note in enumerate(parts.tune.notes) if note.ornamental}
    return replace(found, proven=found.proven and not parts.barred, bound=least, search_s=perf_counter() - began_s)


def _setting(parts: Parts, found: Found, machine_name: str, wishes: Wishes) -> Setting:
    tune, notes = parts.tune, _notes(parts, found)
    strokes = [
        SetStroke(moment.onset_s * found.slowdown, option.voice, moment.symbol.symbol, moment.repeated)
        for moment, option in zip(parts.moments, found.chords.options, strict=True)
        if option is not None
    ]
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
        small_total=sum(note.ornamental for note in tune.notes),
        harmony=tune.harmony or ("written" if tune.chords else ""),
        warnings=tune.warnings,
        remarks=tune.remarks,
    )


def _notes(parts: Parts, found: Found) -> list[SetNote]:
    lengths_s = parts.lengths_kept_s({index for index, option in enumerate(found.notes.options) if option is not None})
    return [
        SetNote(
            index=index,
            onset_s=parts.onsets_s[index] * found.slowdown,
            written_s=lengths_s[index] * found.slowdown,
            midi=parts.tune.notes[index].midi + found.transpose + 12 * option.octaves,
            octaves=option.octaves,
            voice=option.voice,
            place=option.place,
            ornamental=parts.tune.notes[index].ornamental,
            slid=option.slid,
        )
        for index, option in enumerate(found.notes.options)
        if option is not None
    ]


def _beats(parts: Parts, slowdown: float) -> list[SetBeat]:
    """Every drum beats the first beat of each bar, unless it could not be ready again."""
    beats = []
    for v, voice in enumerate(parts.voices):
        last_s = -math.inf
        for bar in parts.tune.bars:
            at_s = parts.tune.seconds_at(bar.onset_q) * slowdown
            if voice.part == "beat" and bar.downbeat and at_s - last_s >= voice.rearm_s:
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


def key_name(tune: Tune, transpose: int) -> str:
    """Tonic and mode of a tune after a transposition, "" when it states no key: "A dorian"."""
    return tune.key.name(transpose) if tune.key is not None else ""
