"""What a fit must keep whatever the tune and the machine: rhythm, counts, wishes, and the same answer every time."""

import itertools
from collections import Counter
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.motion.voice import Place, Voice
from jackrail.pitch import parse_pitch
from jackrail.setting.fit import fit
from jackrail.setting.naming import key_name
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.model import KeyMark, Tune, TuneNote
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of, examples, tune, tunes

NAMES = st.sampled_from(MACHINE_NAMES)
SCALE = [(62, "1"), (64, "1"), (66, "1"), (67, "1"), (69, "1"), (71, "1"), (72, "1"), (74, "1")]


def voices_of(name):
    return ensemble(name).voices


def moved(made: Tune, octaves: int) -> Tune:
    return replace(made, notes=tuple(TuneNote(n.onset_q, n.duration_q, n.midi + 12 * octaves) for n in made.notes))


@examples(40)
@given(tunes(), NAMES, st.one_of(st.none(), st.integers(-24, 24)))
def test_no_key_changes_the_rhythm(made, name, transpose):
    setting = fit(made, voices_of(name), name, Wishes(transpose=transpose))
    for note in setting.notes:
        written = made.notes[note.index]
        expected_s = setting.lead_in_s + made.seconds_at(written.onset_q) / setting.tempo_factor
        assert note.onset_s == pytest.approx(expected_s, abs=1e-9)
        assert note.midi == written.midi + setting.transpose_semitones + 12 * note.octaves


@examples(25)
@given(tunes(most_notes=12), NAMES, st.sampled_from([-2, -1, 1, 2]))
def test_a_tune_written_in_another_octave_is_fitted_alike(made, name, octaves):
    here = fit(made, voices_of(name), name, Wishes(transpose=0))
    there = fit(moved(made, octaves), voices_of(name), name, Wishes(transpose=-12 * octaves))
    assert there.notes == here.notes
    assert there.strokes == here.strokes
    assert there.tempo_factor == here.tempo_factor
    assert there.cost == pytest.approx(here.cost + Taste().semitone * 12 * abs(octaves))


@examples(25)
@given(tunes(most_notes=12), NAMES)
def test_the_same_tune_is_fitted_the_same_way_each_time(made, name):
    assert fit(made, voices_of(name), name) == fit(made, voices_of(name), name)


@examples(40)
@given(tunes(), NAMES)
def test_losses_add_up_with_the_totals_and_each_has_its_reason(made, name):
    setting = fit(made, voices_of(name), name, Wishes(harmony="written"))
    kinds = Counter(loss.kind for loss in setting.losses)
    assert setting.notes_total == len(made.notes)
    assert setting.notes_total - setting.notes_kept == kinds["note-lost"]
    assert setting.notes_folded == kinds["note-folded"]
    assert setting.chords_total == len(made.chords)
    assert setting.chords_total - setting.chords_kept == kinds["chord-lost"]
    assert kinds["chord-changed"] <= setting.chords_kept
    assert all(loss.reason and loss.place and loss.written for loss in setting.losses)
    assert all((loss.played == "") == loss.kind.endswith("lost") for loss in setting.losses)
    assert [loss.onset_s for loss in setting.losses] == sorted(loss.onset_s for loss in setting.losses)


@examples(40)
@given(tunes(), NAMES)
def test_every_voice_sounds_only_what_it_can(made, name):
    setting, voices = fit(made, voices_of(name), name), voices_of(name)
    for note in setting.notes:
        assert voices[note.voice].places[note.place].midi == note.midi
        assert voices[note.voice].part == "melody"
        assert abs(note.octaves) <= 2
    assert all(voices[stroke.voice].part == "chord" for stroke in setting.strokes)
    assert all(voices[beat.voice].part == "beat" for beat in setting.beats)


@examples(40)
@given(tunes(), NAMES, st.sampled_from(["late", "early"]))
def test_a_bar_leaves_after_its_note_has_spoken_and_arrives_in_time(made, name, leave):
    setting, voices = fit(made, voices_of(name), name, Wishes(leave=leave)), voices_of(name)
    for v in {note.voice for note in setting.notes}:
        own = [note for note in setting.notes if note.voice == v]
        assert own[-1].leave_s is None
        for note, after in itertools.pairwise(own):
            assert (note.leave_s is None) == (note.place == after.place)
            if note.leave_s is not None:
                assert note.leave_s >= note.onset_s + Taste().least_ring_s - 1e-9
                assert note.leave_s + voices[v].move_s[note.place][after.place] <= after.onset_s + 1e-9
                if leave == "early" and voices[v].travels:  # only a bar is heard sliding
                    assert note.leave_s <= note.onset_s + Taste().least_ring_s + 1e-9


