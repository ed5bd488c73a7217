"""<harmony> of MusicXML 4.0: root, numeral, function, kind, degree, bass, inversion, offset (w3.org/2021/06/musicxml40, from memory)."""

import warnings

import pytest
from kind_pitches import KIND_PITCHES
from musicxml_reading import DIVISIONS, another, called, note, read, said, score

from jackrail.pitch import parse_chord
from jackrail.tune.chord_names import KINDS
from jackrail.tune.model import NO_CHORD

C = "<root><root-step>C</root-step></root>"


def harmony(kind: str, after: str = "", root: str = C, key: str = "") -> bytes:
    attributes = DIVISIONS.replace("<time>", f"{key}<time>")
    return score(attributes + f"<harmony>{root}<kind>{kind}</kind>{after}</harmony>" + note("C"))


def degree(value: int, alter: int, what: str) -> str:
    return f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter><degree-type>{what}</degree-type></degree>"


def chord(data: bytes) -> tuple[set[int], int]:
    [symbol] = read(data).chords
    return set(parse_chord(symbol.symbol).classes), parse_chord(symbol.symbol).bass


# kind -> pitch classes on C. The first rows as the standard's kind-value list spells them; the sixths from any theory of music
# (Neapolitan: the major chord on the flat second degree over its third; augmented sixths: Ab C F#, with D, with Eb), common practice.
PITCHES = KIND_PITCHES | {
    "Neapolitan": {1, 5, 8}, "Italian": {8, 0, 6}, "French": {8, 0, 2, 6}, "German": {8, 0, 3, 6}, "Tristan": {0, 6, 10, 3},
}  # fmt: skip


def test_every_kind_of_the_standard_is_asked_about():
    assert set(PITCHES) | {"other", "none"} == set(KINDS)
    assert len(KINDS) == 33


@pytest.mark.parametrize("kind", PITCHES)
def test_pitches_of_a_kind(kind):
    assert chord(harmony(kind))[0] == PITCHES[kind]


@pytest.mark.parametrize("kind, bass", [("Neapolitan", 5), ("Italian", 8), ("French", 8), ("German", 8), ("Tristan", 0), ("minor", 0)])
def test_the_lowest_tone_of_a_kind(kind, bass):
    assert chord(harmony(kind))[1] == bass


def test_how_the_root_of_a_sixth_is_understood_is_said():
    assert "German chords are counted from their root as the keynote (on C: Ab C Eb F#): measure 1" in said(harmony("German"))


# music21 names kinds in its own words; its Neapolitan (C Db E Gb) is no chord of that name in any theory of music, so it is not asked.
JUDGED = {
    "dominant": "dominant-seventh", "major-minor": "minor-major-seventh", "half-diminished": "half-diminished-seventh",
}  # fmt: skip


@pytest.mark.parametrize("kind", [kind for kind in PITCHES if kind != "Neapolitan"])
def test_music21_agrees_on_every_kind(kind):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        judge = pytest.importorskip("music21.harmony")
    theirs = judge.ChordSymbol(root="C", kind=JUDGED.get(kind, kind))
    assert {pitch.pitchClass for pitch in theirs.pitches} == chord(harmony(kind))[0]


# degree-type: "add" counts from a dominant chord, "alter" and "subtract" from the kind itself.
DEGREES = [
    ("dominant", [(9, -1, "add")], {0, 4, 7, 10, 1}), ("dominant", [(9, -1, "add"), (9, 1, "add")], {0, 4, 7, 10, 1, 3}),
    ("major", [(7, 0, "add")], {0, 4, 7, 10}), ("major", [(7, 1, "add")], {0, 4, 7, 11}), ("minor", [(6, 0, "add")], {0, 3, 7, 9}),
    ("dominant", [(5, 1, "alter")], {0, 4, 8, 10}), ("dominant", [(5, -1, "alter")], {0, 4, 6, 10}),
    ("minor", [(3, 1, "alter")], {0, 4, 7}), ("augmented", [(5, -1, "alter")], {0, 4, 7}), ("major", [(5, -1, "alter")], {0, 4, 6}),
    ("dominant-13th", [(11, 1, "alter")], {0, 4, 7, 10, 2, 6, 9}), ("dominant-ninth", [(5, 0, "subtract")], {0, 4, 10, 2}),
    ("major", [(3, 0, "subtract")], {0, 7}), ("dominant", [(9, -1, "add"), (5, 0, "subtract")], {0, 4, 10, 1}),
    ("suspended-fourth", [(7, 0, "add"), (9, 0, "add")], {0, 5, 7, 10, 2}), ("half-diminished", [(11, 0, "add")], {0, 3, 6, 10, 5}),
    ("diminished-seventh", [(7, 1, "alter")], {0, 3, 6, 10}), ("major-seventh", [(11, 1, "add")], {0, 4, 7, 11, 6}),
    ("other", [(3, 0, "add"), (5, 0, "add"), (9, 0, "add")], {0, 4, 7, 2}), ("dominant", [(9, 1, "alter")], {0, 4, 7, 10, 3}),
]  # fmt: skip


