"""Chords are told where an accompaniment spells them, and none from lines of single notes.

The lines are those of old tune books, string quartets and chorales inside the music21 package, read here and never copied; that a line
of single notes is no accompaniment of chords is common practice, no source.
"""

import random
import warnings
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from accompaniments import ACCOMPANIMENTS, bars, lead_sheets, notes, played_out, progressions, sounds

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.inference.chords import estimate_chords
from jackrail.tune.inference.spelling import are_struck_together, are_whole, may_be_broken_chords
from jackrail.tune.model import TuneNote
from jackrail.tune.read import list_tunes, read_tune


def spelt(some_notes, some_bars):
    """Whether chords are told from these notes."""
    heard = sounds(some_notes)
    struck = are_struck_together(heard)
    if not struck and not may_be_broken_chords(heard):
        return False
    return are_whole(heard, estimate_chords(heard, some_bars, None), some_bars, broken=not struck)


@pytest.mark.slow
@pytest.mark.parametrize("accompaniment", ACCOMPANIMENTS)
def test_every_figure_of_accompaniment_spells_its_chords(accompaniment):
    for chords, some_bars in [*progressions(), *lead_sheets()]:
        assert spelt(played_out(chords, some_bars, accompaniment), some_bars)


@cache
def corpus():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21  # noqa: PLC0415 - slow to import

    return Path(music21.__file__).parent / "corpus"


def melodies(count):
    """Tunes of the old books, drawn by lot."""
    books = [file for folder in ("ryansMammoth", "oneills1850", "airdsAirs") for file in sorted((corpus() / folder).glob("*.abc"))]
    draw = random.Random(5)  # noqa: S311 - a sample, not a secret
    draw.shuffle(books)
    found = []
    for book in books:
        try:
            number = draw.choice(list_tunes(book)).number
            found.append(read_tune(book, number))
        except BadInput:
            continue
        if len(found) == count:
            return found
    raise AssertionError(len(found))


@pytest.mark.slow
def test_hardly_any_melody_is_taken_for_an_accompaniment():
    assert sum(spelt(tune.notes, tune.bars) for tune in melodies(200)) <= 2  # measured 0


@pytest.mark.slow
@pytest.mark.parametrize("composer, least", [("haydn", 20), ("mozart", 60), ("bach", 60)])
def test_no_single_line_of_a_quartet_or_chorale_is_taken_for_an_accompaniment(composer, least):
    files = sorted((corpus() / composer).rglob("*.mxl"))[:25]
    lines = 0
    for file in files:
        for part in "1234":
            try:
                line = read_tune(file, Choice(part=part))
            except BadInput:
                continue
            lines += 1
            assert not spelt(line.notes, line.bars), (file.name, part)
    assert lines >= least


@pytest.mark.slow
def test_three_parts_of_a_chorale_spell_chords():
    files = sorted((corpus() / "bach").glob("*.mxl"))[:30]
    told = []
    for file in files:
        try:
            parts = [read_tune(file, Choice(part=part)) for part in "234"]
        except BadInput:
            continue
        told.append(spelt([note for part in parts for note in part.notes], parts[0].bars))
    assert len(told) >= 20
    assert sum(told) >= 0.8 * len(told)


# By hand, four quarters to a bar.


def line(*keys, length=Fraction(1)):
    return [TuneNote(n * length, length, midi) for n, midi in enumerate(keys)]


def test_a_scale_and_a_bass_spell_nothing():
    assert not spelt(line(60, 62, 64, 65, 67, 69, 71, 72), bars(2))
    # C and its fifth, G and its fifth: no third, so no chord is whole, however it leaps
    assert not spelt(line(48, 55, 48, 55, 43, 50, 43, 50), bars(2))


def test_an_arpeggio_spells_its_chords_and_half_of_one_does_not():
    arpeggio = (48, 55, 60, 64, 43, 50, 55, 59)
    assert spelt(line(*arpeggio), bars(2))
    # of three bars but one holds a whole triad: 1/3 is less than 0.4
    assert not spelt(line(48, 55, 60, 64, 43, 50, 43, 50, 48, 55, 48, 55), bars(3))


def test_an_arpeggio_with_passing_notes_is_a_melody():
    # F and A of twelve notes lie outside C and G: 0.83 is less than 0.95
    assert not spelt(line(48, 55, 60, 64, 65, 60, 43, 50, 55, 57, 59, 55, length=Fraction(2, 3)), bars(2))


def test_legato_is_a_single_line_and_struck_chords_are_not():
    held = [TuneNote(note.onset_q, Fraction(5, 4), note.midi) for note in line(60, 62, 64, 65, 67, 69, 71, 72)]
    assert not are_struck_together(sounds(held))
    assert are_struck_together(sounds(notes((0, 1, 36), (1, 1, 55, 60, 64), (2, 1, 43), (3, 1, 55, 60, 64))))


def test_a_line_in_octaves_is_one_line():
    assert not are_struck_together(sounds(notes((0, 1, 48, 60), (1, 1, 50, 62), (2, 1, 52, 64), (3, 1, 53, 65))))
