"""When chords are struck: where their symbols stand, and again while they hold."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from jackrail.faults import BadInput, Fault
from jackrail.motion.voice import Voice
from jackrail.tune.model import Bar, ChordSymbol, Quarters, Tune, beat_length_q

from .model import SetStroke

DEFAULT_STRUM = "downbeats"
STRUM_WORDS = ("changes", "downbeats", "beats", "offbeats", "both")
_BEATS = re.compile(r"\d+(?:\.\d+)?(?:[\s,]+\d+(?:\.\d+)?)*")
OFF_BEAT_SHARE = 0.5
"""What a stroke off the first beat weighs beside one on it."""
_GROUPS = {5: (3, 2), 7: (2, 2, 3)}
"""How irregular metres are felt (common practice, no source)."""


class ChordMoment(NamedTuple):
    """A moment where a chord is struck: its symbol, or a later beat where it is renewed. share: its weight beside others of its kind."""

    symbol: ChordSymbol
    onset_s: float
    repeated: bool
    share: float = 1.0


@dataclass(frozen=True)
class Beats:
    """The beats on which a tune's chords are renewed while they hold: onsets in quarters and in seconds, weights; end: of its last note.

    Quarters are floats here: exact enough to compare, and ten times as fast as fractions.
    """

    onsets: list[float]
    onsets_s: list[float]
    shares: list[float]
    end: float


def check_strum(strum: str) -> None:
    """Raises BadInput for a strum that is neither one of the words nor a list of beats, the first being 1."""
    text = strum.strip()
    if text in STRUM_WORDS or (_BEATS.fullmatch(text) and all(beat >= 1 for beat in _beats_in(text))):
        return
    hint = f"{', '.join(STRUM_WORDS)}, or beats of the bar such as 1,3 or 1 2.5"
    raise BadInput(Fault("option", "is no way to strike chords", "--strum", repr(strum), hint))


def beats_of(tune: Tune, strum: str = DEFAULT_STRUM) -> Beats:
    """The beats on which chords are renewed by `strum`, whatever the chords are."""
    struck = [one for bar in tune.bars for one in _struck_in(bar, strum.strip())]
    end = max((float(note.onset_q + note.duration_q) for note in tune.notes), default=0.0)
    return Beats([float(at_q) for at_q, _ in struck], [tune.seconds_at(at_q) for at_q, _ in struck], [share for _, share in struck], end)


def chord_moments(tune: Tune, strum: str = DEFAULT_STRUM, beats: Beats | None = None) -> list[ChordMoment]:
    """Each symbol at its onset, and on later beats by `strum` until the next symbol, be it silence, or the last note's end.

    beats: of `beats_of`, when they are known.
    """
    if not tune.chords or not tune.notes:
        return []
    beats = beats or beats_of(tune, strum)
    onsets = [float(symbol.onset_q) for symbol in tune.chords]
    moments = []
    for symbol, onset, end in zip(tune.chords, onsets, [*onsets[1:], beats.end], strict=True):
        if not symbol.silent:
            moments.append(ChordMoment(symbol, tune.seconds_at(symbol.onset_q), repeated=False))
            held = range(bisect_right(beats.onsets, onset), bisect_left(beats.onsets, end))
            moments += [ChordMoment(symbol, beats.onsets_s[n], repeated=True, share=beats.shares[n]) for n in held]
    return moments


def _struck_in(bar: Bar, strum: str) -> list[tuple[Quarters, float]]:
    """When chords are renewed in a bar, or in the part of one, and what each stroke weighs. Free metre has no beats but its first."""
    places = _places(bar.beats, bar.beat_unit, strum)
    within = [place for place in places if bar.starts_q <= place < bar.starts_q + bar.length_q and (not bar.free or not place)]
    return [(bar.onset_q + place - bar.starts_q, OFF_BEAT_SHARE if place else 1.0) for place in within]


@lru_cache
def _places(beats: int, beat_unit: int, strum: str) -> tuple[Quarters, ...]:
    """Where in a full bar of a metre chords are renewed, in quarters."""
    unit_q = Fraction(4, beat_unit)
    if strum == "changes":
        return ()
    if strum not in STRUM_WORDS:
        return tuple(sorted({(beat - 1) * unit_q for beat in _beats_in(strum) if beat < beats + 1}))
    down, off = (Fraction(0),), _off_beats(beats, beat_unit)
    if strum == "beats":
        return _felt_beats(beats, beat_unit)
    return {"downbeats": down, "offbeats": off, "both": down + off}[strum]


def _felt_beats(beats: int, beat_unit: int) -> tuple[Quarters, ...]:
    unit_q, felt_q = Fraction(4, beat_unit), beat_length_q(beats, beat_unit)
    if beats in _GROUPS and beat_unit > 4:
        return tuple(unit_q * sum(_GROUPS[beats][:n]) for n in range(len(_GROUPS[beats])))
    return tuple(felt_q * n for n in range(int(beats * unit_q / felt_q)))


def _off_beats(beats: int, beat_unit: int) -> tuple[Quarters, ...]:
    """The second and the third beat of three, every second one of others; of dotted beats the third part of each."""
    unit_q, felt_q = Fraction(4, beat_unit), beat_length_q(beats, beat_unit)
    if felt_q == 3 * unit_q:
        return tuple(felt_q * n + 2 * unit_q for n in range(beats // 3))
    if beats == 3:
        return unit_q, 2 * unit_q
    strong = {sum(_GROUPS[beats][:n]) for n in range(len(_GROUPS[beats]))} if beats in _GROUPS else set(range(0, beats, 2))
    return tuple(unit_q * n for n in range(beats) if n not in strong)


def _beats_in(text: str) -> list[Fraction]:
    return [Fraction(beat) for beat in re.split(r"[\s,]+", text)]


def within_heat(strokes: Iterable[SetStroke], voices: Sequence[Voice]) -> list[SetStroke]:
    """Strokes in time order without as many repeated ones as would make a coil grow too hot, as the board counts it.

    Of the strokes up to where a coil would be too hot the last repeated one goes, until it bears them. Strokes of symbols stay: if
    these alone are too many, the last look at the roll tells.
    """
    kept = list(strokes)
    for v, voice in enumerate(voices):
        while voice.blow is not None:
            pulse_s = voice.blow.pulse_s
            hot = voice.blow.endurance.first_too_hot((one.onset_s, one.onset_s + pulse_s) for one in kept if one.voice == v)
            spare = [one for one in kept if one.voice == v and one.repeated and hot is not None and one.onset_s <= hot[0]]
            if not spare:
                break
            kept.remove(spare[-1])
    return kept