@pytest.mark.parametrize("kind, degrees, pitches", DEGREES)
def test_degrees_added_altered_and_taken_away(kind, degrees, pitches):
    assert chord(harmony(kind, "".join(degree(*one) for one in degrees)))[0] == pitches


# What musicians write for the tones (common practice, no source).
NAMED = [
    ("augmented", [(5, -1, "alter")], "C"), ("suspended-fourth", [(7, 0, "add")], "C7sus4"), ("major", [(7, 0, "add")], "C7"),
    ("suspended-fourth", [(7, 0, "add"), (9, 0, "add")], "C9sus4"), ("minor", [(6, 0, "add")], "Cm6"),
    ("major", [(3, 0, "subtract")], "C5"),
    ("minor-seventh", [(5, -1, "alter")], "Cm7b5"), ("major", [(9, 0, "add")], "Cadd9"), ("dominant", [(9, -1, "add")], "C7b9"),
    ("other", [(3, -1, "add"), (5, 0, "add")], "Cm"), ("major-sixth", [(9, 0, "add")], "C69"), ("dominant", [(5, 0, "subtract")], "C7no5"),
    ("dominant-13th", [(11, 1, "alter")], "C13#11"),
]  # fmt: skip


@pytest.mark.parametrize("kind, degrees, name", NAMED)
def test_degrees_that_make_a_plain_chord_give_its_name(kind, degrees, name):
    assert [c.symbol for c in read(harmony(kind, "".join(degree(*one) for one in degrees))).chords] == [name]


def test_the_inversion_of_a_chord_with_degrees_counts_its_tones():
    # inversion: 1 is the tone above the root, here the fourth of D7sus4.
    after = degree(7, 0, "add") + "<inversion>1</inversion>"
    root = "<root><root-step>D</root-step></root>"
    assert [c.symbol for c in read(harmony("suspended-fourth", after, root)).chords] == ["D7sus4/G"]


def test_degrees_that_make_no_sense_are_named():
    for one in ((5, 0, "x"), (20, 0, "add"), (9, 0, "subtract"), (1, 0, "subtract")):
        data = harmony("major", degree(*one))
        assert chord(data)[0] == {0, 4, 7}
        assert "degrees of chord symbols that cannot be used are left out: measure 1" in said(data)
    assert "altered degrees that the chord has not are added to it: measure 1" in said(harmony("dominant", degree(9, 1, "alter")))


def test_offset_bass_and_degree_in_one_symbol():
    root = "<root><root-step>B</root-step><root-alter>-1</root-alter></root>"
    bass = "<bass><bass-step>A</bass-step><bass-alter>-1</bass-alter></bass>"
    data = harmony("dominant", bass + degree(9, -1, "add") + "<offset>2</offset>", root)
    assert [(float(c.onset_q), c.symbol) for c in read(data).chords] == [(1, "Bb7b9/Ab")]


def test_more_degrees_than_are_read_are_named():
    data = harmony("major", degree(9, 0, "add") * 12 + degree(3, 0, "subtract"))
    assert chord(data)[0] == {0, 4, 7, 2}
    assert "of more than 12 degrees of a chord symbol the first are read: measure 1" in read(data).warnings


@pytest.mark.parametrize("number, bass", [(0, 0), (1, 4), (2, 7), (3, 10)])
def test_inversions(number, bass):
    # inversion: 0 for root position, 1 for first inversion and so on.
    assert chord(harmony("dominant", f"<inversion>{number}</inversion>"))[1] == bass


def test_a_bass_counts_before_an_inversion_and_an_inversion_there_is_not_is_named():
    assert chord(harmony("major", "<inversion>1</inversion><bass><bass-step>D</bass-step></bass>"))[1] == 2
    data = harmony("major", "<inversion>3</inversion>")
    assert chord(data) == ({0, 4, 7}, 0)
    assert "inversions that a chord has not are left out" in said(data)


def numeral(degree_: int, alter: str = "", key: str = "") -> str:
    return f"<numeral><numeral-root>{degree_}</numeral-root>{alter}{key}</numeral>"


D_MAJOR = "<key><fifths>2</fifths><mode>major</mode></key>"
E_MINOR = "<key><fifths>1</fifths><mode>minor</mode></key>"
D_DORIAN = "<key><fifths>0</fifths><mode>dorian</mode></key>"


def numeral_key(mode: str) -> str:
    return f"<numeral-key><numeral-fifths>0</numeral-fifths><numeral-mode>{mode}</numeral-mode></numeral-key>"


