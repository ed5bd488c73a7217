"""Grace notes and ornament signs of ABC, kept apart from the melody (ABC 2.1 sections 4.12, 4.14 and 4.20)."""

import pytest
from abc_reading import heads, ornaments, read, told

SAID = "ornaments are kept apart, and played only when asked for (--ornaments): bar 1"


@pytest.mark.parametrize(
    ("music", "wanted"),
    [
        # Section 4.20: grace notes stand before the note they belong to. g is MIDI 79.
        ("{g}A4|]", [(0, 69, "grace", (79,))]),
        ("{/g}A4|]", [(0, 69, "grace", (79,))]),
        ("A2 {gab}A2|]", [(2, 69, "grace", (79, 81, 83))]),
        ("{a3/2b/}A4|]", [(0, 69, "grace", (81, 83))]),  # section 4.12: lengths are legal and may be ignored
        ("{g}[CE]4|]", [(0, 64, "grace", (79,))]),  # the highest note of a chord carries the melody (ours)
        ("{G}{g}A4|]", [(0, 69, "grace", (67,)), (0, 69, "grace", (79,))]),
        # No note after them in the bar, but one before: they end that note (ours; the section knows no after-grace notes).
        ("A4{ga}|B4|]", [(0, 69, "after-grace", (79, 81))]),
        ("A2{g}z2|]", [(0, 69, "after-grace", (79,))]),
        ("A2 [CE]2{g}|]", [(2, 64, "after-grace", (79,))]),
        ("{g}|A4|]", [(0, 69, "grace", (79,))]),
        ("A2z2{g}|A4|]", [(4, 69, "grace", (79,))]),
    ],
)
def test_grace_notes_belong_to_a_note(music, wanted):
    assert ornaments(read(music)) == wanted


def test_grace_notes_have_the_accidentals_of_their_bar_and_give_theirs():
    # Section 4.2 makes no difference between grace notes and others. That it holds on is said: on paper it is easily overlooked.
    assert ornaments(read("^G2{G}A2|]")) == [(2, 69, "grace", (68,))]
    assert ornaments(read("{f}A4|]", "D")) == [(0, 69, "grace", (78,))]
    tune = read("{^g}A2 g2|g4|]")
    assert [midi for _, _, midi in heads(tune)] == [69, 80, 79]
    assert "the accidental of a grace note holds for notes after it in its bar: bar 1" in told(tune)


def test_grace_notes_are_transparent_to_broken_rhythm_and_tuplets():
    # Section 4.12: A<{g}A and A{g}<A are equivalent to A/2{g}A3/2.
    plain = heads(read("A/2 A3/2 B2|]"))
    for music in ("A<{g}A B2|]", "A{g}<A B2|]", "A/2{g}A3/2 B2|]"):
        tune = read(music)
        assert heads(tune) == plain
        assert ornaments(tune) == [(0.5, 69, "grace", (79,))]
    assert heads(read("(3{g}A{g}B{g}c d2|]")) == heads(read("(3ABc d2|]"))


@pytest.mark.parametrize(
    ("sign", "kind"),
    [
        ("T", "trill"),
        ("!trill!", "trill"),
        ("!trill(!", "trill"),
        ("~", "roll"),
        ("!roll!", "roll"),
        ("M", "lower-mordent"),
        ("!mordent!", "lower-mordent"),
        ("!lowermordent!", "lower-mordent"),
        ("P", "upper-mordent"),
        ("!uppermordent!", "upper-mordent"),
        ("!pralltriller!", "upper-mordent"),
        ("!turn!", "turn"),
        ("!turnx!", "turn"),
        ("!invertedturn!", "inverted-turn"),
        ("!invertedturnx!", "inverted-turn"),
        ("!slide!", "slide"),
    ],
)
def test_signs(sign, kind):
    # Section 4.14, the table of decorations, !mordent! and !pralltriller! being other names. In G the neighbours of E are D and F sharp.
    tune = read(f"{sign}E4|]", "G")
    assert ornaments(tune) == [(0, 64, kind, (62, 66))]
    assert told(tune) == [SAID]
    assert tune.warnings == ()


def test_neighbours_follow_key_and_bar():
    assert ornaments(read("^F2 TG2|]")) == [(2, 67, "trill", (66, 69))]
    assert ornaments(read("^F2|TG2|]"))[0][3] == (65, 69)
    assert ornaments(read("Tc4|]"))[0][3] == (71, 74)  # over the octave: B and d
    assert ornaments(read("TB4|]", "C octave=1"))[0] == (0, 83, "trill", (81, 84))
    assert ornaments(read("T^F4|]"))[0] == (0, 66, "trill", (64, 67))
    assert ornaments(read("^F TG3|]", header="I:propagate-accidentals not\n"))[0][3] == (65, 69)


def test_signs_inside_a_chord_belong_to_their_note():
    # Section 4.17: decorations may be attached to single notes of a chord or to all of it.
    assert ornaments(read("[!trill!CE]4|]")) == [(0, 60, "trill", (59, 62))]
    assert ornaments(read("[C!trill!E]4|]")) == [(0, 64, "trill", (62, 65))]
    assert ornaments(read("!trill![CE]4|]")) == [(0, 64, "trill", (62, 65))]


def test_ornaments_are_played_out_and_a_long_trill_is_one():
    assert ornaments(read("|:!trill(!C2!trill)!D2:|")) == [(0, 60, "trill", (59, 62)), (4, 60, "trill", (59, 62))]


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("Tz4|A4|]", "ornaments at no note are left out: bar 1"),
        ("A4|z4{g}|]", "ornaments at no note are left out: bar 2"),
        ("{g?}A4|]", "the character '?' among grace notes cannot be read and is left out: line 7 column 1"),
        (f"{{{'g' * 33}}}A4|]", "of more than 32 grace notes in a row the first are kept: line 7 column 1"),
        ("TTTTTTTTTA4|]", "of more than 8 ornaments at one note the first are kept: bar 1"),
        ("TC,,,,,4|]", "an ornament at the end of the MIDI range is left out: bar 1"),
    ],
)
def test_ornaments_without_a_place_are_told(music, words):
    assert words in told(read(music))
