"""Clefs, octave= and transpose=, keys with accidentals of their own, how far accidentals hold: no note silently at a wrong pitch.

Answers worked out by hand from ABC 2.1, sections as named. C sounds 60, one octave is 12.
"""

import pytest
from abc_reading import keys, ornaments, read, told

from jackrail.tune.abc.fields import read_key

IN_BOTH = "{} stands in K: and in V:, the one in V:1 is followed (ABC 2.1 section 4.6 leaves it open)"


@pytest.mark.parametrize(
    ("key", "header", "music", "wanted"),
    [
        # Section 4.6: a later field changes what it names and nothing else.
        ("C", "V:1 octave=-1\n", "C4|[K:G clef=treble]C4|]", [48, 48]),
        ("C", "V:1 octave=-1\n", "C4|\nK:G treble\nC4|]", [48, 48]),
        ("C", "V:1 octave=-1\n", "V:1\nC4|\nV:1 clef=treble\nC4|]", [48, 48]),
        ("C", "V:1 transpose=-2\n", "C4|[K:D clef=treble]C4|]", [58, 59]),
        ("C", "V:1 transpose=-2\nV:1 clef=treble\n", "C4|]", [58]),
        ("C", "V:1 octave=-1\n", "C4|[K:octave=1]C4|]", [48, 72]),
        # A voice has one clef, and what V: says of it goes before K:.
        ("C clef=treble-8", "V:1 clef=treble-8\n", "C4|]", [48]),
        ("C clef=treble-8", "V:1\nV:2 clef=bass\n", "V:2\nC4|]", [60]),
        ("C clef=treble-8", "V:1\nV:2 bass\n", "V:2\nC4|]", [60]),
        ("C clef=treble-8", "V:1\nV:2 name=B\n", "V:2\nC4|]", [48]),
        ("C", "V:1 clef=treble-8\n", "C4|[K:C clef=treble]C4|[K:C clef=treble+8]C4|]", [48, 60, 72]),
        ("C clef=treble-8 octave=1", "", "C4|]", [60]),
        # The clef stands in K: without a tonic, too, and behind keys that have none (section 3.1.14).
        ("C", "", "C4|[K:clef=treble-8]C4|]", [60, 48]),
        ("G", "", "F4|[K:none clef=treble]F4|[K:HP clef=treble]F4|[K:none clef=treble-8]F4|]", [66, 65, 66, 53]),
    ],
)
def test_each_field_moves_what_it_names(key, header, music, wanted):
    tune = read(music, key, header=header)
    assert [note.midi for note in tune.notes] == wanted
    assert not [words for words in told(tune) if "leaves it open" in words and "octave=1" not in music]


@pytest.mark.parametrize(("word", "wanted"), [("octave", [48]), ("transpose", [59])])
def test_what_stands_in_both_fields_is_told(word, wanted):
    # The standard does not say whether they add up: here the voice's own holds.
    tune = read("C4|]", f"C {word}=-2", header=f"V:1 {word}=-1\n")
    assert [note.midi for note in tune.notes] == wanted
    assert IN_BOTH.format(f"{word}=") in tune.warnings
    assert "leaves it open" not in " ".join(read("C4|]", f"C {word}=-2", header="V:1\n").warnings)


def test_a_transposition_in_the_music_is_a_new_key():
    # Section 4.6: D major, a tone lower from bar 2 on, sounds in C; so does a voice that is moved by V:.
    for music in ("D4|[K:transpose=-2]D4|]", "V:1\nD4|\nV:1 transpose=-2\nD4|]"):
        assert [(mark.onset_q, mark.sharps, mark.mode) for mark in read(music, "D").keys] == [(0, 2, "major"), (4, 0, "major")]