# numeral-mode: natural minor is meant by plain "minor"; harmonic minor sharpens 7, melodic minor 6 and 7.
NUMERALS = [
    (numeral(5), D_MAJOR, "A"), (numeral(7), D_MAJOR, "C#"), (numeral(3), D_MAJOR, "F#"), (numeral(4), E_MINOR, "A"),
    (numeral(7), E_MINOR, "D"), (numeral(6), E_MINOR, "C"), (numeral(3), D_DORIAN, "F"), (numeral(6), D_DORIAN, "B"),
    (numeral(7, "", numeral_key("harmonic minor")), "", "G#"), (numeral(7, "", numeral_key("minor")), "", "G"),
    (numeral(6, "", numeral_key("melodic minor")), "", "F#"), (numeral(2, "<numeral-alter>-1</numeral-alter>"), "", "Db"),
    ("<function>V</function>", D_MAJOR, "A"), ("<function>ii</function>", D_MAJOR, "E"), ("<function>bVII</function>", "", "Bb"),
    ("<function>#IV</function>", "", "F#"),
]  # fmt: skip


@pytest.mark.parametrize("root, key, name", NUMERALS)
def test_degrees_of_the_key_as_roots(root, key, name):
    assert [symbol.symbol for symbol in read(harmony("major", root=root, key=key)).chords] == [name]


@pytest.mark.parametrize("root", ["<function>V/V</function>", "<function>T</function>", numeral(9), ""])
def test_roots_that_cannot_be_told_are_named(root):
    data = harmony("major", root=root)
    assert [symbol.symbol for symbol in read(data).chords] == [NO_CHORD]
    assert "chord symbols of the kind 'major' cannot be read: silent until the next chord: measure 1" in said(data)


def test_no_chord_is_silence():
    assert [symbol.symbol for symbol in read(harmony("none")).chords] == [NO_CHORD]


@pytest.mark.parametrize("kind", ["other", "silence"])
def test_a_kind_without_tones_that_is_printed_as_no_chord_is_silence(kind):
    tune = read(score(DIVISIONS + f'<harmony>{C}<kind text="N.C.">{kind}</kind></harmony>' + note("C")))
    assert [symbol.symbol for symbol in tune.chords] == [NO_CHORD]
    assert not any("cannot be read" in told for told in tune.warnings)


def test_kinds_outside_the_standard():
    assert chord(harmony("minor-major"))[0] == {0, 3, 7, 11}
    assert "the chord kind 'minor-major' is none of MusicXML: read as 'major-minor': measure 1" in said(harmony("minor-major"))
    assert chord(harmony("tristan"))[0] == PITCHES["Tristan"]
    assert "chord symbols of the kind 'quartal' cannot be read: silent until the next chord: measure 1" in said(harmony("quartal"))


def test_a_kind_other_is_read_from_its_text():
    data = score(DIVISIONS + f'<harmony>{C}<kind text="7sus4">other</kind></harmony>' + note("C"))
    assert chord(data)[0] == {0, 5, 7, 10}
    assert "the chord symbol 'C7sus4' is read from its printed text" in said(data)


def test_several_chords_in_a_bar_and_at_one_moment():
    one, two = (f"<harmony><root><root-step>{step}</root-step></root><kind>major</kind></harmony>" for step in "GC")
    tune = read(score(DIVISIONS + one + note("G", 2) + two + note("C", 2)))
    assert [(float(c.onset_q), c.symbol) for c in tune.chords] == [(0, "G"), (1, "C")]
    tune = read(score(DIVISIONS + one + two + note("G")))
    assert [c.symbol for c in tune.chords] == ["G"]
    assert "of several chord symbols at one moment the first is played: measure 1" in tune.warnings


def test_of_stacked_chords_the_first_is_read():
    data = harmony("major", "<root><root-step>D</root-step></root><kind>minor</kind>")
    assert chord(data)[0] == {0, 4, 7}
    assert "of chords stacked in one symbol the first is read: measure 1" in said(data)


def test_chords_of_another_part():
    over_piano = another("P2", DIVISIONS + f"<harmony>{C}<kind>major</kind></harmony>" + note("G"))
    tune = read(score(DIVISIONS + note("C"), parts=over_piano, names=called("P2", "Piano")))
    assert [c.symbol for c in tune.chords] == ["C"]
    assert "chord symbols were taken from part 2 (Piano)" in tune.remarks


def plain(step: str, offset: int = 0) -> str:
    moved = f"<offset>{offset}</offset>" if offset else ""
    return f"<harmony><root><root-step>{step}</root-step></root><kind>major</kind>{moved}</harmony>"


def placed(*measures: str) -> list[tuple[float, str]]:
    return [(float(c.onset_q), c.symbol) for c in read(score(*measures)).chords]


MOVED = "chord symbols whose offset leads into another measure are put there"