@examples(25)
@given(tunes(most_notes=10), NAMES, st.integers(-14, 14))
def test_no_key_asked_for_is_better_than_the_one_found(made, name, transpose):
    voices = voices_of(name)
    assert fit(made, voices, name).cost <= fit(made, voices, name, Wishes(transpose=transpose)).cost + 1e-9


@examples(25)
@given(tunes(most_notes=10), NAMES, st.integers(40, 100))
def test_no_tempo_asked_for_is_better_than_the_one_found(made, name, percent):
    voices = voices_of(name)
    assert fit(made, voices, name).cost <= fit(made, voices, name, Wishes(tempo=f"{percent}%")).cost + 1e-9


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_an_easy_tune_in_the_key_of_the_machine_is_left_as_it_is(name):
    easy = tune(*[(parse_pitch(text), "2") for text in ("G4", "A4", "B4", "A4", "G4")], tempo=60.0)
    setting = fit(easy, voices_of(name), name, Wishes(harmony="written"))
    assert (setting.transpose_semitones % 12, setting.tempo_factor, setting.losses, setting.cost < 0.02) == (0, 1.0, (), True)


@pytest.mark.parametrize("tempo, factor", [("60", 0.5), ("120", 1.0), ("80%", 0.8), (" 50 % ", 0.5), ("150.0", 1.25)])
def test_a_tempo_asked_for_is_kept(tempo, factor):
    setting = fit(tune(*SCALE, tempo=120.0), voices_of("tower_chimes"), "Chimes", Wishes(tempo=tempo))
    assert setting.tempo_factor == pytest.approx(factor)
    assert setting.quarters_per_minute == pytest.approx(120 * factor)
    assert setting.notes[1].onset_s - setting.notes[0].onset_s == pytest.approx(0.5 / factor)


@pytest.mark.parametrize("key, shift", [("G", 0), ("A", 2), ("D", 7), ("F#", 11)])
def test_a_key_asked_for_is_kept(key, shift):
    setting = fit(tune(*SCALE, sharps=1), voices_of("tower_chimes"), "Chimes", Wishes(key=key))
    assert setting.transpose_semitones % 12 == shift
    assert key_name(tune(*SCALE, sharps=1), setting.transpose_semitones).split()[0] == key


@pytest.mark.parametrize(
    "wishes, words",
    [
        ({"key": "G", "transpose": 2}, "not both"),
        ({"tempo": "fast"}, "cannot be read as a tempo"),
        ({"tempo": "-3"}, "cannot be read as a tempo"),
        ({"tempo": "1%"}, "out of range"),
        ({"tempo": "9999"}, "out of range"),
        ({"key": "H"}, "cannot be read as a key"),
        ({"key": "Em"}, "write --key E"),
    ],
)
def test_a_wish_that_cannot_be_met_is_refused(wishes, words):
    with pytest.raises(BadInput, match=words):
        fit(tune(*SCALE), voices_of("tower_chimes"), "Chimes", Wishes(**wishes))


# Signatures, keys and how they are spelt after a move: the circle of fifths, common practice, no source.
@pytest.mark.parametrize(
    "sharps, mode, semitones, name",
    [
        (0, "major", 0, "C major"), (-4, "major", 0, "Ab major"), (-5, "major", 0, "Db major"), (-7, "minor", 0, "Ab minor"),
        (5, "minor", 0, "G# minor"), (7, "major", 0, "C# major"), (0, "major", 1, "Db major"), (0, "major", 3, "Eb major"),
        (0, "major", 6, "F# major"), (-1, "major", 1, "Gb major"), (1, "major", -1, "F# major"), (-3, "major", 5, "Ab major"),
        (0, "minor", 1, "Bb minor"), (-3, "minor", 8, "G# minor"), (0, "dorian", 2, "E dorian"), (-2, "mixolydian", 1, "F# mixolydian"),
        (-4, "major", 12, "Ab major"), (0, "none", 3, ""), (2, "bagpipe", 0, ""), (0, "explicit", 0, ""),
    ],
)  # fmt: skip
def test_a_key_is_spelt_by_its_signature(sharps, mode, semitones, name):
    made = replace(tune(*SCALE), keys=(KeyMark(Fraction(0), sharps, mode),))
    assert key_name(made, semitones) == name


@pytest.mark.parametrize("key", ["Ab", "Db", "Eb", "Bb", "Gb", "F#"])
def test_a_flat_key_asked_for_is_named_as_asked(key):
    made = tune(*SCALE, sharps=-1 if key == "Gb" else 1)
    setting = fit(made, voices_of("tower_chimes"), "Chimes", Wishes(key=key))
    assert key_name(made, setting.transpose_semitones) == f"{key} major"


