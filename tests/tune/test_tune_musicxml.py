"""MusicXML 4.0 by element: each case with the answer the reference at w3.org/2021/06/musicxml40 gives."""

import zipfile

import pytest

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import list_parts, read_musicxml

DIVISIONS = "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>"


def note(step: str, duration: int = 4, inside: str = "", before: str = "", octave: int = 5) -> str:
    pitch = f"<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    return f"<note>{before}{pitch}<duration>{duration}</duration>{inside}</note>"


def score(*measures: str, numbers=None, parts: str = "") -> bytes:
    numbers = numbers or [f'number="{number}"' for number in range(1, len(measures) + 1)]
    body = "".join(f"<measure {number}>{measure}</measure>" for number, measure in zip(numbers, measures, strict=True))
    names = "<part-list><score-part id='P1'><part-name>Fiddle</part-name></score-part></part-list>"
    return f"<score-partwise>{names}<part id='P1'>{body}</part>{parts}</score-partwise>".encode()


def read(data: bytes, number=None):
    return read_musicxml(open_musicxml(data)[0], "t", Choice(part=None if number is None else str(number)))


def heads(data: bytes) -> list[tuple[float, float, int]]:
    return [(float(n.onset_q), float(n.duration_q), n.midi) for n in read(data).notes]


def keys(*measures: str) -> list[int]:
    return [midi for _, _, midi in heads(score(*measures))]


def sound(**attributes: str) -> str:
    return (
        "<direction><direction-type><words/></direction-type><sound "
        + " ".join(f'{k}="{v}"' for k, v in attributes.items())
        + "/></direction>"
    )


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def ending(number: str, kind: str, repeat: str = "") -> str:
    side = "left" if kind == "start" else "right"
    return f'<barline location="{side}"><ending number="{number}" type="{kind}"/>{repeat}</barline>'


FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
BACKWARD = '<barline location="right"><repeat direction="backward"/></barline>'


def test_repeats_and_endings():
    backward = '<repeat direction="backward"/>'
    first = ending("1,2", "start") + note("D") + ending("1,2", "stop", backward)
    assert keys(DIVISIONS + FORWARD + note("C"), first, ending("3", "start") + note("E") + ending("3", "discontinue")) == [
        72,
        74,
        72,
        74,
        72,
        76,
    ]
    assert keys(DIVISIONS + note("C"), note("D") + BACKWARD, note("E") + BACKWARD) == [72, 74, 72, 74, 76, 76]


def test_an_ending_over_two_bars():
    last = note("E") + ending("1", "stop", '<repeat direction="backward"/>')
    got = keys(
        DIVISIONS + FORWARD + note("C"),
        ending("1", "start") + note("D"),
        last,
        ending("2", "start") + note("F") + ending("2", "stop"),
        note("G"),
    )
    assert got == [72, 74, 76, 72, 77, 79]


@pytest.mark.parametrize(
    ("marks", "order"),
    [
        (["", sound(fine="yes"), sound(dacapo="yes")], [72, 74, 76, 72, 74]),
        ([sound(segno="a"), "", sound(dalsegno="a")], [72, 74, 76, 72, 74, 76]),
        (["", sound(segno="a"), sound(dalsegno="a")], [72, 74, 76, 74, 76]),
        ([sound(tocoda="c"), sound(dacapo="yes"), sound(coda="c")], [72, 74, 72, 76]),
        (["", words("Fine"), words("D.C. al Fine")], [72, 74, 76, 72, 74]),
        ([words("To Coda"), words("D.C. al Coda"), words("Coda")], [72, 74, 72, 76]),
    ],
)
def test_jumps(marks, order):
    # A sign for the end of a bar stands after its note, one for the beginning before.
    at_start = {sound(segno="a"), sound(coda="c"), words("Coda")}
    bars = [mark + note(step) if mark in at_start else note(step) + mark for mark, step in zip(marks, "CDE", strict=True)]
    assert keys(DIVISIONS + bars[0], *bars[1:]) == order


def test_what_sound_says_and_what_words_add():
    both = '<direction><direction-type><words>D.C. al Coda</words></direction-type><sound dacapo="yes"/></direction>'
    # Fine in bar 1 is not for a D.C. al Coda.
    got = keys(DIVISIONS + note("C") + sound(fine="yes"), note("D") + sound(tocoda="c"), note("E") + both, sound(coda="c") + note("F"))
    assert got == [72, 74, 76, 72, 74, 77]


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


def test_grace_and_cue_notes_and_ornaments_are_named():
    grace = "<note><grace/><pitch><step>D</step><octave>5</octave></pitch></note>"
    cue = "<note><cue/><pitch><step>D</step><octave>5</octave></pitch><duration>2</duration></note>"
    trill = "<notations><ornaments><trill-mark/></ornaments><fermata/></notations>"
    data = score(DIVISIONS + grace + cue + note("C", 2, trill))
    assert heads(data) == [(1, 1, 72)]
    text = "\n".join(read(data).warnings)
    for said in ("grace notes are left out: measure 1", "cue notes are left out", "ornaments are not played", "fermatas are not held"):
        assert said in text


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


def test_harmony_offset_bass_and_degrees():
    inner = "<root><root-step>B</root-step><root-alter>-1</root-alter></root><kind>dominant</kind>"
    bass = "<bass><bass-step>A</bass-step><bass-alter>-1</bass-alter></bass>"
    degree = "<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>"
    data = score(DIVISIONS + f"<harmony>{inner}{bass}{degree}<offset>2</offset></harmony>" + note("C"))
    assert [(float(c.onset_q), c.symbol) for c in read(data).chords] == [(1, "Bb7b9/Ab")]


