"""What counts how much: the beat that is felt, and which notes weigh most."""

from fractions import Fraction

import pytest

from jackrail.setting.taste import Taste, note_weights
from jackrail.tune.model import Bar, Tune, TuneNote, beat_length_q
from workshop import tune


# Compound metres are felt in dotted beats: taught in any theory of music, common practice, no source.
@pytest.mark.parametrize(
    "beats, unit, quarters",
    [
        (4, 4, "1"),
        (3, 4, "1"),
        (2, 2, "2"),
        (6, 8, "3/2"),
        (9, 8, "3/2"),
        (12, 8, "3/2"),
        (3, 8, "1/2"),
        (2, 8, "1/2"),
        (6, 4, "3"),
        (6, 16, "3/4"),
    ],
)
def test_the_felt_beat_of_each_metre(beats, unit, quarters):
    assert beat_length_q(beats, unit) == Fraction(quarters)


def weights_of(*notes, bars=2):
    """Weights without the first and the last note, which weigh double."""
    return note_weights(tune((60, "1/2"), (60, "1/2"), (60, "1"), (60, "2"), *notes, (60, "1"), bars=bars))[4:-1]


def test_the_first_of_a_bar_weighs_more_than_a_beat_and_a_beat_more_than_what_lies_between():
    down, beat, off = weights_of((60, "1"), (60, "1/2"), (60, "1/2"))
    assert down > beat > off > 0


def test_a_long_note_weighs_more_than_a_short_one():
    short, long = weights_of((60, "1"), (60, "2"))
    assert long > short / 1.5  # the first of them stands on the bar line
    assert weights_of((60, "2"), (60, "1"))[0] == pytest.approx(weights_of((60, "1"), (60, "1"))[0] * 2**0.5)


def test_of_two_notes_at_once_the_higher_is_the_melody():
    at = Fraction(1)
    made = Tune("Two", (TuneNote(Fraction(0), at, 60), TuneNote(at, at, 55), TuneNote(at, at, 64), TuneNote(2 * at, at, 60)))
    _, low, high, _ = note_weights(made)
    assert low == pytest.approx(Taste().accompaniment * high)


def test_the_first_and_the_last_note_weigh_double():
    weights = note_weights(tune(*[(60, "1")] * 3, bars=0))
    assert weights[0] == weights[-1] == pytest.approx(2 * weights[1])


def test_in_six_eight_the_fourth_quaver_is_a_beat_and_the_third_is_not():
    eighth = Fraction(1, 2)
    notes = tuple(TuneNote(n * eighth, eighth, 60) for n in range(12))
    weights = note_weights(Tune("Jig", notes, bars=(Bar(Fraction(0), Fraction(3), 1, 6, 8), Bar(Fraction(3), Fraction(3), 2, 6, 8))))
    assert weights[3] > weights[2] == weights[4]
    assert weights[6] > weights[3]


def test_an_upbeat_and_a_second_half_are_weighed_where_they_stand_in_the_full_bar():
    quarter = Fraction(1)
    notes = tuple(TuneNote(n * quarter, quarter, 60) for n in range(10))
    # an upbeat of one quarter, a bar cut after three, a full bar, the last quarter
    pieces = [(0, 1, 0, 3), (1, 3, 1, 0), (4, 1, 1, 3), (5, 4, 2, 0), (9, 1, 3, 0)]
    bars = tuple(Bar(Fraction(at), Fraction(length), number, 4, 4, 1, Fraction(start)) for at, length, number, start in pieces)
    weights = note_weights(Tune("Split", notes, bars=bars))
    assert weights[0] / 2 == weights[2] == weights[3] == weights[4]  # the first of the tune weighs double
    assert weights[1] == weights[5] > weights[4]
    eighth = Bar(Fraction(0), Fraction(1, 2), 0, 6, 8, 1, Fraction(5, 2)), Bar(Fraction(1, 2), Fraction(3), 1, 6, 8)
    jig = Tune("Jig", tuple(TuneNote(n * Fraction(1, 2), Fraction(1, 2), 60) for n in range(6)), bars=eighth)
    assert note_weights(jig)[0] / 2 == note_weights(jig)[2] < note_weights(jig)[4] < note_weights(jig)[1]
