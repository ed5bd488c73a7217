"""Small notes written out of ornaments. Each answer is worked out by hand from the rules that jackrail.tune.embellish states.

What a sign means, its neighbours and their order: C. P. E. Bach's Versuch of 1753; beginning on the main note: Hummel's school of
1828 (both from memory). Lengths and rolls are common practice, no source.
"""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.tune import embellish
from jackrail.tune.embellish import embellished
from jackrail.tune.model import Ornament, Tune, TuneNote
from workshop import examples, tune

D, E, F, G, A = 62, 64, 66, 67, 69


def ornate(made: Tune, *ornaments) -> Tune:
    return replace(made, ornaments=tuple(Ornament(Fraction(onset), midi, kind, keys) for onset, midi, kind, keys in ornaments))


def rows(made: Tune) -> list[tuple[str, str, int, bool]]:
    return [(str(note.onset_q), str(note.duration_q), note.midi, note.ornamental) for note in made.notes]


def test_without_a_wish_the_tune_is_the_same():
    made = ornate(tune((D, 1), (E, 1)), (1, E, "grace", (F,)))
    assert embellished(made, "none") is made
    plain = tune((D, 1), (E, 1))
    assert embellished(plain, "all") is plain


def test_two_grace_notes_take_two_32nds_from_the_note_before():
    made = embellished(ornate(tune((D, 1), (E, 1)), (1, E, "grace", (G, F))), "graces")
    assert rows(made) == [("0", "3/4", D, False), ("3/4", "1/8", G, True), ("7/8", "1/8", F, True), ("1", "1", E, False)]
    assert made.ornaments == ()


def test_many_grace_notes_take_no_more_than_half_of_the_note_before():
    made = embellished(ornate(tune((D, Fraction(1, 2)), (E, 1)), (Fraction(1, 2), E, "grace", (G, A, G, F))), "graces")
    assert [row[:2] for row in rows(made)] == [
        ("0", "1/4"),
        ("1/4", "1/16"),
        ("5/16", "1/16"),
        ("3/8", "1/16"),
        ("7/16", "1/16"),
        ("1/2", "1"),
    ]


def test_grace_notes_after_a_rest_stand_in_the_rest():
    made = embellished(ornate(tune((D, 1), (None, 1), (E, 1)), (2, E, "grace", (F,))), "graces")
    assert rows(made) == [("0", "1", D, False), ("15/8", "1/8", F, True), ("2", "1", E, False)]


def test_a_rest_too_short_for_its_grace_notes_is_helped_out_by_the_note_before():
    # half of 1 1/8 quarters is room enough for two 32nds, of which the rest holds one
    made = embellished(ornate(tune((D, 1), (None, Fraction(1, 8)), (E, 1)), (Fraction(9, 8), E, "grace", (G, F))), "graces")
    assert [row[:3] for row in rows(made)] == [("0", "7/8", D), ("7/8", "1/8", G), ("1", "1/8", F), ("9/8", "1", E)]


def test_before_the_first_note_there_is_only_what_rests_there():
    at_once = embellished(ornate(tune((D, 1)), (0, D, "grace", (E,))), "all")
    assert rows(at_once) == [("0", "1", D, False)]
    assert len(at_once.ornaments) == 1
    assert at_once.warnings == ("1 of 1 ornament finds no room and is left out, first at quarter 0",)
    after_a_rest = embellished(ornate(tune((None, 1), (D, 1)), (1, D, "grace", (E,))), "all")
    assert rows(after_a_rest) == [("7/8", "1/8", E, True), ("1", "1", D, False)]


def test_of_two_voices_the_nearer_one_gives_its_time():
    bass = TuneNote(Fraction(0), Fraction(1), 43)
    two = tune((D, 1), (E, 1))
    made = embellished(ornate(replace(two, notes=(bass, *two.notes)), (1, E, "grace", (F,))), "graces")
    assert rows(made)[:2] == [("0", "1", 43, False), ("0", "7/8", D, False)]


def test_grace_notes_after_a_note_take_its_end_and_those_before_the_next_come_last():
    made = embellished(ornate(tune((D, 1), (G, 1)), (0, D, "after-grace", (E, F)), (1, G, "grace", (A,))), "graces")
    # 1 - 1/8 for the A; then two 32nds up to there
    assert rows(made) == [
        ("0", "5/8", D, False), ("5/8", "1/8", E, True), ("3/4", "1/8", F, True), ("7/8", "1/8", A, True), ("1", "1", G, False),
    ]  # fmt: skip


def test_a_slide_is_one_small_note_from_below():
    made = embellished(ornate(tune((D, 1), (F, 1)), (1, F, "slide", (E, G))), "all")
    assert [row[2:] for row in rows(made)] == [(D, False), (E, True), (F, False)]


# A quarter at 60 lasts a second: twelve pieces of a twelfth. Order of the keys: see above.
@pytest.mark.parametrize(
    "kind, keys, lengths",
    [
        ("upper-mordent", (E, F, E), ("1/12", "1/12", "5/6")),
        ("lower-mordent", (E, D, E), ("1/12", "1/12", "5/6")),
        ("turn", (E, F, E, D, E), ("1/12", "1/12", "1/12", "1/12", "2/3")),
        ("inverted-turn", (E, D, E, F, E), ("1/12", "1/12", "1/12", "1/12", "2/3")),
        ("roll", (E, F, E, D, E), ("1/3", "1/12", "1/4", "1/12", "1/4")),
        ("trill", (E, F) * 5 + (E,), ("1/12",) * 10 + ("1/6",)),
    ],
)
def test_each_sign_in_a_second(kind, keys, lengths):
    made = embellished(ornate(tune((E, 1), (D, 1), tempo=60.0), (0, E, kind, (D, F))), "all")
    assert tuple(note.midi for note in made.notes[:-1]) == keys
    assert tuple(str(note.duration_q) for note in made.notes[:-1]) == lengths
    assert [note.ornamental for note in made.notes] == [False, *[True] * (len(keys) - 1), False]


