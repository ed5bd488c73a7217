"""Small notes of ornaments in a setting: tried when asked for, counted apart, the first to go. Worked out by hand."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.motion.voice import Place, Voice
from jackrail.setting.fit import arrange
from jackrail.setting.losses import gather
from jackrail.setting.melody import lent
from jackrail.setting.taste import Taste, note_weights
from jackrail.setting.wishes import Wishes
from jackrail.tune.embellish import embellished
from jackrail.tune.model import Ornament, TuneNote
from jackrail.tune.read import read_tune
from workshop import MACHINE_NAMES, ROOT, ensemble, examples, tune, tunes

STAY = Wishes(transpose=0, tempo="100%", ornaments="all")
LINE = tune((67, "1"), (69, "1"), (71, "2"), tempo=60.0, bars=1)


def with_ornaments(made, *ornaments):
    return replace(made, ornaments=tuple(Ornament(Fraction(onset), midi, kind, keys) for onset, midi, kind, keys in ornaments))


def hammers(*keys, rearm_s=0.02):
    return tuple(Voice(f"h{key}", "melody", (f"b{key}",), (Place(str(key), key),), ((0.0,),), (0.0,), rearm_s, 0.01) for key in keys)


def one_bar(*keys, move_s):
    """One travelling bar that takes the same time between any two of its stops."""
    ways = tuple(tuple(0.0 if p == q else move_s for q in keys) for p in keys)
    places = tuple(Place(str(key), key, steps=n) for n, key in enumerate(keys))
    return (Voice("bar", "melody", ("s",), places, ways, (0.0,) * len(keys), 0.05, 0.01),)


def test_without_a_wish_ornaments_are_kept_apart():
    made = with_ornaments(LINE, (1, 69, "grace", (71,)))
    played, setting = arrange(made, hammers(67, 69, 71), "Hammers", replace(STAY, ornaments="none"))
    assert played == made
    assert (setting.notes_total, setting.small_total) == (3, 0)


def test_small_notes_are_counted_apart_from_the_melody():
    made = with_ornaments(LINE, (1, 69, "grace", (72, 71)), (2, 71, "upper-mordent", (69, 73)))
    played, setting = arrange(made, hammers(67, 69, 71), "Hammers", STAY)
    assert len(played.notes) == 7
    assert (setting.notes_kept, setting.notes_total, setting.small_kept, setting.small_total) == (3, 3, 1, 4)
    assert [(loss.kind, loss.place, loss.written, loss.reason) for loss in setting.losses] == [
        ("small-lost", "bar 1 beat 1.75", "C5", "no voice has C5"),
        ("small-lost", "bar 1 beat 3", "ornament of B4", "this machine cannot play all of it here"),
        ("small-lost", "bar 1 beat 3", "ornament of B4", "this machine cannot play all of it here"),
    ]
    assert [(row.what, row.written, row.places) for row in gather(setting.losses)] == [
        ("small note left out", "C5", ("bar 1 beat 1.75",)),
        ("small note left out", "ornament of B4", ("bar 1 beat 3",)),
    ]
    assert [note.ornamental for note in setting.notes] == [False, True, False, False]


def test_small_notes_are_told_after_what_the_melody_lost():
    made = with_ornaments(LINE, (1, 69, "grace", (72,)))
    _, setting = arrange(made, hammers(67, 69), "Hammers", STAY)
    assert [row.what for row in gather(setting.losses)] == ["note left out", "small note left out"]


def test_a_small_note_is_never_moved_by_an_octave():
    made = with_ornaments(LINE, (1, 69, "grace", (59,)))
    _, setting = arrange(made, hammers(67, 69, 71), "Hammers", STAY)
    assert (setting.small_kept, setting.notes_folded) == (0, 0)


def test_time_of_small_notes_left_out_goes_back_to_the_note_it_was_taken_from():
    """At 60, a quarter is a second: G with two grace notes before A, of which the bar reaches neither; then a trill on B, of none."""
    made = with_ornaments(LINE, (1, 69, "grace", (71, 67)), (2, 71, "trill", (69, 67)))
    _, setting = arrange(made, one_bar(67, 69, 71, move_s=0.5), "Bar", STAY)
    assert [(note.midi, round(note.written_s, 6)) for note in setting.notes if not note.ornamental] == [(67, 1.0), (69, 1.0), (71, 2.0)]
    # hammers keep the first of two grace notes, which then sounds until the next that is kept
    made = with_ornaments(LINE, (1, 69, "grace", (71, 72)))
    _, setting = arrange(made, hammers(67, 69, 71), "Hammers", STAY)
    assert [(note.midi, round(note.written_s, 6)) for note in setting.notes] == [(67, 0.75), (71, 0.25), (69, 1.0), (71, 2.0)]


@pytest.mark.parametrize("kind", ["trill", "upper-mordent", "lower-mordent", "turn", "inverted-turn", "roll"])
@pytest.mark.parametrize("keys", [(67, 69, 71), (67, 69), (69, 71)])
def test_a_sign_sounds_whole_or_not_at_all(kind, keys):
    """On hammers for the main note A and one or both of its neighbours."""
    made = with_ornaments(tune((67, "1"), (69, "2"), (67, "1"), tempo=60.0, bars=1), (1, 69, kind, (67, 71)))
    _, setting = arrange(made, hammers(*keys), "Hammers", STAY)
    whole = len(keys) == 3 or {"upper-mordent": (69, 71), "trill": (69, 71), "lower-mordent": (67, 69)}.get(kind) == keys
    assert setting.small_kept == (setting.small_total if whole else 0)
    assert setting.small_total > 0
    assert setting.optimal == whole  # what was set aside in one key might have been whole in another


def test_no_note_of_the_melody_makes_way_for_small_ones():
    """D E with as many small notes between as there is room for, on a bar that manages the melody and no more."""
    line = tune((62, "1"), (64, "1"), (62, "1"), (64, "1"), tempo=120.0, bars=1)
    made = with_ornaments(line, *((n, 64 if n % 2 else 62, "grace", (60, 62, 64, 60)) for n in range(1, 4)))
    _, plain = arrange(made, one_bar(60, 62, 64, move_s=0.4), "Bar", replace(STAY, ornaments="none"))
    _, full = arrange(made, one_bar(60, 62, 64, move_s=0.4), "Bar", STAY)
    assert plain.notes_kept == full.notes_kept == 4
    assert full.small_total == 12


@examples(40)
@given(tunes(most_notes=10), st.sampled_from(MACHINE_NAMES), st.integers(1, 3))
def test_with_small_notes_as_much_of_the_melody_is_kept_at_the_same_tempo_and_key(made, name, many):
    graces = [(n.onset_q, n.midi, "grace", (n.midi + 2, n.midi - 1)[:many]) for n in made.notes[::3]]
    wishes = Wishes(transpose=0, tempo="100%", harmony="none")
    _, plain = arrange(with_ornaments(made, *graces), ensemble(name).voices, name, wishes)
    _, full = arrange(with_ornaments(made, *graces), ensemble(name).voices, name, replace(wishes, ornaments="all"))
    lost_plain = plain.cost
    lost_full = full.cost - Taste().small_note * (full.small_total - full.small_kept)
    # each small note that sounds has saved its cost: what the melody lost for it is less
    assert lost_full <= lost_plain + Taste().small_note * full.small_kept + 1e-9
    assert full.notes_total == plain.notes_total
    assert full.small_total - full.small_kept == sum(loss.kind == "small-lost" for loss in full.losses)


def test_small_notes_weigh_little_and_take_no_weight_from_their_note():
    made = with_ornaments(LINE, (1, 69, "grace", (71,)), (2, 71, "trill", (69, 72)))
    full = embellished(made, "all")
    weights = note_weights(full)
    assert {weight for weight, note in zip(weights, full.notes, strict=True) if note.ornamental} == {Taste().small_note}
    assert [weight for weight, note in zip(weights, full.notes, strict=True) if not note.ornamental] == pytest.approx(note_weights(made))
    weakest = min(note_weights(tune((60, "1"), *[(60, "1/4")] * 3, (60, "1"), bars=1)))
    assert 8 * Taste().small_note < weakest


def test_a_small_note_at_the_top_does_not_make_another_voice_the_accompaniment():
    low = TuneNote(Fraction(23, 12), Fraction(1), 60)
    made = replace(LINE, notes=(*LINE.notes[:2], low, LINE.notes[2]))
    small = TuneNote(Fraction(23, 12), Fraction(1, 12), 72, ornamental=True)
    with_small = replace(made, notes=(*made.notes[:3], small, made.notes[3]))
    assert note_weights(with_small)[2] == note_weights(made)[2]


@pytest.mark.slow
def test_many_small_notes_make_no_tempo_dearer():
    """The zither plays this jig slower than written whatever stands beside its notes: five small ones that it cannot play, here."""
    made = read_tune(ROOT / "tunes" / "gull_steps.abc")
    graces = [(note.onset_q, note.midi, "grace", (61,) * 5) for note in made.notes]
    plain, full = (
        arrange(with_ornaments(made, *graces), ensemble("quay_zither").voices, "Zither", wishes)[1]
        for wishes in (Wishes(), Wishes(ornaments="all"))
    )
    assert full.small_total > 500
    assert (full.tempo_factor, full.notes_kept, full.transpose_semitones) == (
        plain.tempo_factor,
        plain.notes_kept,
        plain.transpose_semitones,
    )
    assert plain.tempo_factor < 0.7


def test_a_small_note_after_a_rest_takes_nobodys_time():
    made = with_ornaments(tune((67, "1"), (None, "1"), (69, "1")), (2, 69, "grace", (71,)))
    assert lent(embellished(made, "all")) == {}
    assert lent(LINE) == {}


@pytest.mark.parametrize(
    "wrong, words",
    [
        ({"ornaments": "some"}, "--ornaments"),
        ({"harmony": "mine"}, "--harmony"),
        ({"leave": "never"}, "--leave"),
        ({"ornaments": None}, "none or graces or all"),
    ],
)
def test_a_wish_that_is_no_word_of_ours_is_refused(wrong, words):
    with pytest.raises(BadInput, match=words) as bad:
        Wishes(**wrong)
    assert bad.value.faults[0].code == "option"


def test_all_wrong_wishes_are_told_at_once():
    with pytest.raises(BadInput) as bad:
        Wishes(ornaments="some", harmony="mine")
    assert [fault.where for fault in bad.value.faults] == ["--ornaments", "--harmony"]
