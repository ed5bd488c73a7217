"""The chords of an accompaniment told from its notes: chord shapes weighed beat by beat, the cheapest row of them taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from math import log
from operator import add

from jackrail.pitch import class_name, parse_chord, spelt
from jackrail.tune.model import NO_CHORD, Bar, ChordSymbol, KeyMark, Quarters

from .beats import Beats, Sound
from .viterbi import steady_path

SILENT_BARS = 2
"""A gap longer than this many bars is one without a chord; over a shorter one the chord carries on."""
LONGEST_BEATS = 16
"""Beats that a note counts for, however long it is held."""

# Shares, weights and costs: found by trial on accompaniments like those of tests/tune/test_tune_chord_estimate.py, in natural logarithms.
_SHARES = {
    "": (0.36, 0.30, 0.24),
    "m": (0.36, 0.30, 0.24),
    "7": (0.30, 0.24, 0.18, 0.18),
    "m7": (0.30, 0.24, 0.18, 0.18),
    "dim": (0.32, 0.29, 0.29),
}
"""Each quality with the share of its tones, root first; what is left of 1 goes to all the other tones."""
_BASS_SHARES = (0.40, 0.12, 0.13, 0.05)
"""How often root, third, fifth and seventh are the bass; what is left of 1 goes to the other tones."""
_RARENESS = {"": 0.0, "m": 0.0, "7": 0.05, "m7": 0.2, "dim": 0.9}
_UNHEARD = 0.2
"""What it costs in each beat that a tone of the chord is heard nowhere in the passage."""
_STRUCK = _HELD = 4
"""Eighths that a note weighs for being struck in a beat, and for sounding all through it."""
_INTERVALS = {quality: parse_chord("C" + quality).intervals for quality in _SHARES}
_CHORDS = [(root, quality) for quality in _SHARES for root in range(12)]


def estimate_chords(sounds: Sequence[Sound], bars: Sequence[Bar], key: KeyMark | None) -> tuple[ChordSymbol, ...]:
    """The chords that an accompaniment spells out: each change of chord, the first where the notes begin.

    sounds: of the accompaniment alone, in time order. bars: as played out; without them four quarters make a bar. key: names the
    roots. Major, minor, dominant seventh, minor seventh and diminished chords are weighed on each felt beat by what is struck and
    sounds in it and by its bass; the cheapest path through them (Viterbi) changes rather on a bar line than within a bar. Over
    silence a chord carries on; where that is longer than SILENT_BARS bars stands `NO_CHORD`. Time linear in notes and bars.
    """
    beats = Beats(bars, max((ends for _, ends, _ in sounds), default=0.0))
    symbols: dict[Quarters, str] = {}
    for passage, silent_from_q in _passages(sounds, beats):
        for onset_q, (root, quality) in _chords_of(passage, beats):
            symbols[onset_q] = _root_name(root, quality, key) + quality
        if silent_from_q is not None:
            symbols.setdefault(silent_from_q, NO_CHORD)  # where a last chord begins so late that both stand on one beat, it is heard
    return tuple(ChordSymbol(onset_q, symbol) for onset_q, symbol in symbols.items())


def _passages(sounds: Sequence[Sound], beats: Beats) -> Iterator[tuple[list[Sound], Quarters | None]]:
    """The sounds between two silences, and where the silence after them begins."""
    passage: list[Sound] = []
    heard_to = 0.0
    for sound in sounds:
        begins, ends, _ = sound
        if passage and begins > heard_to and begins - heard_to > SILENT_BARS * beats.bar_length(heard_to):
            yield passage, beats.next_start_q(heard_to)
            passage = []
        passage.append(sound)
        heard_to = max(heard_to, ends)
    if passage:
        silent = beats.end - heard_to > SILENT_BARS * beats.bar_length(heard_to)
        yield passage, beats.next_start_q(heard_to) if silent else None


def _chords_of(passage: list[Sound], beats: Beats) -> Iterator[tuple[Quarters, tuple[int, str]]]:
    """The changes of chord in one passage, each with its onset."""
    weights, lowest = _evidence(passage, beats)
    told = sorted(weights)
    basses = _basses(lowest, beats)
    heard = frozenset([midi % 12 for _, _, midi in passage])
    costs = [_costs(tuple(weights[beat]), basses.get(beat), heard) for beat in told]
    borders = [told[0], *(beats.border(before, beat) for before, beat in pairwise(told))]
    path, _ = steady_path(costs, [beats.change_cost[border] for border in borders])
    chord = None
    for choice, border in zip(path, borders, strict=True):
        if choice != chord:
            chord = choice
            yield beats.start_q(border), _CHORDS[choice]


def _basses(lowest: dict[int, int], beats: Beats) -> dict[int, int]:
    """The pitch class of the bass in each beat that has one: the first of a bar, and those that go as low as any in it."""
    bar_of = beats.bar_of
    bar_lowest: dict[int, int] = {}
    for beat, midi in lowest.items():
        bar_lowest[bar_of[beat]] = min(midi, bar_lowest.get(bar_of[beat], midi))
    return {
        beat: midi % 12
        for beat, midi in lowest.items()
        if beat == 0 or bar_of[beat] != bar_of[beat - 1] or midi == bar_lowest[bar_of[beat]]
    }


def _evidence(passage: list[Sound], beats: Beats) -> tuple[dict[int, list[int]], dict[int, int]]:
    """The weights of the pitch classes in each beat in which something sounds, the lowest key in each in which something is struck."""
    starts, ends_of, most = beats.starts, beats.ends, len(beats.starts)
    weights: dict[int, list[int]] = {}
    lowest: dict[int, int] = {}
    for begins, ends, midi in passage:
        beat = first = beats.index(begins)
        if midi < lowest.get(first, 128):
            lowest[first] = midi
        weight = _STRUCK
        while True:
            start, end = starts[beat], ends_of[beat]
            sounding = (end if end < ends else ends) - (start if start > begins else begins)  # noqa: FURB136 - min() is slow
            if sounding > 0:
                weight += round(_HELD * sounding / (end - start))
            if weight:
                weights.setdefault(beat, [0] * 12)[midi % 12] += weight
            beat, weight = beat + 1, 0
            if end >= ends or beat == most or beat == first + LONGEST_BEATS:
                break
    return weights, lowest


@lru_cache(maxsize=2048)
def _costs(weights: tuple[int, ...], bass: int | None, heard: frozenset[int]) -> list[float]:
    """What it costs to hear each of the chords in a beat; accompaniments repeat themselves, so most are known already."""
    costs = _standing_costs(heard)
    if bass is not None:
        costs = list(map(add, costs, _BASS_COSTS[bass]))
    for weight, tone_costs in zip(weights, _TONE_COSTS, strict=True):
        if weight:
            costs = [cost + weight * tone for cost, tone in zip(costs, tone_costs, strict=True)]
    return costs


@lru_cache(maxsize=256)
def _standing_costs(heard: frozenset[int]) -> list[float]:
    """What each of the chords costs for being rare, and for its tones that are not among those heard."""
    return [
        _RARENESS[quality] + _UNHEARD * sum((root + interval) % 12 not in heard for interval in _INTERVALS[quality])
        for root, quality in _CHORDS
    ]


def _root_name(root: int, quality: str, key: KeyMark | None) -> str:
    """The root spelt for the key: as in its scale, else flat of it (the bVII of the trade), under a diminished chord sharp of it."""
    if key is None:
        return class_name(root)
    lowest = key.sharps - (1 if quality == "dim" else 4)
    return spelt(lowest + (7 * root - lowest) % 12, key.sharps)


def _share_costs(pitch_class: int, shares_of: dict[str, tuple[float, ...]]) -> list[float]:
    """What a tone costs under each of the chords when each of their tones has its share and all others what is left."""
    costs = []
    for root, quality in _CHORDS:
        shares = shares_of[quality]
        tones = dict(zip(_INTERVALS[quality], shares, strict=False))
        costs.append(-log(tones.get((pitch_class - root) % 12, (1 - sum(shares)) / (12 - len(tones)))))
    return costs


_TONE_COSTS = [[cost / (_STRUCK + _HELD) for cost in _share_costs(pitch_class, _SHARES)] for pitch_class in range(12)]
_BASS_COSTS = [_share_costs(pitch_class, dict.fromkeys(_SHARES, _BASS_SHARES)) for pitch_class in range(12)]
