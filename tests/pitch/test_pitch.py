"""Properties of pitches and chord symbols."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.pitch import (
    class_name,
    frequency_hz,
    moved_signature,
    moved_symbol,
    name_on_circle,
    neighbours,
    parse_chord,
    parse_pitch,
    pitch_name,
    signature,
)
from workshop import fault_codes

KEYS = st.integers(0, 127)
SPELLINGS = [
    ("C#4", "Db4"), ("E#4", "F4"), ("Cb4", "B3"), ("B#3", "C4"),
    ("F##4", "G4"), ("Bbb4", "A4"), ("F♯4", "Gb4"),
]  # fmt: skip
ROOTS = ["C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb", "B", "Cb", "E#"]


@given(KEYS)
def test_a_key_read_back_from_its_name_is_itself(midi):
    assert parse_pitch(pitch_name(midi)) == midi


@given(st.integers(0, 115), st.floats(400, 480))
def test_an_octave_doubles_the_frequency(midi, a4_hz):
    assert frequency_hz(midi + 12, a4_hz) == pytest.approx(2 * frequency_hz(midi, a4_hz), rel=1e-12)


@pytest.mark.parametrize("one, other", SPELLINGS)
def test_two_spellings_of_one_key_agree(one, other):
    assert parse_pitch(one) == parse_pitch(other)


@pytest.mark.parametrize("text", ["g4", "H4", "G", "4", "", "G44", "G#b4", "G 4", "G-2", "G#9", "A9"])
def test_what_is_no_pitch_is_refused(text):
    with pytest.raises(BadInput) as caught:
        parse_pitch(text)
    assert [fault.code for fault in caught.value.faults] == ["pitch"]


@given(st.sampled_from(ROOTS), st.sampled_from(["", "m", "7", "maj7", "m7", "dim", "aug", "sus4", "6", "9"]), st.integers(-30, 30))
def test_a_chord_moved_by_semitones_keeps_its_shape(root, quality, semitones):
    chord = parse_chord(root + quality)
    moved = chord.transposed(semitones)
    assert {(tone - semitones) % 12 for tone in moved.classes} == chord.classes
    assert moved.transposed(-semitones) == chord
    assert moved.intervals == chord.intervals


@given(st.sampled_from(ROOTS), st.sampled_from(ROOTS))
def test_a_slash_chord_holds_its_bass(root, bass):
    chord = parse_chord(f"{root}/{bass}")
    assert chord.bass == parse_chord(bass).root
    assert chord.classes == parse_chord(root).classes | {chord.bass}


def test_a_slash_before_a_nine_is_no_bass():
    assert parse_chord("C6/9").bass == 0
    assert parse_chord("C6/9/E").bass == 4


@pytest.mark.parametrize("text", ["", "H", "g", "Gfoo", "G/", "G/H", "/E", "N.C."])
def test_what_is_no_chord_symbol_is_refused(text):
    with pytest.raises(BadInput) as caught:
        parse_chord(text)
    assert [fault.code for fault in caught.value.faults] == ["chord"]


@given(st.text(max_size=12))
def test_any_text_is_a_chord_symbol_or_refused(text):
    assert fault_codes(parse_chord, text) in ([], ["chord"])


@given(st.integers(-100, 100))
def test_a_pitch_class_has_the_name_of_its_keys(pitch_class):
    assert pitch_name(60 + pitch_class % 12)[:-1] == class_name(pitch_class)


# The circle of fifths as taught in any theory of music, common practice, no source.
def test_names_on_the_circle_of_fifths():
    flats_to_sharps = "Fb Cb Gb Db Ab Eb Bb F C G D A E B F# C# G# D# A# E# B# F##"
    assert " ".join(name_on_circle(fifths) for fifths in range(-8, 14)) == flats_to_sharps


# Signatures of the major keys, common practice, no source.
SHARPS = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "F": -1, "Bb": -2, "Eb": -3, "Ab": -4, "Db": -5, "Gb": -6}


@given(st.sampled_from(list(SHARPS)), st.integers(-40, 40))
def test_a_key_moved_has_the_signature_of_the_key_it_comes_to(tonic, semitones):
    moved = moved_signature(SHARPS[tonic], semitones)
    assert moved in SHARPS.values()
    assert parse_chord(name_on_circle(moved)).root == (parse_chord(tonic).root + semitones) % 12


@pytest.mark.parametrize(
    "sharps, semitones, moved", [(1, -1, 6), (-1, 1, -6), (0, 6, 6), (-7, 0, -7), (-7, 12, -7), (7, -24, 7), (-7, 1, 0)]
)
def test_signatures_at_the_far_side_of_the_circle(sharps, semitones, moved):
    assert moved_signature(sharps, semitones) == moved


# Symbol, semitones, signature it is written under, as musicians write it in the key it comes to: flats in flat keys,
# sharps in sharp keys (common practice, no source).
MOVED = [
    ("D7/F#", 2, 0, "E7/G#"), ("D7/F#", 12, 2, "D7/F#"), ("Bbm7", 2, -5, "Cm7"), ("C", 7, 0, "G"), ("G7", 0, 1, "G7"),
    ("F#dim", -1, 0, "Fdim"), ("C6/9", 2, 0, "D6/9"), ("C6/9/E", 2, 0, "D6/9/F#"), ("G/G", 2, 1, "A/A"), ("F##m", 1, 0, "G#m"),
    ("Bm/F#", -2, 2, "Am/E"), ("C/e", 1, 0, "Db/F"), ("C/e", 4, 0, "E/G#"), ("Am/g#", 3, 0, "Cm/B"), (" D m7", 2, -1, "E m7"),
    ("Eb", -3, -3, "C"), ("Eb", 1, -3, "E"), ("Eb", 2, -3, "F"), ("Ab", 5, -3, "Db"), ("Fm7", 5, -3, "Bbm7"), ("Bb7", 5, -3, "Eb7"),
    ("Ab", 3, -3, "Cb"), ("C#dim", 3, 2, "Edim"), ("D#m", 1, 4, "Em"), ("G", 1, 0, "Ab"), ("D", 1, 1, "Eb"), ("C", 1, 1, "Db"),
    ("C", 6, 0, "F#"), ("Bdim", 6, 0, "E#dim"), ("F", 6, -1, "B"), ("Bb", 1, -1, "Cb"), ("B♭", 2, -2, "C"), ("F♯m", 2, 3, "G#m"),
]  # fmt: skip


@pytest.mark.parametrize("symbol, semitones, sharps, moved", MOVED)
def test_a_symbol_moved_is_spelt_for_the_key_it_comes_to(symbol, semitones, sharps, moved):
    assert moved_symbol(symbol, semitones, sharps) == moved


SPELT = st.builds("".join, st.tuples(st.sampled_from("ABCDEFG"), st.sampled_from(["", "#", "b", "##", "bb", "♯", "♭"])))


@given(SPELT, st.sampled_from(["", "m", "7", "6/9", "m7b5"]), st.one_of(st.just(""), SPELT), st.integers(-30, 30), st.integers(-7, 7))
def test_a_symbol_moved_names_the_chord_moved(root, quality, bass, semitones, sharps):
    symbol = f"{root}{quality}/{bass}" if bass else root + quality
    moved = moved_symbol(symbol, semitones, sharps)
    assert parse_chord(moved) == parse_chord(symbol).transposed(semitones)
    if semitones % 12:
        assert "##" not in moved
        assert "bb" not in moved


@pytest.mark.parametrize("text", ["", "H", "g", "G/", "G/H", "N.C."])
def test_what_is_no_chord_symbol_is_not_moved(text):
    assert fault_codes(moved_symbol, text, 2) == ["chord"]


def test_what_signatures_alter():
    # Sharps come in the order F C G D A E B, flats the other way round (common practice, no source).
    assert signature(0) == {}
    assert signature(2) == {"F": 1, "C": 1}
    assert signature(-3) == {"B": -1, "E": -1, "A": -1}
    assert signature(8) == {"F": 2, "C": 1, "G": 1, "D": 1, "A": 1, "E": 1, "B": 1}


def test_the_neighbours_of_a_written_step():
    """C4 is the 28th step above C0; beside it stand B3 (59) and D4 (62), by hand."""
    assert neighbours(28, {}, {}) == (59, 62)
    assert neighbours(28, signature(-2), {}) == (58, 62)
    assert neighbours(28, signature(-2), {27: 0, 29: 1, 36: -1}) == (59, 63)