def test_an_offset_may_lead_into_another_measure():
    # offset: "represented in terms of divisions, and indicates where the direction will appear relative to the current musical location".
    assert placed(DIVISIONS + plain("C") + plain("G", 6) + note("C"), note("D"), note("E")) == [(0, "C"), (3, "G")]
    assert placed(DIVISIONS + plain("C") + plain("G", 10) + note("C"), note("D"), note("E")) == [(0, "C"), (5, "G")]
    assert placed(DIVISIONS + plain("C") + note("C"), plain("G", -2) + note("D")) == [(0, "C"), (1, "G")]
    assert f"{MOVED}: measure 2" in read(score(DIVISIONS + plain("C") + note("C"), plain("G", -2) + note("D"))).remarks


def test_the_repeated_measure_has_the_chord_that_an_offset_led_into_it():
    again = '<barline location="right"><repeat direction="backward"/></barline>'
    start = '<barline location="left"><repeat direction="forward"/></barline>'
    played = placed(DIVISIONS + plain("C") + plain("G", 6) + note("C"), start + note("D") + again)
    assert played == [(0, "C"), (3, "G"), (4, "C"), (5, "G")]


def test_an_offset_that_leads_out_of_the_tune_is_named():
    late = read(score(DIVISIONS + plain("C") + note("C"), plain("G", 6) + note("D")))
    assert [c.symbol for c in late.chords] == ["C"]
    assert "chord symbols whose offset leads beyond the last measure are left out: measure 2" in late.warnings
    early = read(score(DIVISIONS + plain("C", -1) + note("C")))
    assert [(float(c.onset_q), c.symbol) for c in early.chords] == [(0, "C")]
    assert "chord symbols whose offset leads too far back are put at the beginning: measure 1" in early.warnings


def guitar(*measures: str) -> str:
    return another("P2", DIVISIONS + measures[0], *measures[1:])


def test_more_chords_over_another_part_are_named():
    data = score(DIVISIONS + plain("C") + note("C"), note("D"), parts=guitar(plain("C") + note("G"), plain("G") + note("G")))
    assert [c.symbol for c in read(data).chords] == ["C"]
    told = "part 2 (P2) has 1 chord symbol that is not among those of part 1 (Fiddle), which are played: left out"
    assert told in read(data).warnings


def test_the_same_chords_over_another_part_are_no_more():
    # The same sounds, though the other part is written a tone higher, for B flat, and says the C again.
    moved = "<attributes><transpose><chromatic>-2</chromatic></transpose></attributes>"
    parts = guitar(moved + plain("D") + note("G"), plain("D") + note("G"))
    data = score(DIVISIONS + plain("C") + note("C"), note("D"), parts=parts)
    assert not any("not among those" in warning for warning in read(data).warnings)


def test_more_chords_over_a_third_part_than_over_the_one_that_lends_them_are_named():
    third = another("P3", DIVISIONS + plain("F") + note("G"), plain("A") + note("G"))
    data = score(DIVISIONS + note("C"), note("D"), parts=guitar(plain("C") + note("G"), note("G")) + third)
    assert [c.symbol for c in read(data).chords] == ["C"]
    assert any("part 3 (P3) has 2 chord symbols that are not among those of part 2 (P2)" in told for told in read(data).warnings)


def printed(kind: str, text: str) -> str:
    return f'<harmony>{C}<kind text="{text}">{kind}</kind></harmony>'


def test_a_chord_that_is_printed_strangely_is_read_as_far_as_it_goes():
    tune = read(score(DIVISIONS + printed("other", "7alt") + note("C")))
    assert [c.symbol for c in tune.chords] == ["C7"]
    assert "the chord symbol 'C7alt' is read as 'C7': measure 1" in tune.warnings


def test_what_is_printed_counts_for_a_kind_outside_the_standard():
    over_e = printed("quartal", "7sus4").replace("</harmony>", "<bass><bass-step>E</bass-step></bass></harmony>")
    assert [c.symbol for c in read(score(DIVISIONS + over_e + note("C"))).chords] == ["C7sus4/E"]


@pytest.mark.parametrize("kind, text", [("other", ""), ("other", "riff"), ("quartal", ""), ("none of these", "xyz")])
def test_a_chord_that_cannot_be_read_silences_the_one_before(kind, text):
    """Silence is better than a wrong chord that goes on: the bar with the strange chord holds none."""
    good = f"<harmony>{C}<kind>major</kind></harmony>"
    tune = read(score(DIVISIONS + good + note("C"), printed(kind, text) + note("D"), good + note("E")))
    assert [(float(c.onset_q), c.symbol) for c in tune.chords] == [(0, "C"), (2, NO_CHORD), (4, "C")]
    assert f"chord symbols of the kind {kind!r} cannot be read: silent until the next chord: measure 2" in tune.warnings
