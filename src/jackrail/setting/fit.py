"""Fitting: the door of this stage. A tune and a machine's voices in, the best setting out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from typing import Literal

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import Voice
from jackrail.pitch import class_name, parse_chord
from jackrail.tune.model import DEFAULT_QUARTERS_PER_MINUTE, Tune

from .explain import Explainer
from .model import SetBeat, SetNote, SetStroke, Setting
from .parts import Parts
from .search import Found, Search
from .taste import Taste

_LEAD_IN_STEP_S = 0.25


@dataclass(frozen=True)
class Wishes:
    """What the caller wants fixed; None leaves it to the fit.

    key: tonic to play in, as "G" or "Em". transpose: semitones, instead of key. tempo: quarter notes a minute as "96", or
    a share of the written tempo as "80%". leave: "late" lets each note ring at its pitch as long as the travel allows,
    "early" moves as soon as a note has spoken, so that the bar is heard sliding.
    """

    key: str | None = None
    transpose: int | None = None
    tempo: str | None = None
    leave: Literal["late", "early"] = "late"
    taste: Taste = field(default_factory=Taste)


def fit(tune: Tune, voices: tuple[Voice, ...], machine_name: str, wishes: Wishes | None = None) -> Setting:
    """The setting of least cost (see `Taste`) of a tune for the voices of a machine.

    Raises BadInput for wishes that cannot be read or met, or for a tune without notes.
    """
    wishes = wishes or Wishes()
    if not tune.notes:
        raise BadInput(Fault("tune", "the tune has no notes", tune.title))
    parts = Parts(tune, voices, wishes.taste)
    found = Search(parts).run(_transpositions(parts, wishes), _slowdown(tune, wishes))
    return _setting(parts, found, machine_name, wishes)


def _transpositions(parts: Parts, wishes: Wishes) -> list[int]:
    tune = parts.tune
    if wishes.transpose is not None:
        if wishes.key is not None:
            raise BadInput(Fault("option", "give a key or a transposition, not both", "--key, --transpose"))
        return [wishes.transpose]
    every = list(parts.transpositions())
    if wishes.key is None:
        return every
    if tune.key is None or tune.key.tonic_fifths is None:
        raise BadInput(Fault("option", "the tune states no key, so it cannot be moved to one", "--key", wishes.key, hint="use --transpose"))
    wanted = parse_chord(wishes.key)
    if 3 in wanted.intervals and not tune.key.minor:
        hint = f"the tune is {tune.key.mode}: write --key {class_name(wanted.root)}"
        raise BadInput(Fault("option", "the tune cannot be moved into a minor key", "--key", wishes.key, hint=hint))
    shift = (wanted.root - 7 * tune.key.tonic_fifths) % 12
    return [transpose for transpose in every if transpose % 12 == shift] or [shift if shift <= 6 else shift - 12]


def _slowdown(tune: Tune, wishes: Wishes) -> float | None:
    """How much longer everything takes than written, or None to search for it."""
    if wishes.tempo is None:
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(%?)\s*", wishes.tempo)
    if match is None:
        hint = 'write quarter notes a minute, like 96, or a share of the written tempo, like "80%"'
        raise BadInput(Fault("option", "cannot be read as a tempo", "--tempo", repr(wishes.tempo), hint=hint))
    factor = float(match[1]) / (100.0 if match[2] else written_tempo(tune))
    if not 0.05 <= factor <= 4.0:
        raise BadInput(Fault("option", "this tempo is out of range", "--tempo", f"{factor:.3g} times the written tempo", "0.05 to 4 times"))
    return 1.0 / factor


def written_tempo(tune: Tune) -> float:
    """Quarter notes a minute at the start of the tune."""
    return tune.tempo[0].quarters_per_minute if tune.tempo else DEFAULT_QUARTERS_PER_MINUTE


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
        notes=tuple(_with_leaving(notes, parts.voices, wishes)),
        strokes=tuple(replace(stroke, onset_s=stroke.onset_s + lead_in_s) for stroke in strokes),
        beats=tuple(replace(beat, onset_s=beat.onset_s + lead_in_s) for beat in beats),
        losses=tuple(Explainer(parts, found, lead_in_s).losses()),
        notes_total=len(tune.notes),
        chords_total=sum(not moment.repeated for moment in parts.moments),
        chords_kept=sum(not stroke.repeated for stroke in strokes),
        optimal=found.proven,
        cost=found.cost,
    )


def _notes(parts: Parts, found: Found) -> list[SetNote]:
    return [
        SetNote(
            index=index,
            onset_s=parts.onsets_s[index] * found.slowdown,
            written_s=parts.lengths_s[index] * found.slowdown,
            midi=parts.tune.notes[index].midi + found.transpose + 12 * option.octaves,
            octaves=option.octaves,
            voice=option.voice,
            place=option.place,
        )
        for index, option in enumerate(found.notes.options)
        if option is not None
    ]


def _with_leaving(notes: list[SetNote], voices: tuple[Voice, ...], wishes: Wishes) -> list[SetNote]:
    """Each note with the moment its voice leaves for its next place: as late as it can, or early for a bar to be heard."""
    following: dict[int, SetNote] = {}
    result = []
    for note in reversed(notes):
        after, voice = following.get(note.voice), voices[note.voice]
        following[note.voice] = note
        if after is None or after.place == note.place:
            result.append(note)
            continue
        leave_s = after.onset_s - voice.move_s[note.place][after.place]
        if wishes.leave == "early" and voice.travels:
            leave_s = min(leave_s, note.onset_s + wishes.taste.least_ring_s)
        result.append(replace(note, leave_s=leave_s))
    return result[::-1]


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
