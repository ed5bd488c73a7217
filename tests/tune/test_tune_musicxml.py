"""MusicXML 4.0 by element: each case with the answer the reference at w3.org/2021/06/musicxml40 gives."""

import pytest
from musicxml_reading import DIVISIONS, ending, heads, keys, note, read, rest, said, score

from jackrail.faults import BadInput


def test_chords_voices_and_staves():
    chord = note("C") + note("E", before="<chord/>")
    second = "<backup><duration>4</duration></backup>" + note("G", 2, "<voice>2</voice>") + "<forward><duration>2</duration></forward>"
    lower = "<backup><duration>4</duration></backup>" + note("C", 4, "<staff>2</staff>", octave=3)
    data = score(DIVISIONS + chord + second + lower)
    assert heads(data) == [(0, 2, 72), (0, 2, 76), (0, 1, 79)]
    assert "only the upper staff of the part is read; of what is left out --voice can ask for 2/1" in read(data).warnings


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
    assert caught.value.faults[0].where == "part 1 (Fiddle) measure 1"


def test_divisions_that_change_in_mid_part():
    # divisions: "how many divisions per quarter note", until the next one.
    finer = "<attributes><divisions>12</divisions></attributes>"
    assert heads(score(DIVISIONS + note("C", 2) + finer + note("D", 12), note("E", 24))) == [(0, 1, 72), (1, 1, 74), (2, 2, 76)]


def test_divisions_without_a_common_measure_are_refused():
    # Each is legal by itself; exact times of all together would need numbers of thousands of digits.
    primes = (999_999_937, 999_999_929, 999_999_893)
    changes = "".join(f"<attributes><divisions>{prime}</divisions></attributes>" + note("C", 1) for prime in primes)
    with pytest.raises(BadInput, match="cannot be used"):
        read(score(DIVISIONS + changes))


def test_a_triplet_within_a_triplet():
    # A ninth of a half is duration 2 of 9 to the quarter: lengths are what <duration> says, <time-modification> is for the eye.
    nine = DIVISIONS.replace("<divisions>2", "<divisions>9")
    inner = "<time-modification><actual-notes>9</actual-notes><normal-notes>4</normal-notes></time-modification>"
    got = heads(score(nine + "".join(note("C", 2, inner) for _ in range(3)) + note("D", 6) + note("E", 6)))
    third = pytest.approx(2 / 9)
    assert [length for _, length, _ in got] == [third, third, third, pytest.approx(2 / 3), pytest.approx(2 / 3)]


def test_ties_over_three_bars_and_ties_to_nothing():
    both = "<tie type='stop'/><tie type='start'/>"
    bars = [note("C", inside="<tie type='start'/>"), note("C", inside=both), note("C", inside="<tie type='stop'/>")]
    assert heads(score(DIVISIONS + bars[0], *bars[1:])) == [(0, 6, 72)]
    loose = score(DIVISIONS + note("C", inside="<tie type='start'/>"), note("D"))
    assert heads(loose) == [(0, 2, 72), (2, 2, 74)]
    assert "ties that lead to no note of the same pitch are ignored: bar 1" in said(loose)


def test_let_ring_is_no_tie():
    ring = "<notations><tied type='let-ring'/></notations>"
    assert heads(score(DIVISIONS + note("C", inside=ring), note("C"))) == [(0, 2, 72), (2, 2, 72)]


def test_notes_that_are_no_melody_are_named():
    unpitched = "<note><unpitched/><duration>2</duration></note>"
    assert "notes without pitch are left out: measure 1" in said(score(DIVISIONS + unpitched + note("C", 2)))
    slash = note("B", 2, "<notehead>slash</notehead>")
    assert heads(score(DIVISIONS + slash + note("C", 2))) == [(1, 1, 72)]
    assert "slashes, which show a rhythm without pitch, are left out: measure 1" in said(score(DIVISIONS + slash + note("C", 2)))
    cue = note("D", 2, before="<cue/>")
    assert heads(score(DIVISIONS + cue + note("C", 2))) == [(1, 1, 72)]
    assert "cue notes are left out: measure 1" in said(score(DIVISIONS + cue + note("C", 2)))
    small = note("C", 4, "<type size='cue'>half</type>")
    assert heads(score(DIVISIONS + small)) == [(0, 2, 72)]
    assert "notes of small size are played like the others: measure 1" in said(score(DIVISIONS + small))
    once = note("C").replace("<note>", "<note time-only='1'>")
    assert "notes for some passes only are played in all: measure 1" in said(score(DIVISIONS + once))


@pytest.mark.parametrize("sign, what", [("beat-repeat", "signs that repeat a beat"), ("slash", "slashes for a rhythm")])
def test_slash_notation_is_named(sign, what):
    style = f'<attributes><measure-style><{sign} type="start"/></measure-style></attributes>'
    assert f"{what} are not played out, notes that the file has for them are: measure 2" in said(
        score(DIVISIONS + note("C"), style + note("D"))
    )


