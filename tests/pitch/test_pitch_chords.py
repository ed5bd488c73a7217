"""Chord symbols with alterations. Their tones are those of any handbook of jazz harmony: common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.pitch import fifths_of, moved_symbol, parse_chord, spelt
from workshop import fault_codes

# Symbol on C -> pitch classes. C E G Bb is 0 4 7 10; b9 1, 9 2, #9 3, 11 5, #11 6, b13 8, 13 9, maj7 11.
ALTERED = [
    ("C7b9", {0, 4, 7, 10, 1}), ("C7#9", {0, 4, 7, 10, 3}), ("C7(b9)", {0, 4, 7, 10, 1}), ("C7(b9,no5)", {0, 4, 10, 1}),
    ("C7(b9, #11)", {0, 4, 7, 10, 1, 6}), ("C7b9#9", {0, 4, 7, 10, 1, 3}), ("C7b5b9", {0, 4, 6, 10, 1}), ("C7#5#9", {0, 4, 8, 10, 3}),
    ("C7b5#5", {0, 4, 6, 8, 10}), ("C9b5", {0, 4, 6, 10, 2}), ("C9#11", {0, 4, 7, 10, 2, 6}), ("C13b9", {0, 4, 7, 10, 1, 5, 9}),
    ("C13#11", {0, 4, 7, 10, 2, 6, 9}), ("C7b13", {0, 4, 7, 10, 8}), ("C9b13", {0, 4, 7, 10, 2, 8}), ("Cmaj7#11", {0, 4, 7, 11, 6}),
    ("Cmaj7#5", {0, 4, 8, 11}), ("Cmaj7b5", {0, 4, 6, 11}), ("Cm7add11", {0, 3, 7, 10, 5}), ("Cm7b5add11", {0, 3, 6, 10, 5}),
    ("Cmin7b5", {0, 3, 6, 10}), ("Cm(add9)", {0, 3, 7, 2}), ("Cmadd9", {0, 3, 7, 2}), ("C(omit3)", {0, 7}), ("Cno3", {0, 7}),
    ("Cno5", {0, 4}), ("C9no3", {0, 7, 10, 2}), ("Cdim7no5", {0, 3, 9}), ("Cadd2", {0, 4, 7, 2}), ("Cadd4", {0, 4, 7, 5}),
    ("Cadd#11", {0, 4, 7, 6}), ("Caddb9", {0, 4, 7, 1}), ("Caddmaj7", {0, 4, 7, 11}), ("Cadd7", {0, 4, 7, 10}),
    ("C9sus4", {0, 5, 7, 10, 2}), ("C13sus4", {0, 5, 7, 10, 2, 9}), ("Cmaj7sus4", {0, 5, 7, 11}), ("C7sus2", {0, 2, 7, 10}),
    ("C7sus4b9", {0, 5, 7, 10, 1}), ("C9sus", {0, 5, 7, 10, 2}), ("C7+5", {0, 4, 8, 10}), ("C7-9", {0, 4, 7, 10, 1}),
    ("C6add9", {0, 4, 7, 9, 2}), ("Cm6/9", {0, 3, 7, 9, 2}), ("Cm69", {0, 3, 7, 9, 2}), ("Cmb5", {0, 3, 6}), ("Cmb6", {0, 3, 7, 8}),
    ("CmM9", {0, 3, 7, 11, 2}), ("CM13", {0, 4, 7, 11, 2, 5, 9}), ("Cno5addb5", {0, 4, 6}),
]  # fmt: skip
PLAIN = [
    "",
    "m",
    "7",
    "maj7",
    "m7",
    "dim",
    "dim7",
    "aug",
    "6",
    "m6",
    "9",
    "sus4",
    "sus2",
    "7sus4",
    "m7b5",
    "5",
    "ped",
    "m(maj7)",
    "add9",
    "6/9",
]
ALTERATIONS = st.sampled_from(["add9", "add11", "addmaj7", "no5", "(no3)", "sus4", "(add13)", "b9", "#11", "(b13)"])


@pytest.mark.parametrize("symbol, classes", ALTERED)
def test_tones_of_altered_chords(symbol, classes):
    assert parse_chord(symbol).classes == classes
    assert parse_chord(symbol + "/E").classes == classes | {4}


# The same chord in the spellings of lead sheets (common practice, no source).
SPELT = [
    ("C", "MAJ Maj ma Ma MA M major"), ("Cmaj7", "maj7 Maj7 MAJ7 ma7 Ma7 MA7 M7 j7 Δ Δ7"), ("Caug", "aug + +5"),
    ("CmM7", "mM7 mmaj7 m(maj7) minmaj7 m/maj7 m/M7 m/ma7 min/maj7 -/maj7 mma7 mΔ mΔ7 -Δ -Δ7 -maj7"),
]  # fmt: skip


@pytest.mark.parametrize("meant, quality", [(meant, quality) for meant, qualities in SPELT for quality in qualities.split()])
def test_one_chord_in_many_spellings(meant, quality):
    assert parse_chord("C" + quality) == parse_chord(meant)
    assert parse_chord(f"Bb{quality}/D") == parse_chord(meant.replace("C", "Bb", 1) + "/D")


@pytest.mark.parametrize("symbol", ["C2", "C4", "C0", "C-5", "A1", "B2"])
def test_what_means_different_chords_to_different_writers_is_refused(symbol):
    with pytest.raises(BadInput, match="unknown quality"):
        parse_chord(symbol)


@pytest.mark.parametrize(
    "symbol", ["C(b9)", "Cno3no3", "C5no3", "Csus4sus4", "Caddb7", "C7add", "C7b", "C7b10", "C7(b9", "C6+9", "C-5", "C7no8", "Cb9b9b9x"]
)
def test_alterations_that_make_no_sense_are_refused(symbol):
    with pytest.raises(BadInput, match="unknown quality"):
        parse_chord(symbol)


def test_an_accidental_after_the_root_belongs_to_the_root():
    assert parse_chord("Cb9").root == 11
    assert parse_chord("C#11").root == 1
    assert parse_chord("Ab5").classes == {8, 3}


def test_the_tones_of_a_plain_quality_stand_as_before():
    """Alterations are looked for only where the whole is no known quality: "7#5" and "m7b5" keep their place in the table."""
    assert parse_chord("C7#5").intervals == (0, 4, 8, 10)
    assert parse_chord("Cm7b5").intervals == (0, 3, 6, 10)
    assert parse_chord("C7b9").intervals == (0, 4, 7, 10, 1)


@given(st.sampled_from(PLAIN), st.lists(ALTERATIONS, max_size=3), st.integers(-30, 30), st.integers(-7, 7))
def test_an_altered_symbol_moved_names_the_chord_moved(quality, alterations, semitones, sharps):
    symbol = f"Bb{quality}{''.join(alterations)}/D"
    if not fault_codes(parse_chord, symbol):
        assert parse_chord(moved_symbol(symbol, semitones, sharps)) == parse_chord(symbol).transposed(semitones)


@given(st.sampled_from(PLAIN[1:]), st.lists(ALTERATIONS, min_size=1, max_size=3))
def test_brackets_change_nothing(quality, alterations):
    bare = "".join(one.strip("()") for one in alterations)
    closed = f"({','.join(one.strip('()') for one in alterations)})"
    assert fault_codes(parse_chord, f"G{quality}{bare}") == fault_codes(parse_chord, f"G{quality}{closed}")
    if not fault_codes(parse_chord, f"G{quality}{bare}"):
        assert parse_chord(f"G{quality}{bare}").classes == parse_chord(f"G{quality}{closed}").classes


def test_a_very_long_symbol_is_refused_at_once():
    assert fault_codes(parse_chord, "C7" + "b9" * 100_000) == ["chord"]


def test_fifths_and_spelling():
    # The circle of fifths: F C G D A E B from -1 to 5, sharps above, flats below (common practice, no source).
    assert [fifths_of(name) for name in ("F", "C", "B", "F#", "Bb", "Cb")] == [-1, 0, 5, 6, -2, -7]
    assert (spelt(-7, -6), spelt(-7, 0), spelt(11, 7), spelt(-4, 0)) == ("Cb", "B", "E#", "Ab")
