"""Parts, staves and voices of a MusicXML score: which is read, what can be asked for, what is offered."""

import pytest
from musicxml_reading import DIVISIONS, another, called, heads, note, read, said, score, sound

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.model import NO_CHORD
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import list_parts, read_musicxml

BACK = "<backup><duration>4</duration></backup>"


def offers(data: bytes):
    return list_parts(open_musicxml(data)[0])


def several(*names: str) -> bytes:
    """A score of a part for each name, the first sounding C5, the next D5 and so on."""
    body = "".join(another(f"P{number}", DIVISIONS + note("CDEFGAB"[number])) for number in range(1, len(names)))
    listed = "".join(called(f"P{number}", name) for number, name in enumerate(names))
    first = another("P0", DIVISIONS + note("C"))
    return f"<score-partwise><part-list>{listed}</part-list>{first}{body}</score-partwise>".encode()


# The rule as the module states it; which names mean a melody is our judgement, no source.
@pytest.mark.parametrize(
    "names, key",
    [
        (["Soprano", "Alto", "Tenor", "Bass"], 72),
        (["Horn", "Soprano", "Alto", "Tenor"], 74),
        (["Flute", "Violin", "Cello"], 72),
        (["Piano", "Lead Guitar"], 74),
        (["Backing Vocals", "Vocals"], 74),
        (["Bass Voice", "Piano"], 72),
        (["Piano", "Melody"], 74),
        (["Klavier", "Gesang"], 74),
        (["Guitar", "Harmonica solo", "Harmony voice"], 74),
        (["Alto", "Bassoon solo", "Bass solo"], 74),
        (["Tenor", "Lead", "Baritone"], 74),
        (["Tenor voice", "Voice"], 74),
        (["Piano", "Soprano/Alto"], 74),
    ],
)
def test_the_part_that_is_read_unasked(names, key):
    assert [n.midi for n in read(several(*names)).notes] == [key]


def test_what_was_read_and_left_out_is_said():
    assert "part 1 (Flute) was read, the first; left out: 2 (Violin); --part chooses another" in said(several("Flute", "Violin"))
    assert "part 2 (Tune) was read, for its name; left out: 1 (Piano)" in said(several("Piano", "Tune"))


def test_a_part_without_notes_is_passed_over():
    silent = "<note><rest/><duration>4</duration></note>"
    data = score(DIVISIONS + silent, parts=another("P2", DIVISIONS + note("G")))
    assert heads(data) == [(0, 2, 79)]


@pytest.mark.parametrize("asked", ["2", "P1", "violin", "VIOLIN"])
def test_a_part_by_number_id_and_name(asked):
    assert [n.midi for n in read(several("Flute", "Violin", "Cello"), asked).notes] == [74]


@pytest.mark.parametrize("asked, what", [("9", "no part with that number"), ("Oboe", "no part with that number, id or name")])
def test_a_part_there_is_not(asked, what):
    with pytest.raises(BadInput, match=what) as caught:
        read(several("Flute", "Violin"), asked)
    fault = caught.value.faults[0]
    assert (fault.code, fault.limit) == ("option", "1 (Flute), 2 (Violin)")


def test_a_name_of_several_parts_is_refused_with_their_numbers():
    with pytest.raises(BadInput, match="several parts of that name") as caught:
        read(several("Violin", "Viola", "violin"), "Violin")
    assert caught.value.faults[0].limit == "1 (Violin), 3 (violin)"


def test_two_parts_of_one_id_are_two_parts():
    data = score(DIVISIONS + note("C"), parts=another("P1", DIVISIONS + note("D")))
    assert [[n.midi for n in read(data, number).notes] for number in (1, 2)] == [[72], [74]]


def on(staff: int, voice: int) -> str:
    return f"<voice>{voice}</voice><staff>{staff}</staff>"


def piano(low_voice: int = 5) -> bytes:
    second = BACK + note("G", 4, on(1, 2), octave=4)
    low = BACK + note("C", 4, on(2, low_voice), octave=3)
    return score(DIVISIONS + note("C", 4, on(1, 1)) + note("E", 4, on(1, 1), "<chord/>") + second + low)


def test_the_upper_staff_is_read_with_all_its_voices():
    data = piano()
    assert heads(data) == [(0, 2, 67), (0, 2, 72), (0, 2, 76)]
    assert "only the upper staff of the part is read; of what is left out --voice can ask for 5" in said(data)
    assert "voices 1, 2 are read together; --voice picks one of them, --line top the highest line" in said(data)
    top = read_musicxml(open_musicxml(data)[0], "t", Choice(line="top"))
    assert "voices 1, 2 are read together; --voice picks one of them" in top.warnings