@pytest.mark.parametrize("mode", ["none", "explicit", "bagpipe"])
def test_a_signature_without_a_tonic_is_no_key(mode):
    made = replace(tune(*SCALE), keys=(KeyMark(Fraction(0), 0, mode),))
    with pytest.raises(BadInput, match="states no key"):
        fit(made, voices_of("tower_chimes"), "Chimes", Wishes(key="G"))


def test_a_key_cannot_be_asked_of_a_tune_that_states_none():
    assert key_name(tune(*SCALE, sharps=None), 2) == ""
    with pytest.raises(BadInput, match="states no key"):
        fit(tune(*SCALE, sharps=None), voices_of("tower_chimes"), "Chimes", Wishes(key="G"))


def test_a_tune_without_notes_is_refused():
    with pytest.raises(BadInput, match="no notes"):
        fit(tune(), voices_of("tower_chimes"), "Chimes")


@pytest.mark.parametrize("share", [0.0, 0.04, 1.1, -1.0])
def test_a_taste_out_of_range_is_refused(share):
    with pytest.raises(BadInput, match="share of the written one"):
        Taste(least_tempo=share)


def test_a_chord_is_played_by_the_bar_of_its_tones_and_never_by_a_clashing_one():
    made = tune(*[(67, "4")] * 6, chords=[(0, "G"), (4, "D7"), (8, "Em7"), (12, "F"), (16, "G/B"), (20, "Cmaj7")], bars=6)
    zither = voices_of("quay_zither")
    setting = fit(made, zither, "Quay zither", Wishes(transpose=0))
    played = {stroke.symbol: zither[stroke.voice].chord for stroke in setting.strokes if not stroke.repeated}
    # Em7 is E G B D and holds both Em and G: the bar on its root is meant. F has no bar. Trade fact, common practice.
    assert played == {"G": "G", "D7": "D", "Em7": "Em", "G/B": "G", "Cmaj7": "C"}
    assert {(loss.kind, loss.written, loss.played) for loss in setting.losses} == {
        ("chord-changed", "D7", "D"),
        ("chord-changed", "Em7", "Em"),
        ("chord-changed", "Cmaj7", "C"),
        ("chord-lost", "F", ""),
    }


def test_a_chord_that_holds_is_struck_again_at_each_bar_line():
    made = tune(*[(67, "4")] * 3, chords=[(0, "G")], bars=3)
    setting = fit(made, voices_of("quay_zither"), "Quay zither")
    assert [stroke.repeated for stroke in setting.strokes] == [False, True, True]
    assert setting.cost == 0.0  # nothing was wanted twice and given up
    assert [round(stroke.onset_s - setting.strokes[0].onset_s, 6) for stroke in setting.strokes] == [0.0, 2.0, 4.0]


def test_a_chord_that_is_lost_is_named_as_in_the_file():
    made = tune(*[(67, "4")] * 2, chords=[(0, "Fm7"), (4, "Ab/c")], sharps=-4, bars=2)
    setting = fit(made, voices_of("twin_lute"), "Twin lute", Wishes(transpose=1))
    assert [loss.written for loss in setting.losses if loss.kind == "chord-lost"] == ["Fm7", "Ab/c"]


# The bars of a jig whose parts each begin with an upbeat: 1 quaver, 5 at the end of a part.
JIG = 'X:1\nM:6/8\nL:1/8\nQ:3/8=60\nK:G\nD|"G"GAB BAG|G3 G2:|:B|dBd gdB|G3 G2:|\n'


def test_a_chord_is_struck_again_on_downbeats_only():
    made = read_abc(split_tunes(JIG)[0])
    setting = fit(made, voices_of("quay_zither"), "Quay zither", Wishes(transpose=0, tempo="100%"))
    lead_s = setting.lead_in_s + 1 / 3  # three quavers a second
    assert [(round(stroke.onset_s - lead_s, 6), stroke.repeated) for stroke in setting.strokes] == [
        (0, False), (2, True), (4, False), (6, True), (8, True), (10, True), (12, True), (14, True),
    ]  # fmt: skip


def test_a_drum_beats_on_downbeats_only():
    made = read_abc(split_tunes(JIG)[0])
    setting = fit(made, voices_of("tower_chimes"), "Chimes", Wishes(transpose=0, tempo="100%"))
    lead_s = setting.lead_in_s + 1 / 3
    assert [round(beat.onset_s - lead_s, 6) for beat in setting.beats] == [0, 2, 4, 6, 8, 10, 12, 14]


