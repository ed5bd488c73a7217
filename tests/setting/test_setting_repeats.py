"""Music that comes again, worked out by hand on small tunes."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.setting.repeats import alike_groups
from jackrail.tune.read import parse_tune
from workshop import tune

HEAD = "X:1\nT:Made\nM:4/4\nL:1/4\nK:C\n"


def groups(body):
    return sorted(alike_groups(parse_tune((HEAD + body).encode(), "made.abc")))


def test_a_section_played_again_is_the_same_music():
    """Four notes, repeated: each stands with itself of the second time."""
    assert groups("|: C D E F :|") == [(0, 4), (1, 5), (2, 6), (3, 7)]


def test_endings_that_differ_stand_alone():
    """|: A1 A2 |1 B :|2 C |: the first two bars come again, the endings do not."""
    found = groups("|: C D E F | G A B c |1 d4 :|2 e4 |]")
    assert found == [(n, n + 9) for n in range(8)]


def test_a_phrase_written_out_again_is_the_same_music():
    """AABA of two-bar phrases: every note of an A stands with the other two, the bridge alone."""
    a, b = "C D E F | G2 E2 |", "c B A G | A2 F2 |"
    found = groups(a + a + b + a)
    assert found == [(n, n + 6, n + 18) for n in range(6)]


def test_one_bar_alike_between_others_is_no_repetition():
    assert groups("C D E F | G4 | c B A G | E4 | C D E F | A4 |") == []


def test_the_same_bar_over_and_over_is():
    assert groups("C2 E2 | C2 E2 | C2 E2 |") == [(0, 2, 4), (1, 3, 5)]


@pytest.mark.parametrize("other", ["C D E ^F", "C D E/2F/2F", "C D E2", "C D z F"])
def test_another_note_or_length_is_other_music(other):
    assert groups(f"C D E F | G4 | {other} | A4 |") == []


def test_chords_do_not_matter():
    assert groups('"C"C D E F | "G"G4 | "Am"C D E F | "Em"G4 |') == [(n, n + 5) for n in range(5)]


def test_two_notes_of_one_key_at_one_moment_are_told_apart():
    made = tune((60, 4), (62, 4), (60, 4), (62, 4), bars=4)
    both = replace(made, notes=tuple(sorted([*made.notes, *made.notes], key=lambda note: note.onset_q)))
    assert sorted(alike_groups(both)) == [(0, 4), (1, 5), (2, 6), (3, 7)]


def test_small_notes_and_tunes_without_bars_have_no_groups():
    made = tune((60, 4), (62, 4), (60, 4), (62, 4), bars=4)
    assert len(alike_groups(made)) == 2
    assert alike_groups(replace(made, bars=())) == []
    small = tuple(replace(note, ornamental=note.onset_q == Fraction(0)) for note in made.notes)
    assert sorted(alike_groups(replace(made, notes=small))) == []
