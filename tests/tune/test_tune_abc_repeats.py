"""Repeats, endings and parts of ABC as they are written in tune books (ABC 2.1 sections 3.1.9 and 4.8 to 4.10).

What the playing order makes of written bars is tested in test_tune_playing_out.py; here it is whether the signs are read.
"""

import pytest
from abc_reading import letters, read, told


@pytest.mark.parametrize(
    ("music", "wanted"),
    [
        # Section 4.8: the table of bar lines, the note on |:: and ::|, the recommendation on what a lone :| goes back to, and that bar
        # lines may have any shape.
        ("|:C|D:|", "CDCD"),
        ("C|D:|E|F:|", "CDCDEFEF"),
        ("C|D|]E|F:|", "CDEFEF"),
        ("C|D||E|F:|", "CDEFEF"),
        ("|:C::D:|", "CCDD"),
        ("|:C:|:D:|", "CCDD"),
        ("|:C:||:D:|", "CCDD"),
        ("|:C|::|D:|", "CCDD"),
        ("|::C::|D|", "CCCD"),
        ("|:C::|D|", "CCCD"),
        ("[|:C:|]", "CC"),
        ("||:C:||", "CC"),
        ("[|C|[|D|]", "CD"),
        ("C.|D|", "CD"),
        ("C[|]D|]", "CD"),
        ("|:C[|]D:|", "CDCD"),
        # Section 4.9: [1 and [2, |1 and :|2, with |: or without.
        ("|:C[1D:|[2E|]", "CDCE"),
        ("|:C|[1D:|[2E|]", "CDCE"),
        ("|:C|1D:|2E|]", "CDCE"),
        ("|: C | [1 D :| [2 E |]", "CDCE"),
        ("C|1D:|2E|]F|", "CDCEF"),
        ("C|1D:|2E||F|", "CDCEF"),
        ("C|1D:|2E[|F|", "CDCEF"),
        ("C|1D:|2E|:F:|", "CDCEFF"),
        ("C|[1D|E:|[2F|G|]A|", "CDECFGA"),
        # Section 4.10: lists and ranges of endings.
        ("|:C|1,3D:|2E|]", "CDCECD"),
        ("|:C|[1,2D:|[3E|]", "CDCDCE"),
        ("|:C|[1-2D:|[3E|]", "CDCDCE"),
        ("|:C|[1.-2.D:|[3.E|]", "CDCDCE"),
        ("|:C|1D:|2E:|3F|]", "CDCECF"),
        ("|:C|1-3D:|4E|]", "CDCDCDCE"),
        ("|:C| 1D:| 2E|]", "CDCE"),
        ("C| 12D| 3E|]", "CDE"),
        ('|:C|["1st"D:|["2nd time"E|]', "CDCE"),
    ],
)
def test_bar_lines_and_endings(music, wanted):
    assert letters(music) == wanted


def test_liberal_bar_lines_are_quiet_where_they_are_clear():
    assert read("|:C|::|D:|", unit="1/1").warnings == ()
    assert read("|: C | [1 D :| [2 E |]", unit="1/1").warnings == ()


@pytest.mark.parametrize(
    ("order", "music", "wanted"),
    [
        # Section 3.1.9: counts, brackets inside brackets, dots.
        ("ABA", "P:A\nC|\nP:B\nD|]", "CDC"),
        ("A3", "P:A\nC|]", "CCC"),
        ("(AB)3", "P:A\nC|\nP:B\nD|]", "CDCDCD"),
        ("((AB)3.(CD)3)2", "P:A\nC|\nP:B\nD|\nP:C\nE|\nP:D\nF|]", "CDCDCDEFEFEFCDCDCDEFEFEF"),
        ("AB", "[P:A]C|[P:B]D|]", "CD"),
        ("A2B", "C|\nP:A\nD|\nP:B\nE|]", "CDDE"),
        # Section 4.10: "To play a different ending each time".
        ("A4.B", "P:A\nC|[1D:|[2E:|[3F:|[4G|]\nP:B\nA|]", "CDCECFCGA"),
        ("A3", "P:A\nC|[1,3D:|[2E|]", "CDCECD"),
        # One that is named once in a row keeps its own repeats, as in the many tune books that print a da capo.
        ("ABA", "P:A\nC|1D:|2E|]\nP:B\n|:F:|", "CDCEFFCDCE"),
        ("A2BA2", "P:A\nC|1D:|2E|]\nP:B\n|:F:|", "CDCEFFCDCE"),
        ("A2BA", "P:A\nC|1D:|2E|]\nP:B\nF|]", "CDCECDCEFCDCE"),
        ("AB", "P:A\n|:C|1D:|2E|]\nP:B\n|:F:|", "CDCEFF"),
    ],
)
def test_parts(order, music, wanted):
    assert letters(music, header=f"P:{order}\n") == wanted


