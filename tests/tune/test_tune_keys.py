"""Keys as stated, or not stated at all (ABC 2.1 section 3.1.14; MusicXML 4.0 <key>)."""

import pytest

from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.model import KeyMark
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import read_musicxml


def abc(key: str, music: str = "C4|]"):
    return read_abc(split_tunes(f"X:1\nM:4/4\nL:1/4\nQ:1/4=90\nK:{key}\n{music}\n")[0])


# Section 3.1.14: tonics of the table of signatures, none for "none", an empty field, the bagpipe keys and exp.
@pytest.mark.parametrize(
    "key, name",
    [
        ("C", "C major"),
        ("Ab", "Ab major"),
        ("Abm", "Ab minor"),
        ("G#m", "G# minor"),
        ("F#", "F# major"),
        ("Gb", "Gb major"),
        ("ADor", "A dorian"),
        ("EbPhr", "Eb phrygian"),
        ("B#Loc", "B# locrian"),
        ("FbLyd", "Fb lydian"),
        ("DMix", "D mixolydian"),
        ("Eaeo", "E aeolian"),
        ("D transpose=-2", "C major"),
        ("Bb transpose=1", "B major"),
        ("none", ""),
        ("", ""),
        ("HP", ""),
        ("Hp", ""),
        ("D exp ^f", ""),
        ("clef=bass", ""),
        ("none transpose=-2", ""),
    ],
)
def test_the_key_stated(key, name):
    tune = abc(key)
    assert (tune.key.name() if tune.key is not None else "") == name
    assert tune.keys[0].name() == name


@pytest.mark.parametrize("mode, name", [("major", "Bb major"), ("minor", "G minor"), ("Dorian", "C dorian"), ("none", ""), ("other", "")])
def test_modes_of_a_score(mode, name):
    key = f"<key><fifths>-2</fifths><mode>{mode}</mode></key>"
    note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
    inside = f"<measure number='1'><attributes><divisions>1</divisions>{key}</attributes>{note}</measure>"
    tune = read_musicxml(open_musicxml(f"<score-partwise><part id='P1'>{inside}</part></score-partwise>".encode())[0], "t")
    assert tune.keys[0].name() == name


def test_a_natural_in_a_key_is_no_setting():
    assert [note.midi for note in abc("D =c", "C F c f|]").notes] == [60, 66, 72, 78]
    assert [note.midi for note in abc("D Phr ^f =b", "B F e4|]").notes] == [71, 66, 75]


def test_the_signature_in_force_spells_the_chords():
    tune = abc("Eb", '"Eb"E4|[K:D]"D"D4|]')
    assert [tune.sharps_at(chord.onset_q) for chord in tune.chords] == [-3, 2]


@pytest.mark.parametrize("mode, minor", [("major", False), ("lydian", False), ("mixolydian", False), ("dorian", True), ("locrian", True)])
def test_modes_with_a_minor_third(mode, minor):
    assert KeyMark(0, 0, mode).minor == minor