@pytest.mark.parametrize("voice, midi", [("1", [72, 76]), ("2", [67]), ("5", [48]), ("2/5", [48])])
def test_a_voice_is_read_from_whichever_staff(voice, midi):
    assert [n.midi for n in read(piano(), voice=voice).notes] == midi


def test_a_voice_name_of_two_staves():
    data = piano(low_voice=1)
    assert [n.midi for n in read(data, voice="1").notes] == [48, 72, 76]
    assert any("voice 1 stands in staves 1, 2" in warning for warning in read(data, voice="1").warnings)
    assert [n.midi for n in read(data, voice="2/1").notes] == [48]
    assert [n.midi for n in read(data, voice="1/1").notes] == [72, 76]
    assert {offer.options[-1] for offer in offers(data)} == {"1/1", "2", "2/1"}


def test_a_voice_that_crosses_to_another_staff_is_read_wherever_it_stands():
    # staff: "Staff values are numbers, with 1 referring to the top-most staff in a part"; a voice may cross from one to another.
    low = BACK + note("C", 4, on(2, 5), octave=3)
    data = score(DIVISIONS + note("C", 2, on(1, 1)) + note("G", 2, on(2, 1), octave=4) + low, note("D", 4, on(1, 1)) + low)
    assert heads(data) == [(0, 1, 72), (1, 1, 67), (2, 2, 74)]
    assert "voices that cross to another staff are read wherever they stand: voice 1" in read(data).remarks
    assert "only the upper staff of the part is read; of what is left out --voice can ask for 5" in read(data).warnings
    assert [(offer.options[-1], offer.chosen) for offer in offers(data)] == [("1/1", True), ("2/1", True), ("5", False)]


def test_a_voice_of_the_lower_staff_that_reaches_up_stays_below():
    high = note("E", 4, on(1, 1)) + BACK
    data = score(DIVISIONS + high + note("C", 2, on(2, 5)) + note("G", 2, on(1, 5)), high + note("C", 4, on(2, 5)))
    assert heads(data) == [(0, 2, 76), (2, 2, 76)]
    told = "voices with most of their notes on a lower staff are left out on the upper one, too: voice 5"
    assert told in read(data).warnings
    assert any("--voice can ask for 5" in warning for warning in read(data).warnings)
    assert [n.midi for n in read(data, voice="5").notes] == [72, 79, 72]


def test_a_voice_that_only_reaches_up_is_read_above_where_nothing_else_stands():
    assert heads(score(DIVISIONS + note("C", 2, on(2, 1)) + note("G", 2, on(1, 1)), note("D", 4, on(2, 1)))) == [(1, 1, 79)]


def test_two_voices_of_one_name_that_stand_apart_cross_nothing():
    both = note("C", 4, on(1, 1)) + BACK + note("C", 4, on(2, 1), octave=3)
    crossing = note("C", 2, on(1, 1)) + note("G", 2, on(2, 1), octave=4)
    assert heads(score(DIVISIONS + both, crossing)) == [(0, 2, 72), (2, 1, 72)]


def test_a_voice_there_is_not():
    with pytest.raises(BadInput, match="has no voice of that name") as caught:
        read(piano(), voice="7")
    assert caught.value.faults[0].limit == "1, 2, 5"


def test_a_part_that_begins_on_its_lower_staff():
    assert heads(score(DIVISIONS + note("C", 4, on(2, 5)))) == [(0, 2, 72)]


def test_a_tie_that_changes_voice_and_staff():
    # A note held from one voice into another is one sound: element tie says so, whatever the voice.
    first = note("C", 2, on(1, 1).replace("<voice>", "<tie type='start'/><voice>"))
    second = note("C", 2, on(1, 2).replace("<voice>", "<tie type='stop'/><voice>"))
    assert heads(score(DIVISIONS + first + second)) == [(0, 2, 72)]


def test_offers_help_to_choose():
    clarinet = DIVISIONS.replace("</time>", "</time><transpose><chromatic>-2</chromatic></transpose>")
    chords = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    other = another("P2", clarinet + chords + note("D", 2) + note("E", 2))
    data = score(DIVISIONS + note("C", 4, on(1, 1)) + note("E", 4, on(1, 1), "<chord/>") + BACK + note("C", 4, on(2, 5), octave=3),
                 parts=other, names=called("P2", "Clarinet"))  # fmt: skip
    one, two, three = offers(data)
    assert (one.number, one.title, one.options, one.about) == (1, "Fiddle", ("--part", "1", "--voice", "1"), "staff 1")
    assert (one.notes, one.lowest, one.highest, one.together, one.chosen) == (2, 72, 76, 0.5, True)
    assert (two.options, two.about, two.lowest, two.chosen) == (("--part", "1", "--voice", "5"), "staff 2", 48, False)
    assert (three.number, three.title, three.options) == (2, "Clarinet", ("--part", "2"))
    assert three.about == "sounds 2 semitones lower than written, with chord symbols"
    assert (three.notes, three.lowest, three.highest, three.together, three.chosen) == (2, 72, 74, 0.0, False)