def test_a_drum_beats_each_bar_but_never_before_it_is_ready_again():
    drum = 'id = "coil_drum", rail = "main", resistance = "8 ohm", pull_in = "11 ms", release = "20 ms"'
    slow = ensemble_of(changed("tower_chimes", (drum, drum.replace("20 ms", "1500 ms")))).voices
    made = tune(*[(67, "1")] * 16, tempo=240.0, bars=4)  # a bar a second
    assert len(fit(made, voices_of("tower_chimes"), "Chimes").beats) == 4
    assert len(fit(made, slow, "Chimes").beats) == 2


def test_of_two_notes_too_near_the_weaker_is_left_out_and_the_reason_names_both_times():
    # A semiquaver between two long notes that stand far apart: at 40 mm a turn no bar gets there and back.
    made = tune((62, "4"), (86, "1/16"), (62, "4"), tempo=120.0, bars=2)
    zither = voices_of("quay_zither")
    setting = fit(made, zither, "Quay zither", Wishes(transpose=0, tempo="100%", taste=Taste(folded=2.0, folded_twice=2.0)))
    assert [note.index for note in setting.notes] == [0, 2]
    (loss,) = setting.losses
    assert (loss.kind, loss.written) == ("note-lost", "D6")
    # D4 to D6: 428 mm apart on a 640 mm string from C4; a semiquaver-quarter at 120 lasts 31 ms
    assert "there are 31 ms" in loss.reason
    assert f"{640 * (2 ** (-2 / 12) - 2 ** (-26 / 12)):.0f} mm" in loss.reason


def test_a_taste_that_never_folds_is_proven_all_the_same():
    """With folding dearer than leaving out, no transposition tried alone costs less than the proven best."""
    taste = Taste(folded=3.0, folded_twice=3.0)
    made = tune((62, "1"), (90, "1"), (64, "1"), (50, "1"), (67, "1"), (93, "1"), tempo=60.0)
    best = fit(made, voices_of("quay_zither"), "Zither", Wishes(taste=taste))
    alone = [fit(made, voices_of("quay_zither"), "Zither", Wishes(taste=taste, transpose=t)).cost for t in range(-30, 31)]
    assert best.optimal
    assert best.cost == pytest.approx(min(alone))


@pytest.mark.parametrize("change", [{"folded": float("nan")}, {"slower": -1.0}, {"least_ring_s": 0.0}, {"chord_lost": float("inf")}])
def test_a_taste_of_weights_that_are_none_is_refused(change):
    with pytest.raises(BadInput):
        Taste(**change)


def fretted(keys, settle_s):
    """A string with its open note and a finger for each other key, and no time to speak of but for what a change of finger takes."""
    places = tuple(Place(f"fret {key - keys[0]}", key, fret=key - keys[0]) for key in keys)
    change_s = tuple(tuple(0.0 if p == q else settle_s for q in keys) for p in keys)
    return Voice("lute", "melody", ("s",), places, change_s, (0.0,) * len(keys), 0.05, 0.01)


def test_a_note_left_out_lets_the_one_before_ring_through_it_but_not_over_a_rest():
    """At 120 a semiquaver lasts 125 ms, too short for a change of finger that takes 140 ms: both are left out, the second after a rest."""
    made = tune((60, "3/4"), (62, "1/4"), (60, "1"), (None, "3/4"), (64, "1/4"), (60, "2"), tempo=120.0)
    wishes = Wishes(transpose=0, tempo="100%", taste=Taste(folded=9.0, folded_twice=9.0))
    kept = {note.index: note for note in fit(made, (fretted((60, 62, 64), 0.14),), "Lute", wishes).notes}
    assert {index: note.written_s for index, note in kept.items()} == pytest.approx({0: 0.5, 2: 0.5, 4: 1.0})
    assert kept[0].leave_s is None  # its string stays as it is, and is not stopped where the lost note would have begun


def test_a_row_of_notes_left_out_is_rung_through_as_well():
    made = tune((60, "3/4"), (62, "1/8"), (64, "1/8"), (65, "1"), tempo=120.0)
    wishes = Wishes(transpose=0, tempo="100%", taste=Taste(folded=9.0, folded_twice=9.0))
    first, last = fit(made, (fretted((60, 62, 64, 65), 0.14),), "Lute", wishes).notes
    assert (first.index, last.index, first.written_s) == (0, 3, pytest.approx(0.375 + 2 * 0.0625))
    assert first.leave_s == pytest.approx(last.onset_s - 0.14)  # its finger lifts for the last one only
