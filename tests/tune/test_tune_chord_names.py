"""Chord symbols of notations against the MusicXML 4.0 kind-value list (w3.org/2021/06/musicxml40, data type kind-value)."""

import pytest
from kind_pitches import KIND_PITCHES

from jackrail.pitch import parse_chord
from jackrail.tune.chord_names import KINDS, chord_or_silence, nearest, readable
from jackrail.tune.model import NO_CHORD

# kind-value names no fixed pitches for these: functional sixths, the Tristan chord, other, none.
WITHOUT_PITCHES = {"Neapolitan", "Italian", "French", "German", "Tristan", "other", "none"}


def test_all_33_kinds_are_known_and_those_with_pitches_asked_about():
    assert set(KINDS) == set(KIND_PITCHES) | WITHOUT_PITCHES
    assert len(KINDS) == 33
    assert {kind for kind, quality in KINDS.items() if quality is None} == WITHOUT_PITCHES


@pytest.mark.parametrize("kind", KIND_PITCHES)
def test_every_kind_with_pitches_can_be_read(kind):
    assert readable(f"Bb{KINDS[kind]}") is not None


@pytest.mark.parametrize("kind", KIND_PITCHES)
def test_pitches_of_a_kind(kind):
    assert parse_chord(f"C{KINDS[kind]}").classes == KIND_PITCHES[kind]


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


@pytest.mark.parametrize("text", ["N.C.", "NC", "n.c", "N. C.", " No chord ", "tacet"])
def test_words_for_silence(text):
    """Common practice of lead sheets, no source."""
    assert chord_or_silence(text) == NO_CHORD


@pytest.mark.parametrize(("text", "symbol"), [("AMin7", "Amin7"), ("D7 / F#", "D7/F#"), ("slow", None), ("", None), ("N", None)])
def test_other_texts_are_chords_or_nothing(text, symbol):
    assert chord_or_silence(text) == symbol


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


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("C^7", {0, 4, 7, 11}),
        ("C△7", {0, 4, 7, 11}),
        ("CΔ9", {0, 4, 7, 11, 2}),
        ("C∆", {0, 4, 7, 11}),
        ("C-^7", {0, 3, 7, 11}),
        ("C-Δ", {0, 3, 7, 11}),
    ],
)
def test_signs_for_a_major_seventh(written, read):
    """Triangle and caret for a major seventh are common practice of lead sheets, no source."""
    assert parse_chord(readable(written) or "").classes == read


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("D7alt", "D7"), ("D7alt/F#", "D7/F#"), ("C7 alt", "C7"), ("C13(#11,b9,foo)", "C13#11b9"), ("Calt", "C"), ("Cmaj7alt", "Cmaj7"),
        ("Cdim9", "Cdim"), ("C7/9", "C7"), ("D7(alt.)", "D7"), ("Bb7alt", "Bb7"), ("A7 (slowly)", "A7"), ("Am9alt", "Am9"),
    ],
)  # fmt: skip
def test_the_longest_beginning_that_is_a_chord(written, read):
    """By hand. A shorter beginning must not mean another chord: "Cmaj" is no "Cm", C13 no "C1"."""
    assert readable(written) is None
    assert nearest(written) == read


WORDS = (
    "Coda Dance Gently Add Fine Bass Base Boom Dom Eno Dim Bob Fade Faster Ending Chorus Bridge Allegro Andante Adagio Aug Dec Emo Do Go "
    "Badminton Composed Admin Adagio2 Break Drums Gitarre Capo Dal Ensemble Fast First Flute Each Double Gradually Bold A B C1 A1 A2 B3"
)


PHRASES = [
    "A part", "B part", "Part 7", "D.C. al Fine", "Allegro 7", "Faster 5", "Aug 7", "B 2", "Add 9", "Bar 5", "Dec 11", "A (verse 5)",
    "Capo 5", "Emo7", "x7", "7", "", "A9th", "D7 and so on", "G7" * 30,
]  # fmt: skip


@pytest.mark.parametrize("text", [*WORDS.split(), *PHRASES])
def test_words_are_never_taken_for_a_strange_chord(text):
    assert nearest(text) is None or readable(text) is not None