def test_offers_name_what_is_read_unasked():
    assert [offer.chosen for offer in offers(several("Horn", "Soprano", "Alto"))] == [False, True, False]


def test_a_part_that_cannot_be_read_or_has_no_notes_is_offered_with_the_reason():
    data = score(DIVISIONS + note("C"), parts=another("P2", DIVISIONS + note("H")) + another("P3", DIVISIONS))
    assert [offer.about for offer in offers(data)] == [
        "",
        "cannot be read: measure 1: a note has no pitch that can be read ('H5')",
        "no notes with pitch",
    ]


def test_what_is_offered_can_be_read():
    for data in (piano(), piano(1), several("Flute", "Violin")):
        for offer in offers(data):
            asked = dict(zip(offer.options[::2], offer.options[1::2], strict=True))
            tune = read(data, asked["--part"], asked.get("--voice"))
            keys = [n.midi for n in tune.notes]
            assert (len(keys), min(keys), max(keys)) == (offer.notes, offer.lowest, offer.highest)


def test_the_tempo_of_another_part_holds_for_all():
    other = another("P2", DIVISIONS + sound(tempo="90") + note("G"))
    tune = read(score(DIVISIONS + note("C"), parts=other))
    assert tune.tempo[0].quarters_per_minute == 90
    assert "the tempo was taken from part 2 (P2)" in tune.remarks


def test_a_transposition_for_one_staff_only():
    # transpose number: "the optional number attribute refers to staff numbers"; without it all staves are transposed.
    def moved(number: str) -> str:
        return DIVISIONS.replace("</time>", f"</time><transpose {number}><chromatic>-2</chromatic></transpose>")

    data = score(moved('number="2"') + note("D", 4, on(1, 1)) + BACK + note("D", 4, on(2, 5)))
    assert [n.midi for n in read(data, voice="1").notes] == [74]
    assert [n.midi for n in read(data, voice="5").notes] == [72]
    both = score(moved("") + note("D", 4, on(1, 1)) + BACK + note("D", 4, on(2, 5)))
    assert [n.midi for n in read(both, voice="5").notes] == [72]


def test_a_timewise_score():
    part = f"<part id='P1'>{{}}</part><part id='P2'>{DIVISIONS}{note('G')}</part>"
    one, two = (
        f"<measure number='{n}'>{part.format((DIVISIONS if n == 1 else '') + note(step))}</measure>" for n, step in ((1, "C"), (2, "D"))
    )
    data = f"<score-timewise><part-list>{called('P1', 'Tune')}</part-list>{one}{two}</score-timewise>".encode()
    assert heads(data) == [(0, 2, 72), (2, 2, 74)]
    assert [n.midi for n in read(data, 2).notes] == [79, 79]


def test_what_the_lender_of_chords_cannot_tell_is_said_too():
    odd = "<harmony><root><root-step>C</root-step></root><kind>quartal</kind></harmony>"
    good = odd.replace("quartal", "major")
    data = score(DIVISIONS + note("C"), note("D"), parts=another("P2", DIVISIONS + odd + note("G"), good + note("G")))
    assert [c.symbol for c in read(data).chords] == [NO_CHORD, "C"]
    assert "chord symbols of the kind 'quartal' cannot be read: silent until the next chord: measure 1" in said(data)


def test_signs_of_two_parts_are_put_together():
    again = '<barline location="right"><repeat direction="backward"/></barline>'
    fine, back = (f"<direction><direction-type><words>{text}</words></direction-type></direction>" for text in ("Fine", "D.C. al Fine"))
    other = another("P2", DIVISIONS + note("G") + again, note("A"), note("B"))
    data = score(DIVISIONS + note("C"), note("D") + fine, note("E") + back, parts=other)
    assert [midi for _, _, midi in heads(data)] == [72, 72, 74, 76, 72, 74]


def test_a_part_of_very_many_voices_lists_the_first():
    many = "".join(note("C", 1, f"<voice>{number}</voice>", before="<chord/>") for number in range(200))
    assert len(offers(score(DIVISIONS + many))) == 64
