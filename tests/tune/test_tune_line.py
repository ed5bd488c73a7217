"""The highest line: examples worked out by hand from the rule in the module's docstring, and what holds for any notes."""

from fractions import Fraction
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from jackrail.tune.inference.line import skyline, top_line
from jackrail.tune.model import TuneNote


def line_of(*notes: tuple[float, float, int]) -> list[tuple[float, float, int]]:
    """Notes given and returned as onset, length (quarters), key."""
    whole = [TuneNote(Fraction(onset), Fraction(length), key) for onset, length, key in notes]
    return [(float(note.onset_q), float(note.duration_q), note.midi) for note in top_line(whole)]


def test_of_a_chord_the_highest_stays():
    assert line_of((0, 1, 60), (0, 1, 64), (0, 1, 67), (1, 1, 65)) == [(0, 1, 67), (1, 1, 65)]


def test_a_lower_note_under_a_long_one_is_accompaniment():
    # a whole note with an arpeggio of quarters under it; the last has a quarter of the long note above it, but all of its own length
    assert line_of((0, 4, 72), (0, 1, 48), (1, 1, 55), (2, 1, 60), (3, 1, 55), (4, 1, 71)) == [(0, 4, 72), (4, 1, 71)]


def test_a_higher_note_cuts_the_one_before():
    assert line_of((0, 4, 60), (1, 1, 72), (4, 1, 62)) == [(0, 1, 60), (1, 1, 72), (4, 1, 62)]


def test_a_note_under_one_that_sounds_on_behind_a_higher_one_is_accompaniment():
    # 67 sounds on under 72 and is higher than 55, which begins when 72 is over
    assert line_of((0, 4, 67), (1, 1, 72), (2, 1, 55), (4, 1, 69)) == [(0, 1, 67), (1, 1, 72), (4, 1, 69)]


def test_legato_is_no_chord():
    # each note of a falling scale held a quarter of its length into the next: 0.125 of 0.5 is less than a third
    scale = [(n / 2, 0.625, 72 - n) for n in range(8)]
    assert line_of(*scale) == [*((n / 2, 0.5, 72 - n) for n in range(7)), (3.5, 0.625, 65)]


def test_more_than_a_third_of_the_shorter_is_a_chord():
    assert line_of((0, 1.125, 72), (1, 0.25, 60)) == [(0, 1.125, 72)]  # 0.125 is half of 0.25
    assert line_of((0, 1.125, 72), (1, 0.5, 60)) == [(0, 1, 72), (1, 0.5, 60)]  # a quarter of 0.5, an eighth of 1.125


def test_a_chord_that_is_not_struck_quite_at_once_is_one():
    # a 128th note (1/32 quarter) between each: less than a 64th
    assert line_of((0, 1, 60), (1 / 32, 1, 64), (1 / 16, 1, 67), (1.5, 0.5, 65)) == [(1 / 16, 1, 67), (1.5, 0.5, 65)]


def test_a_quick_run_upwards_is_none():
    run = [(n / 16, 1 / 16, 60 + n) for n in range(8)]
    assert line_of(*run) == run


def test_accompaniment_in_a_rest_of_the_melody_goes_with_the_rest_of_it():
    # oom-pah under a melody that rests in the second half of the bar: 36 and 48 there are more than an octave below 72
    melody = [(0, 2, 72), (4, 2, 74), (6, 2, 72)]
    bass = [(beat, 1, 36 + 12 * (beat % 2)) for beat in range(8)]
    assert line_of(*melody, *bass) == melody


def test_a_wide_melody_alone_stays_whole():
    melody = [(0, 1, 84), (1, 1, 86), (2, 1, 48), (3, 1, 84)]
    assert line_of(*melody) == melody


def test_unisons_are_one_note_the_longer():
    assert line_of((0, 1, 60), (0, 2, 60), (2, 1, 62)) == [(0, 2, 60), (2, 1, 62)]


def test_no_notes():
    assert line_of() == []


spans = st.lists(st.tuples(st.integers(0, 200), st.integers(1, 60), st.integers(30, 90)), max_size=40)


@given(spans)
def test_a_line_is_in_order_and_every_note_is_in_it_or_left_out(played):
    notes = list({(on, key): (on, on + length, key) for on, length, key in played}.values())
    line, left = skyline(notes, 6)
    assert len(line) + len(left) == len(notes)
    heads = [(on, key) for on, _, key in line] + [(on, key) for on, _, key in left]
    assert sorted(heads) == sorted((on, key) for on, _, key in notes)
    assert all(on < off for on, off, _ in line)
    assert all(before[1] <= after[0] for before, after in pairwise(line))
    again, none = skyline(line, 6)
    assert again == line
    assert none == []


@given(st.lists(st.tuples(st.integers(1, 60), st.integers(0, 30), st.integers(30, 90)), max_size=40))
def test_a_line_without_overlaps_is_left_alone(played):
    notes, now = [], 0
    for length, rest, key in played:
        notes.append((now, now + length, key))
        now += length + rest
    assert skyline(notes, 6) == (notes, [])