def test_rests_of_several_bars():
    style = "<attributes><measure-style><multiple-rest>2</multiple-rest></measure-style></attributes>"
    assert heads(score(DIVISIONS + note("C"), style + rest(), rest(), note("D"))) == [(0, 2, 72), (6, 2, 74)]


def test_a_measure_without_notes_lasts_its_metre():
    assert heads(score(DIVISIONS + note("C"), "", note("D"))) == [(0, 2, 72), (4, 2, 74)]


def test_senza_misura_is_not_judged_by_its_length():
    free = "<attributes><time><senza-misura/></time></attributes>"
    tune = read(score(DIVISIONS + note("C"), free + note("D", 14), note("E", 2)))
    assert [float(bar.length_q) for bar in tune.bars] == [2, 7, 1]
    assert not [warning for warning in tune.warnings if "holds" in warning]


def test_a_transposition_that_changes_in_mid_part():
    # transpose: diatonic, chromatic and octave-change lead "from written to sounding pitch" from where it stands.
    def moved(chromatic: int, octave: str = "") -> str:
        return f"<attributes><transpose><chromatic>{chromatic}</chromatic>{octave}</transpose></attributes>"

    bars = [DIVISIONS + moved(-2) + note("D"), moved(-9) + note("A"), moved(0, "<octave-change>-1</octave-change>") + note("C")]
    assert keys(*bars) == [72, 72, 60]
    assert "doubled an octave away" in said(score(DIVISIONS + moved(0, "<double/>") + note("C")))


def test_a_transposition_after_its_key_moves_the_key_too():
    key = "<attributes><key><fifths>2</fifths></key></attributes>"
    moved = "<attributes><transpose><chromatic>-2</chromatic></transpose></attributes>"
    assert [(mark.sharps, mark.mode) for mark in read(score(DIVISIONS + key + moved + note("D"))).keys] == [(0, "major")]


def test_a_transposition_without_a_new_key_moves_the_key_in_force():
    # transpose: what stands in two sharps sounds in none for an instrument in B flat, in five for one in E flat (a minor third up).
    key = "<attributes><key><fifths>2</fifths></key><transpose><chromatic>-2</chromatic></transpose></attributes>"
    up = "<attributes><transpose><chromatic>-9</chromatic></transpose></attributes>"
    tune = read(score(DIVISIONS + key + note("D"), up + note("D", 2) + up.replace("-9", "0") + note("D", 2)))
    assert [(float(mark.onset_q), mark.sharps) for mark in tune.keys] == [(0, 0), (2, -1), (3, 2)]
    assert read(score(DIVISIONS + note("D"), up + note("D"))).keys == ()


def metre(beats: int, unit: int = 4) -> str:
    return f"<attributes><time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>"


LATE = "a metre that begins within a measure counts from the next measure on"


def test_a_metre_within_a_measure_is_for_the_next():
    # time: a measure of 2/4 that a sign for 3/4 stands in is no short one of 3/4.
    tune = read(score(DIVISIONS + note("C"), note("D", 2) + metre(3) + note("E", 2), note("F", 6)))
    assert [bar.metre for bar in tune.bars] == ["2/4", "2/4", "3/4"]
    assert f"{LATE}: measure 2" in tune.warnings
    assert not any("holds" in warning for warning in tune.warnings)


def test_a_metre_at_the_end_of_a_measure_announces_the_next():
    tune = read(score(DIVISIONS + note("C") + metre(3), note("F", 6)))
    assert [bar.metre for bar in tune.bars] == ["2/4", "3/4"]
    assert not any(LATE in warning for warning in tune.warnings)
    assert not any(LATE in warning for warning in read(score(DIVISIONS + note("C", 2) + metre(2) + note("D", 2))).warnings)


def test_a_bar_after_free_metre_is_free_no_more():
    free = "<attributes><time><senza-misura/></time></attributes>"
    assert [bar.metre for bar in read(score(DIVISIONS + free + note("C", 14), metre(2) + note("D"))).bars] == ["none", "2/4"]


def test_forward_and_backup():
    move = "<forward><duration>2</duration></forward>"
    assert heads(score(DIVISIONS + note("C", 2) + move, note("D"))) == [(0, 1, 72), (2, 2, 74)]
    back = "<backup><duration>2</duration></backup>"
    assert heads(score(DIVISIONS + note("C") + back + note("E", 2, "<voice>2</voice>"))) == [(0, 2, 72), (1, 1, 76)]


def test_what_leaves_nothing_in_doubt_is_a_remark():
    fermata = note("C", inside="<notations><fermata/></notations>")
    tune = read(score(DIVISIONS + "<direction><direction-type><words>Fine</words></direction-type></direction>" + fermata))
    assert "fermatas are not held: measure 1" in tune.remarks
    assert 'the words "Fine" are followed as the sign they stand for' in tune.remarks
    assert not any("fermata" in told or "followed as" in told for told in tune.warnings)
