"""Chord symbols of notations against the MusicXML 4.0 kind-value list (w3.org/2021/06/musicxml40, data type kind-value)."""

import pytest

from jackrail.pitch import parse_chord
from jackrail.tune.chord_names import KINDS, readable

# Semitones on C as the reference describes each kind: "triad: major third, perfect fifth" and so on.
PITCHES = {
    "major": {0, 4, 7}, "minor": {0, 3, 7}, "augmented": {0, 4, 8}, "diminished": {0, 3, 6}, "dominant": {0, 4, 7, 10},
    "major-seventh": {0, 4, 7, 11}, "minor-seventh": {0, 3, 7, 10}, "diminished-seventh": {0, 3, 6, 9}, "augmented-seventh": {0, 4, 8, 10},
    "half-diminished": {0, 3, 6, 10}, "major-minor": {0, 3, 7, 11}, "major-sixth": {0, 4, 7, 9}, "minor-sixth": {0, 3, 7, 9},
    "dominant-ninth": {0, 4, 7, 10, 2}, "major-ninth": {0, 4, 7, 11, 2}, "minor-ninth": {0, 3, 7, 10, 2},
    "suspended-second": {0, 2, 7}, "suspended-fourth": {0, 5, 7}, "power": {0, 7}, "pedal": {0},
}  # fmt: skip


def test_all_33_kinds_are_known():
    assert len(KINDS) == 33


@pytest.mark.parametrize("kind", [kind for kind, quality in KINDS.items() if quality is not None])
def test_every_kind_with_pitches_can_be_read(kind):
    assert readable(f"Bb{KINDS[kind]}") is not None


@pytest.mark.parametrize("kind", PITCHES)
def test_pitches_of_a_kind(kind):
    assert parse_chord(f"C{KINDS[kind]}").classes == PITCHES[kind]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("Am", "Am"),
        (" G ", "G"),
        ("AMin7", "Amin7"),
        ("C(maj7)", "C(maj7)"),
        ("A7(b9)", "A7b9"),
        ("D7 / F#", "D7/F#"),
        ("G(Em)", "G"),
        ("slow", None),
        ("1.", None),
    ],
)
def test_spellings(written, read):
    assert readable(written) == read


def test_a_long_text_is_no_chord_symbol():
    assert readable("G" + "(A" * 100_000) is None


@pytest.mark.parametrize("symbol", ["A(b9)", "C(#9)", "E(b5)", "G b5", "F (#11)"])
def test_a_tension_is_never_read_as_part_of_the_root(symbol):
    """A with a flattened ninth is no A flat ninth: what cannot be read is refused, and so warned of."""
    assert readable(symbol) is None


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("C7(b9,no5)", "C7b9no5"),
        ("C7 (b9, #11)", "C7b9#11"),
        ("Cmaj7(#11)", "Cmaj7#11"),
        ("C(add9)", "C(add9)"),
        ("CM7Add13", "CM7Add13"),
        ("CM7 (Add13)", "CM7Add13"),
        ("Gm7(add11)/D", "Gm7add11/D"),
        ("C(no3)", "C(no3)"),
        ("C7(Am)", "C7"),
    ],
)
def test_spellings_of_alterations(written, read):
    assert readable(written) == read


def test_a_capital_m_stays_a_major_seventh():
    """What is read in any case must not make M7 an m7."""
    assert parse_chord(readable("CM7ADD13") or "").classes == {0, 4, 7, 11, 9}
    assert parse_chord(readable("CMIN7") or "").classes == {0, 3, 7, 10}
