"""Properties of pitches and chord symbols."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.pitch import cents_between, class_name, frequency_hz, midi_of_frequency, parse_chord, parse_pitch, pitch_name
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


@given(KEYS, st.floats(400, 480))
def test_a_frequency_turned_back_to_its_key_is_itself(midi, a4_hz):
    assert midi_of_frequency(frequency_hz(midi, a4_hz), a4_hz) == pytest.approx(midi, abs=1e-9)


@given(st.integers(0, 115))
def test_an_octave_doubles_the_frequency_and_has_1200_cents(midi):
    assert frequency_hz(midi + 12) == pytest.approx(2 * frequency_hz(midi), rel=1e-12)
    assert cents_between(frequency_hz(midi), frequency_hz(midi + 12)) == pytest.approx(1200, abs=1e-9)


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
