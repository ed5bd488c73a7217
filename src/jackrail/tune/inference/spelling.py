"""Whether an accompaniment spells chords at all, or is lines of single notes, from which none can be told.

The rule. At least `_WHOLE` of the stretches of one chord within one bar hold root, third and fifth of the chord told for them, and
the chords are either struck or broken. Struck: at least `_TOGETHER` of the notes begin while another pitch class sounds that does not
only linger (`line.lingers`), as in bass and chord. Broken: at least `_INSIDE` of the notes belong to the chord told for their moment
and at least `_LEAPS` of the moves to another key are a minor third or more, as in arpeggios and Alberti basses; a melody has passing
notes and steps.

The figures are measured on the tests' accompaniments (of single notes together 0, else 0.40 or more; whole 0.50; inside 0.96, leaps
0.80 or more where broken), on 400 tunes of old books and on single lines of string quartets and chorales (together 0.19 or less).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from jackrail.pitch import parse_chord
from jackrail.tune.model import NO_CHORD, Bar, ChordSymbol

from .beats import EARLY, Sound
from .line import lingers

_WHOLE, _TOGETHER, _INSIDE, _LEAPS = 0.4, 0.2, 0.95, 0.7
_LEAP = 3
_LONGEST = 16
"""Stretches that a note counts for, however long it is held."""


def are_struck_together(sounds: Sequence[Sound]) -> bool:
    """Whether sounds, in time order, are more than one line of single notes. At least one."""
    together, longest = 0, sounds[0]
    for sound in sounds:
        if sound[0] < longest[1] and (sound[2] - longest[2]) % 12 and (sound[0] == longest[0] or not lingers(longest, sound)):
            together += 1
        if sound[1] > longest[1]:
            longest = sound
    return together >= _TOGETHER * len(sounds)


def may_be_broken_chords(sounds: Sequence[Sound]) -> bool:
    """Whether a line of sounds, in time order, leaps as broken chords do."""
    moves = [abs(after[2] - before[2]) for before, after in pairwise(sounds)]
    return sum(move >= _LEAP for move in moves) >= _LEAPS * max(1, sum(move > 0 for move in moves))


def are_whole(sounds: Sequence[Sound], chords: Sequence[ChordSymbol], bars: Sequence[Bar], *, broken: bool) -> bool:
    """Whether sounds really spell the chords told from them: whole triads, and if `broken` hardly anything else."""
    onsets = [float(chord.onset_q) for chord in chords]
    cuts = sorted({*onsets, *(bar.onset_q.numerator / bar.onset_q.denominator for bar in bars)})
    masks = [_masks(chords[max(0, bisect_right(onsets, cut) - 1)].symbol) for cut in cuts] if chords else []
    heard = [0] * len(cuts)
    inside = 0
    for begins, ends, midi in sounds if chords else ():
        stretch = max(0, bisect_right(cuts, begins + EARLY) - 1)
        tone = 1 << midi % 12
        heard[stretch] |= tone
        inside += masks[stretch][1] & tone > 0
        for later in range(stretch + 1, min(bisect_left(cuts, ends - EARLY, stretch), stretch + _LONGEST)):
            heard[later] |= tone
    told = [(triad, tones) for (triad, _), tones in zip(masks, heard, strict=False) if tones]
    whole = sum(0 < triad == triad & tones for triad, tones in told)
    return whole > 0 and whole >= _WHOLE * len(told) and (not broken or inside >= _INSIDE * len(sounds))


@lru_cache(maxsize=256)
def _masks(symbol: str) -> tuple[int, int]:
    """The pitch classes of the triad and of the whole chord, as bits."""
    if symbol == NO_CHORD:
        return 0, 0
    chord = parse_chord(symbol)
    return sum(1 << (chord.root + interval) % 12 for interval in chord.intervals[:3]), sum(1 << tone for tone in chord.classes)
