"""What counts how much: the beat that is felt, and which notes weigh most."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.setting.fit import arrange
from jackrail.setting.taste import Taste, note_weights, preferred
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Bar, Tune, TuneNote, beat_length_q
from jackrail.tune.read import parse_tune
from workshop import ensemble, examples, tune


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
    """Half as long again, between notes of like length: the square root of 1.5 times as much."""
    longer, plain = (note_weights(tune((60, 1), (62, 1), (64, length), (65, 1), (67, 1))) for length in ("3/2", "1"))
    assert longer[2] == pytest.approx(plain[2] * 1.5**0.5)


def test_of_two_notes_at_once_the_higher_is_the_melody():
    at = Fraction(1)
    made = Tune("Two", (TuneNote(Fraction(0), at, 60), TuneNote(at, at, 55), TuneNote(at, at, 64), TuneNote(2 * at, at, 60)))
    _, low, high, _ = note_weights(made)
    assert low == pytest.approx(Taste().accompaniment)
    assert high == pytest.approx(1.1 * 1.2)  # a turn, and the highest of its phrase


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
    # those between the beats strike the note before again: three quarters of what else they would weigh
    assert note_weights(jig)[0] / 2 * 0.75 == pytest.approx(note_weights(jig)[2])
    assert note_weights(jig)[2] < note_weights(jig)[4] < note_weights(jig)[1]


def melody(*notes, bars):
    """The weight of each note as a share of what its beat and its length give it, in 4/4."""
    made = tune(*notes, bars=bars)
    accents = [1.5 if note.onset_q % 4 == 0 else 1.0 if note.onset_q.denominator == 1 else 0.6 for note in made.notes]
    lengths = [min(max(float(note.duration_q), 0.5), 2) ** 0.5 for note in made.notes]
    return [round(w / a / length, 6) for w, a, length in zip(note_weights(made), accents, lengths, strict=True)]


def test_a_passing_note_weighs_less_than_a_turn():
    """C D E F E D C in quavers: D, off the beat, passes by step; F between E and E is a turn and the peak of the phrase."""
    c, d, e, f, *_ = melody((60, "1/2"), (62, "1/2"), (64, "1/2"), (65, "1/2"), (64, "1/2"), (62, "1/2"), (60, "1"), bars=1)
    assert (c, d, e, f) == (2.0, 0.75, 1.0, pytest.approx(1.1 * 1.2))


def test_a_leap_between_beats_does_not_pass():
    assert melody((60, "1/2"), (64, "1/2"), (67, "1/2"), (72, "1/2"), (60, "2"), bars=1)[1] == 1.0


def test_a_phrase_ends_before_a_rest_and_after_a_long_note():
    """A rest of a beat after the third note: it ends a phrase and what follows begins one. Likewise a note of twice its neighbours."""
    assert melody((60, 1), (62, 1), (64, 1), (None, 1), (65, 1), (67, 1), (69, 1), (71, 1), bars=2)[2:4] == [1.4, 1.15]
    assert melody((60, 1), (62, 1), (64, 2), (65, 1), (67, 1), (69, 1), (71, 1), bars=2)[2:4] == [1.4, 1.15]


def test_a_long_row_of_equal_notes_has_phrases_of_four_bars():
    """Eight bars of quarters going up and up: nothing but the fourth bar's end parts them (common practice, no source)."""
    shares = melody(*((40 + n, 1) for n in range(32)), bars=8)
    assert [n for n, share in enumerate(shares) if share != 1.0] == [0, 15, 16, 31]


def test_the_second_time_through_begins_a_phrase():
    """F, the last of the first time, and C, the first of the second, are turns as well: up to F and down to C, down to C and up to D."""
    made = parse_tune(b"X:1\nT:R\nM:4/4\nL:1/4\nK:C\n|: C D E F :|", "r.abc")
    assert [round(w, 6) for w in note_weights(made)] == pytest.approx([3.0, 1.0, 1.0, 1.4 * 1.1, 1.5 * 1.15 * 1.1, 1.0, 1.0, 2.0])


@pytest.mark.parametrize("prefer", ["balance", "tempo", "key"])
def test_what_is_strict_by_choice_needs_no_other_weights(prefer):
    assert preferred(Taste(), prefer) == Taste()


LINE = ((62, "1/2"), (71, "1/2"), (64, "1/2"), (72, "1/2"), (66, 1), (79, 1), (62, 1), (67, 1))


@given(
    st.lists(st.tuples(st.sampled_from([62, 64, 66, 67, 69, 71, 74, 79]), st.sampled_from(["1/4", "1/2", "1"])), min_size=3, max_size=14)
)
@examples(25)
def test_whatever_matters_most_is_kept_before_all_else(line):
    """With notes preferred no tempo keeps more of them; with the tempo it is the written one; with the key no semitone is moved."""
    made, voices = tune(*line, bars=4), ensemble("quay_zither").voices
    most = arrange(made, voices, "", Wishes(prefer="notes"))[1]
    weights = note_weights(made)

    def lost(setting):
        moved = sum(0.3 * weights[n.index] if abs(n.octaves) == 1 else 0.5 * weights[n.index] for n in setting.notes if n.octaves)
        return sum(weights) - sum(weights[n.index] for n in setting.notes) + moved

    for tempo in (40, 55, 70, 85, 100):
        assert lost(most) <= lost(arrange(made, voices, "", Wishes(prefer="notes", tempo=f"{tempo}%"))[1]) + 1e-9
    assert arrange(made, voices, "", Wishes(prefer="tempo"))[1].tempo_factor == 1.0
    assert arrange(made, voices, "", Wishes(prefer="key"))[1].transpose_semitones % 12 == 0


def test_of_settings_that_keep_as_much_the_faster_is_taken_though_notes_matter_most():
    made, voices = tune(*LINE, bars=2), ensemble("quay_zither").voices
    most = arrange(made, voices, "", Wishes(prefer="notes"))[1]
    assert most.notes_kept == len(LINE)
    assert most.tempo_factor < 1
    faster = arrange(made, voices, "", Wishes(prefer="notes", tempo=f"{101 * most.tempo_factor:.6f}%"))[1]
    assert faster.notes_kept - faster.notes_folded < most.notes_kept - most.notes_folded


def test_sustain_is_preferred_to_the_tempo():
    made, voices = tune(*LINE, bars=2, tempo=200.0), ensemble("quay_zither").voices
    plain, ringing = (arrange(made, voices, "", Wishes(prefer=prefer))[1] for prefer in ("balance", "sustain"))
    assert ringing.tempo_factor < plain.tempo_factor


def test_chords_are_preferred_to_notes():
    """The melody lies in C sharp for this zither's stops, its chords only as written: notes are given up for the chords."""
    made = tune(*((midi + 1, 1) for midi in (67, 69, 71, 67)), chords=[(0, "G"), (1, "C"), (2, "D"), (3, "G")], bars=1)
    voices = ensemble("quay_zither").voices
    plain, chords = (arrange(made, voices, "", Wishes(prefer=prefer))[1] for prefer in ("balance", "chords"))
    assert (plain.chords_kept, plain.notes_kept) == (0, 4)
    assert chords.chords_kept == 4


def test_what_is_asked_for_holds_against_what_is_preferred():
    made, voices = tune(*LINE, bars=2), ensemble("quay_zither").voices
    assert arrange(made, voices, "", Wishes(prefer="tempo", tempo="50%"))[1].tempo_factor == 0.5
    assert arrange(made, voices, "", Wishes(prefer="key", transpose=5))[1].transpose_semitones == 5
