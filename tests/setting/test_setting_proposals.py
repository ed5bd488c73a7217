"""Proposed chords against those that people wrote: tunes with chord symbols are harmonised without them by a machine that has just those.

Outside truth: the symbols of four tunes in the corpus of music21 (Nottingham's collection, two lead sheets), and of ours. Judged by the
share of time in which the proposed chord has the tones of the written one; a chord that another ear would also accept counts as wrong.
"""

from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from statistics import mean

import pytest

from jackrail.pitch import parse_chord
from jackrail.setting.harmony import propose
from jackrail.tune.choice import Choice
from jackrail.tune.model import ChordSymbol, Tune
from jackrail.tune.read import read_tune
from workshop import ROOT

music21 = pytest.importorskip("music21")
CORPUS = Path(music21.__file__).parent / "corpus"
OTHERS = {
    "Cuckoo's Nest": (CORPUS / "nottingham-dataset/reelsa-c.abc", 80),
    "Little Czech Number": (CORPUS / "nottingham-dataset/reelsa-c.abc", 81),
    "Alexander's Ragtime Band": (CORPUS / "leadSheet/berlinAlexandersRagtime.mxl", None),
    "Jeanie with the Light Brown Hair": (CORPUS / "leadSheet/fosterBrownHair.mxl", None),
}
OURS = {name: (ROOT / "tunes" / name, None) for name in ("gull_steps.abc", "nine_lamps.abc", "ropewalk.musicxml")}
# measured 0.87, 0.66, 0.49, 0.61 and 0.94, 0.70, 0.69, less a margin
FLOORS = {
    "Cuckoo's Nest": 0.80,
    "Little Czech Number": 0.58,
    "Alexander's Ragtime Band": 0.42,
    "Jeanie with the Light Brown Hair": 0.54,
    "gull_steps.abc": 0.87,
    "nine_lamps.abc": 0.62,
    "ropewalk.musicxml": 0.60,
}


@cache
def written(name) -> Tune:
    path, number = {**OTHERS, **OURS}[name]
    tune = read_tune(path, Choice(number=number))
    assert tune.harmony == "written"
    return tune


def names_in(tune):
    """One name for each set of tones that the tune uses, in alphabetical order, which tells nothing of their use."""
    return sorted({parse_chord(chord.symbol).classes: chord.symbol for chord in tune.chords if not chord.silent}.values())


def tones_at(chords, onset_q):
    now = [chord for chord in chords if chord.onset_q <= onset_q][-1:]
    return parse_chord(now[0].symbol).classes if now and not now[0].silent else frozenset()


def agreement(tune, chords):
    """Share of the time, from the first written chord to the last note's end, in which both have the same tones or both are silent."""
    start, end = tune.chords[0].onset_q, max(note.onset_q + note.duration_q for note in tune.notes)
    moments = sorted({start, end, *(chord.onset_q for chord in [*tune.chords, *chords] if start < chord.onset_q < end)})
    alike = sum(b - a for a, b in pairwise(moments) if tones_at(tune.chords, a) == tones_at(chords, a))
    return float(alike / (end - start))


@cache
def ours(name):
    tune = written(name)
    return agreement(tune, propose(replace(tune, chords=(), harmony=""), names_in(tune), [0])[0].chords)


def best_constant(tune):
    return max(agreement(tune, [ChordSymbol(Fraction(0), name)]) for name in names_in(tune))


def bar_by_bar(tune):
    """For each bar by itself the chord that holds the most of its melody's time, of equal ones the first by name."""
    chords = []
    for bar in tune.bars:
        inside = [
            (n.midi % 12, min(n.onset_q + n.duration_q, bar.onset_q + bar.length_q) - max(n.onset_q, bar.onset_q)) for n in tune.notes
        ]
        held = {name: sum(max(q, 0) for tone, q in inside if tone in parse_chord(name).classes) for name in names_in(tune)}
        chords.append(ChordSymbol(bar.onset_q, max(held, key=held.__getitem__)))
    return agreement(tune, chords)


@pytest.mark.parametrize("name", FLOORS)
def test_proposed_chords_agree_with_the_written_ones_as_measured(name):
    assert ours(name) >= FLOORS[name], ours(name)


@pytest.mark.slow
def test_proposed_chords_are_nearer_to_the_written_ones_than_simpler_ways():
    """Measured on all seven: 0.71 against 0.46 and 0.54; on the four by others: 0.66 against 0.47 and 0.61."""
    for tunes, ahead in (((*OTHERS, *OURS), 0.12), (OTHERS, 0.03)):
        proposed = mean(ours(name) for name in tunes)
        assert proposed > mean(best_constant(written(name)) for name in tunes) + 0.15
        assert proposed > mean(bar_by_bar(written(name)) for name in tunes) + ahead