@pytest.mark.parametrize(
    ("text", "sharps", "mode"),
    [
        # Section 3.1.14: D major with C natural has the signature of D mixolydian, and so on round the circle.
        ("D =c", 1, "mixolydian"),
        ("G ^c", 2, "lydian"),
        ("A minor ^f", 1, "dorian"),
        ("C _b _e", -2, "dorian"),
        ("D mix _B", 1, "explicit"),
        ("D Phr ^f", -2, "explicit"),
        ("D mix =c", 1, "mixolydian"),
        ("D =c ^c", 2, "major"),
        ("none ^f", 1, "explicit"),
        ("^f ^c", 2, "explicit"),
        ("D exp ^f", 1, "explicit"),
        ("G exp", 0, "explicit"),
        ("A ionian", 3, "ionian"),
    ],
)
def test_a_key_with_accidentals_has_the_name_of_its_signature(text, sharps, mode):
    key = read_key(text)[0]
    assert (key.sharps, key.mode) == (sharps, mode)


def test_after_exp_there_is_only_what_is_listed():
    # Section 3.1.14: "explicit" key signatures have no accidentals but those written behind.
    assert keys("F", "G exp") == keys("F", "Gexp") == [65]
    assert keys("F", "G exp ^f") == [66]


@pytest.mark.parametrize(
    ("propagate", "wanted"),
    [
        # Section 11.3, propagate-accidentals: octave holds for the note's own octave, pitch (the default) for the letter, not for the note.
        ("octave", [66, 77, 66, 66]),
        ("pitch", [66, 77, 65, 65]),
        ("not", [66, 77, 65, 65]),
    ],
)
def test_accidentals_of_two_octaves(propagate, wanted):
    assert keys("^F =f F F|]", header=f"I:propagate-accidentals {propagate}\n") == wanted


@pytest.mark.parametrize(
    ("music", "wanted"),
    [
        # Section 11.3: up to the end of the bar. A bracket and a P: inside a bar are no bar lines.
        ("|:CDEF|^GA[1GA:|[2GA|gfed|]", [60, 62, 64, 65, 68, 69, 68, 69, 60, 62, 64, 65, 68, 69, 67, 69, 79, 77, 76, 74]),
        ("|:^GA|1GA:|2GA|]", [68, 69, 67, 69, 68, 69, 67, 69]),
        ("^GA[P:B]GA|G4|]", [68, 69, 68, 69, 67]),
        # Section 4.11: a tie leads to the note that is played next, and from the first ending that is no note of the second.
        ("|:CDEF|1EEE^C-:|2CCCC|]", [60, 62, 64, 65, 64, 64, 64, 61, 60, 62, 64, 65, 60, 60, 60, 60]),
        ("|:CDE^C-|1CEEE:|2CCCC|]", [60, 62, 64, 61, 64, 64, 64, 60, 62, 64, 61, 60, 60, 60, 60]),
    ],
)
def test_accidentals_at_endings_and_parts(music, wanted):
    assert keys(music) == wanted


def test_grace_notes_that_sound_together():
    # Section 4.12 has single notes; of a chord the highest is kept, as in MusicXML (ours).
    tune = read("{[ce]}d2 {g[ac']f}e2|]")
    assert ornaments(tune) == [(0, 74, "grace", (76,)), (2, 76, "grace", (79, 84, 77))]
    assert "of grace notes that sound together only the highest is kept: line 7 column 1, line 7 column 10" in tune.warnings


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("%%MIDI rtranspose -2", "%%MIDI transpose is not followed: the tune sounds as written"),
        ("%%transpose 3", "%%transpose is not followed: the tune sounds as written"),
        ("I:transpose 3", "%%transpose is not followed: the tune sounds as written"),
        ("%%MIDI channel 10", "%%MIDI channel 10 (drums) is not followed: the voice is read as notes; --voice reads one voice alone"),
    ],
)
def test_directives_that_change_what_sounds_are_named(line, words):
    assert words in read(f"{line}\nC4|]").warnings
    assert read("%%MIDI channel 1\nC4|]").warnings == ()
