"""MusicXML 4.0 by element: each case with the answer the reference at w3.org/2021/06/musicxml40 gives."""

import pytest
from musicxml_reading import DIVISIONS, ending, heads, keys, note, read, score

from jackrail.faults import BadInput


def test_chords_voices_and_staves():
    chord = note("C") + note("E", before="<chord/>")
    second = "<backup><duration>4</duration></backup>" + note("G", 2, "<voice>2</voice>") + "<forward><duration>2</duration></forward>"
    lower = "<backup><duration>4</duration></backup>" + note("C", 4, "<staff>2</staff>", octave=3)
    data = score(DIVISIONS + chord + second + lower)
    assert heads(data) == [(0, 2, 72), (0, 2, 76), (0, 1, 79)]
    assert "only the upper staff of the part is read" in read(data).warnings


def test_ties_by_sound_and_by_drawing():
    for tie in ("<tie type='start'/>", "<notations><tied type='start'/></notations>"):
        assert heads(score(DIVISIONS + note("C", inside=tie), note("C"), note("C"))) == [(0, 4, 72), (4, 2, 72)]


def test_alterations():
    def altered(alter: str) -> str:
        return f"<note><pitch><step>F</step><alter>{alter}</alter><octave>4</octave></pitch><duration>4</duration></note>"

    assert keys(DIVISIONS + altered("1"), altered("-2"), altered("0.5")) == [66, 63, 65]
    assert any("quarter tones" in warning for warning in read(score(DIVISIONS + altered("0.5"))).warnings)


def test_transposing_part_sounds_with_its_key_and_chords():
    # A clarinet in B flat: written D major sounds C major (MusicXML <transpose>: from written to sounding).
    attributes = (
        "<attributes><divisions>2</divisions><key><fifths>2</fifths></key><transpose><chromatic>-2</chromatic></transpose></attributes>"
    )
    harmony = "<harmony><root><root-step>A</root-step></root><kind>dominant</kind></harmony>"
    tune = read(score(attributes + harmony + note("D", 8)))
    assert [n.midi for n in tune.notes] == [72]
    assert [c.symbol for c in tune.chords] == ["G7"]
    assert [(k.sharps, k.mode) for k in tune.keys] == [(0, "major")]


@pytest.mark.parametrize(
    ("time", "metre"),
    [
        ("<beats>3+2</beats><beat-type>8</beat-type>", (5, 8)),
        ("<beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type>", (7, 8)),
    ],
)
def test_metres_that_are_sums(time, metre):
    bar = read(
        score(f"<attributes><divisions>2</divisions><time>{time}</time></attributes>" + note("C", 5 if metre == (5, 8) else 7))
    ).bars[0]
    assert (bar.beats, bar.beat_unit) == metre
    assert bar.length_q * 2 == metre[0]


def test_written_numbers():
    numbers = ['number="0" implicit="yes"', 'number="1"', 'number="X1" implicit="yes"', 'number="2"']
    tune = read(score(DIVISIONS + note("C", 2), note("D"), note("E", 2), note("F"), numbers=numbers))
    assert [bar.number for bar in tune.bars] == [0, 1, 1, 2]
    assert tune.pickup_q == 1
    assert not [warning for warning in tune.warnings if "holds" in warning]


@pytest.mark.parametrize(
    ("inside", "words"),
    [
        (note("H"), "no pitch that can be read"),
        (note("C", 0), "no usable duration"),
        (note("C").replace("<octave>5", "<octave>x"), "no pitch that can be read"),
        ("<backup><duration>4</duration></backup>" + note("C"), "beyond the start of the measure"),
        (note("C", 99999), "the measure is far too long"),
        ('<barline><repeat direction="sideways"/></barline>' + note("C"), "no direction"),
        ('<barline><repeat direction="backward" times="x"/></barline>' + note("C"), "number of times"),
        (ending("x", "start") + note("C"), "an ending has no number"),
        ("<attributes><time><beats>x</beats><beat-type>4</beat-type></time></attributes>" + note("C"), "a metre cannot be read"),
    ],
)
def test_faults_name_part_and_measure(inside, words):
    with pytest.raises(BadInput, match=words) as caught:
        read(score(DIVISIONS + inside))
    assert caught.value.faults[0].where == "part P1 measure 1"