def test_a_sign_goes_by_seconds_not_by_beats():
    """At 120 a quarter holds six pieces, at 240 three, at 300 two: too few for a trill of three."""
    counts = []
    for tempo in (120.0, 240.0, 300.0):
        made = embellished(ornate(tune((E, 1), (D, 1), tempo=tempo), (0, E, "trill", (D, F))), "all")
        counts.append((len(made.notes) - 1, len(made.ornaments)))
    assert counts == [(5, 0), (3, 0), (1, 1)]


def test_a_long_trill_ends_on_its_main_note():
    made = embellished(ornate(tune((E, 16), tempo=60.0), (0, E, "trill", (D, F))), "all")
    assert len(made.notes) == 63
    assert made.notes[-1].midi == E
    assert made.notes[-1].onset_q + made.notes[-1].duration_q == 16


def test_graces_alone_leave_signs_where_they_are():
    made = ornate(tune((D, 1), (E, 1)), (0, D, "trill", (61, E)), (1, E, "grace", (F,)))
    assert [one.kind for one in embellished(made, "graces").ornaments] == ["trill"]
    assert embellished(made, "all").ornaments == ()


def test_an_ornament_without_its_note_is_kept_and_said():
    made = embellished(ornate(tune((D, 1), (E, 1)), (1, G, "grace", (F,)), (1, E, "grace", (F,)), (1, E, "grace", (A,))), "all")
    assert [one.keys for one in made.ornaments] == [(F,), (A,)]
    assert made.warnings == ("1 of 2 ornaments finds no room and is left out, first at quarter 1",)


def test_a_small_note_on_a_key_that_is_struck_anyway_is_left_out():
    other = TuneNote(Fraction(1, 12), Fraction(1), F)
    one = tune((E, 1), tempo=60.0)
    made = embellished(ornate(replace(one, notes=(*one.notes, other)), (0, E, "upper-mordent", (D, F))), "all")
    assert [note for note in made.notes if note.midi == F] == [other]


def test_far_too_many_small_notes_are_refused(monkeypatch):
    monkeypatch.setattr(embellish, "MOST_SMALL_NOTES", 3)
    with pytest.raises(BadInput, match="far too many"):
        embellished(ornate(tune((D, 1), (E, 1)), (1, E, "grace", (F, G, F, G))), "graces")


KINDS = ["grace", "after-grace", "trill", "upper-mordent", "lower-mordent", "turn", "inverted-turn", "roll", "slide"]


@st.composite
def ornate_tunes(draw):
    """A line of one voice with any ornaments, several at one note too."""
    lengths = st.sampled_from([Fraction(1, 8), Fraction(1, 3), Fraction(1, 2), Fraction(1), Fraction(3)])
    line = draw(st.lists(st.tuples(st.one_of(st.none(), st.integers(50, 80)), lengths), min_size=1, max_size=10))
    made = tune((70, Fraction(1)), *line, tempo=draw(st.sampled_from([40.0, 120.0, 250.0])))
    ornaments = []
    for note in made.notes:
        for kind in draw(st.lists(st.sampled_from(KINDS), max_size=3)):
            many = draw(st.integers(1, 4)) if "grace" in kind else 2
            ornaments.append((note.onset_q, note.midi, kind, tuple(note.midi + draw(st.integers(-3, 3)) for _ in range(many))))
    return ornate(made, *ornaments)


@examples(150)
@given(ornate_tunes())
def test_whatever_is_written_out_the_melody_keeps_its_beats_and_nothing_overlaps(made):
    full = embellished(made, "all")
    melody = [note for note in full.notes if not note.ornamental]
    assert [(note.onset_q, note.midi) for note in melody] == [(note.onset_q, note.midi) for note in made.notes]
    assert all(0 < after.duration_q <= before.duration_q for after, before in zip(melody, made.notes, strict=True))
    assert list(full.notes) == sorted(full.notes, key=lambda note: (note.onset_q, note.midi))
    for a, b in pairwise(full.notes):
        assert a.onset_q + a.duration_q <= b.onset_q
    assert max(note.onset_q + note.duration_q for note in full.notes) == max(note.onset_q + note.duration_q for note in made.notes)
    assert set(full.ornaments) <= set(made.ornaments)


@examples(60)
@given(ornate_tunes())
def test_signs_are_no_faster_than_a_hand_and_graces_no_longer_than_a_32nd(made):
    full = embellished(replace(made, ornaments=tuple(o for o in made.ornaments if o.kind in ("trill", "turn", "roll"))), "all")
    small = [note for note in full.notes if note.ornamental]
    assert all(full.seconds_at(note.onset_q + note.duration_q) - full.seconds_at(note.onset_q) >= 1 / 12 - 1e-9 for note in small)
    graces = embellished(made, "graces")
    assert all(note.duration_q <= Fraction(1, 8) for note in graces.notes if note.ornamental)