@pytest.mark.parametrize(
    ("order", "music", "words"),
    [
        ("AB", "C|]", "the order of parts AB names parts that the music does not mark: played as written"),
        ("AB", "P:A\nC|]", "part B of the order AB is nowhere in the music: left out"),
        ("A", "P:A\nC|\nP:B\nD|]", "part B is not in the order A: it is not played"),
        ("AB", "P:A\nC|\nP:AB\nD|\nP:B\nE|]", "part AB is not in the order AB: it is not played"),
        ("AB", "P:A\nC|\nP:\nD|\nP:B\nE|]", "part (without a name) is not in the order AB: it is not played"),
        ("AA", "P:A\nC|\nP:A\nD|]", "part A is marked more than once: the last is played where the order of parts names it"),
        ("AA", "P:A\n|:C:|", "part A has a repeat sign and stands 2 times in the order of parts: it is repeated each time"),
        ("AA", "P:A\nC|1D:|2E|]", "part A is named 2 times in a row: each time with its own ending (ABC 2.1 section 4.10)"),
    ],
)
def test_an_order_of_parts_that_leaves_room_is_told(order, music, words):
    assert words in read(music, header=f"P:{order}\n").warnings


def test_key_and_tempo_hold_in_parts_played_in_another_order():
    # Section 3.2: K: and Q: in the body hold from where they stand, on paper; A keeps G and 90 though B comes first.
    tune = read("P:A\nG4|\nP:B\n[K:D][Q:1/4=60]D4|]", "G", header="P:BA\n")
    assert [(mark.onset_q, mark.sharps) for mark in tune.keys] == [(0, 2), (4, 1)]
    assert [(mark.onset_q, mark.quarters_per_minute) for mark in tune.tempo] == [(0, 60), (4, 90)]
    tune = read("C4|\nP:A\nG4|]", "G", header="P:A\n")
    assert "no tempo is written: 120 quarter notes a minute are taken" not in tune.warnings


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("|:C|D|]", "the repeat that begins in bar 1 never ends"),
        ("|:C|:D:|", "the repeat that begins in bar 1 never ends"),
        ("|:C|1D:|2E:|", "the last ending, up to bar 3, closes with a repeat sign"),
        (":|C|D|]", "a repeat sign closes before the first note: ignored"),
        ("|::C:|D|]", "a repeat begins with more dots than it ends and is played 3 times: bar 1"),
        ("C|1D|2E|]", "endings from bar 2 on have no repeat sign"),
        ('|:C|["last"D:|E|]', 'a bracket with a text has no number and is played as plain music: ["last" on line 7'),
        ('|:C|["1st"D:|["2nd"E|]', 'its number names: ["1st" on line 7, ["2nd" on line 7'),
        ("|:C| 1 D:| 2 E|]", "a number after a bar line and a blank is read as an ending: line 7 column 4, line 7 column 9"),
        ("C| 62D|]", "the character '6' cannot be read and is left out"),
        ("|:C|1D:|1E|]", "two endings are for pass 1, check their numbers: bar 3"),
        ("|:C|1D|1E:|", "two endings are for pass 1, check their numbers: bar 3"),
        ("|:C|[1,2D:|[2,3E|]", "two endings are for pass 2, check their numbers: bar 3"),
        ("[V:1]|:C:|D|]\n[V:2]E|F|]", "repeats of voice 2 differ from those of voice 1, which are followed"),
        ("[V:1]C|D|]\n[V:2]E|!D.C.!F|]", "repeats of voice 2 differ from those of voice 1, which are followed"),
    ],
)
def test_repeats_that_leave_room_are_told(music, words):
    assert any(words in warning for warning in told(read(music, unit="1/1")))