def test_of_two_harmonies_at_one_moment_the_first_is_kept():
    one, other = (f"<harmony><root><root-step>{step}</root-step></root><kind>major</kind></harmony>" for step in "GC")
    tune = read(score(DIVISIONS + one + other + note("G")))
    assert [chord.symbol for chord in tune.chords] == ["G"]
    assert "of several chord symbols at one moment the first is played: measure 1" in tune.warnings


def test_a_chord_symbol_that_cannot_be_read_is_named():
    harmony = "<harmony><root><root-step>C</root-step></root><kind>Tristan</kind></harmony>"
    assert (
        "chord symbols of the kind 'Tristan' cannot be read and are left out: measure 1"
        in read(score(DIVISIONS + harmony + note("C"))).warnings
    )


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


def test_metronome_marks():
    def mark(unit: str, rate: str) -> str:
        inner = f"<beat-unit>{unit}</beat-unit><per-minute>{rate}</per-minute>"
        return f"<direction><direction-type><metronome>{inner}</metronome></direction-type></direction>"

    dotted = mark("quarter</beat-unit><beat-unit-dot/><beat-unit>", "60").replace("<beat-unit></beat-unit>", "")
    assert read(score(DIVISIONS + mark("half", "60") + note("C"))).tempo[0].quarters_per_minute == 120
    assert read(score(DIVISIONS + dotted + note("C"))).tempo[0].quarters_per_minute == 90


def test_written_numbers():
    numbers = ['number="0" implicit="yes"', 'number="1"', 'number="X1" implicit="yes"', 'number="2"']
    tune = read(score(DIVISIONS + note("C", 2), note("D"), note("E", 2), note("F"), numbers=numbers))
    assert [bar.number for bar in tune.bars] == [0, 1, 1, 2]
    assert tune.pickup_q == 1
    assert not [warning for warning in tune.warnings if "holds" in warning]


def test_parts():
    other = f"<part id='P2'><measure number='1'>{DIVISIONS}{note('G')}</measure></part>"
    data = score(DIVISIONS + note("C"), parts=other)
    assert [(offer.number, offer.title) for offer in list_parts(open_musicxml(data)[0])] == [(1, "Fiddle"), (2, "")]
    assert [n.midi for n in read(data, 2).notes] == [79]
    assert "part 1 (Fiddle) was read, the first; left out: 2 (P2)" in read(data).warnings
    with pytest.raises(BadInput, match="no part with that number"):
        read(data, 3)


def test_chords_of_another_part():
    harmony = "<harmony><root><root-step>G</root-step></root><kind>major</kind></harmony>"
    other = f"<part id='P2'><measure number='1'>{DIVISIONS}{harmony}{note('G')}</measure></part>"
    tune = read(score(DIVISIONS + note("C"), parts=other))
    assert [c.symbol for c in tune.chords] == ["G"]
    assert "chord symbols were taken from part P2" in tune.warnings


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
        (ending("", "start") + note("C"), "an ending has no number"),
        ("<attributes><time><beats>x</beats><beat-type>4</beat-type></time></attributes>" + note("C"), "a metre cannot be read"),
    ],
)
def test_faults_name_part_and_measure(inside, words):
    with pytest.raises(BadInput, match=words) as caught:
        read(score(DIVISIONS + inside))
    assert caught.value.faults[0].where == "part P1 measure 1"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding):
    text = f'<?xml version="1.0" encoding="{encoding.replace("-sig", "")}"?>' + score(DIVISIONS + note("C")).decode().replace(
        "Fiddle", "Flöte"
    )
    assert list_parts(open_musicxml(text.encode(encoding))[0])[0].title == "Flöte"


def test_entities_and_unknown_encodings_are_refused():
    with pytest.raises(BadInput, match="declares entities"):
        open_musicxml(b"<!DOCTYPE score-partwise [<!ENTITY x SYSTEM 'file:///etc/hostname'>]><score-partwise>&x;</score-partwise>")
    with pytest.raises(BadInput, match="cannot be decoded"):
        open_musicxml(b"<?xml version='1.0' encoding='no-such'?><score-partwise/>")


def packed(tmp_path, names: dict[str, bytes]) -> bytes:
    path = tmp_path / "x.mxl"
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in names.items():
            archive.writestr(name, data)
    return path.read_bytes()


def container(path: str) -> bytes:
    return f"<container><rootfiles><rootfile full-path='{path}'/></rootfiles></container>".encode()


@pytest.mark.parametrize(("written", "stored"), [("a b.xml", "a b.xml"), ("a%20b.xml", "a b.xml"), ("a&amp;b.xml", "a&b.xml")])
def test_paths_in_the_container(tmp_path, written, stored):
    data = packed(tmp_path, {"META-INF/container.xml": container(written), stored: score(DIVISIONS + note("C"))})
    assert heads(data) == [(0, 2, 72)]


def test_damaged_archives_are_refused(tmp_path):
    data = packed(tmp_path, {"META-INF/container.xml": container("none.xml"), "a.xml": b"<score-partwise/>"})
    with pytest.raises(BadInput, match="names a score that is not in it"):
        open_musicxml(data)
    with pytest.raises(BadInput, match="cannot be unpacked"):
        open_musicxml(data[:60])
