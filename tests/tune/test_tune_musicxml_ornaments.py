"""Grace notes and ornament signs of MusicXML 4.0: elements grace, ornaments, accidental-mark (reference from memory)."""

import pytest
from musicxml_reading import DIVISIONS, grace, heads, note, read, rest, said, score

E_FLAT = DIVISIONS.replace("<time>", "<key><fifths>-3</fifths></key><time>")


def kept(*measures: str) -> list[tuple[float, int, str, tuple[int, ...]]]:
    return [(float(o.onset_q), o.midi, o.kind, o.keys) for o in read(score(*measures)).ornaments]


def signed(step: str, sign: str, duration: int = 4, alter: str = "") -> str:
    return note(step, duration, f"<notations><ornaments>{sign}</ornaments></notations>", alter=alter)


def test_grace_notes_stand_before_their_main_note():
    assert kept(DIVISIONS + note("C", 2) + grace("D") + grace("E") + note("F", 2)) == [(1, 77, "grace", (74, 76))]
    assert heads(score(DIVISIONS + grace("D") + note("C"))) == [(0, 2, 72)]


def test_grace_notes_that_take_their_time_from_the_note_before():
    # grace steal-time-previous: "the percentage of time to steal from the previous note".
    assert kept(DIVISIONS + note("C", 2) + grace("B", 'steal-time-previous="20"', 4) + note("D", 2)) == [(0, 72, "after-grace", (71,))]


@pytest.mark.parametrize("after", ["", rest(2)])
def test_grace_notes_with_no_note_after_them_end_the_note_before(after):
    assert kept(DIVISIONS + note("C", 2) + grace("D") + grace("C") + after) == [(0, 72, "after-grace", (74, 72))]


def test_grace_notes_without_any_main_note_are_named():
    assert kept(DIVISIONS + grace("D") + rest(), note("C")) == []
    assert "grace notes without a main note in their bar are left out: measure 1" in said(score(DIVISIONS + grace("D") + rest(), note("C")))


def test_the_highest_note_of_a_chord_has_the_ornament():
    chord = note("C") + note("E", before="<chord/>")
    assert kept(DIVISIONS + grace("D") + chord) == [(0, 76, "grace", (74,))]
    low_first = grace("B", octave=4) + grace("D", before="<chord/>")
    assert kept(DIVISIONS + low_first + chord) == [(0, 76, "grace", (74,))]


def test_grace_notes_belong_to_their_voice():
    second = "<backup><duration>4</duration></backup>" + note("G", 4, "<voice>2</voice>", octave=4)
    first = grace("D").replace("</note>", "<voice>1</voice></note>") + note("C", 4, "<voice>1</voice>")
    assert kept(DIVISIONS + first + second) == [(0, 72, "grace", (74,))]


# Neighbours of D in C major are C and E; of D in E flat major C and E flat; of F sharp in C major E and G, by step.
SIGNS = [
    ("<trill-mark/>", "trill"), ("<shake/>", "trill"), ("<turn/>", "turn"), ("<delayed-turn/>", "turn"), ("<vertical-turn/>", "turn"),
    ("<inverted-turn/>", "inverted-turn"), ("<delayed-inverted-turn/>", "inverted-turn"), ("<mordent/>", "lower-mordent"),
    ("<inverted-mordent/>", "upper-mordent"), ("<schleifer/>", "slide"), ('<wavy-line type="start"/>', "trill"),
]  # fmt: skip


@pytest.mark.parametrize("sign, kind", SIGNS)
def test_signs_with_the_neighbours_in_the_key(sign, kind):
    assert kept(DIVISIONS + signed("D", sign)) == [(0, 74, kind, (72, 76))]


def test_neighbours_follow_the_key_signature_and_the_step():
    assert kept(E_FLAT + signed("D", "<trill-mark/>")) == [(0, 74, "trill", (72, 75))]
    assert kept(DIVISIONS + signed("F", "<turn/>", alter="1")) == [(0, 78, "turn", (76, 79))]


def test_an_accidental_mark_changes_a_neighbour():
    # accidental-mark: above or below by its placement; without one it is for the upper neighbour, of a mordent for the lower.
    sharp, flat = ("<accidental-mark{}>" + name + "</accidental-mark>" for name in ("sharp", "flat"))
    assert kept(DIVISIONS + signed("G", "<trill-mark/>" + flat.format(""))) == [(0, 79, "trill", (77, 80))]
    assert kept(DIVISIONS + signed("G", "<mordent/>" + sharp.format(""))) == [(0, 79, "lower-mordent", (78, 81))]
    both = sharp.format(' placement="below"') + flat.format(' placement="above"')
    assert kept(DIVISIONS + signed("G", "<turn/>" + both)) == [(0, 79, "turn", (78, 80))]


def test_neighbours_follow_the_accidentals_before_them_in_the_measure():
    # An accidental holds to the end of its measure, on its own staff and in its own octave (common practice, no source).
    trill = signed("E", "<trill-mark/>", 2)
    assert kept(DIVISIONS + note("F", 2, alter="1") + trill) == [(1, 76, "trill", (74, 78))]
    assert kept(DIVISIONS + note("F", 1, alter="1") + note("F", 1) + trill) == [(1, 76, "trill", (74, 77))]
    assert kept(DIVISIONS + trill + note("F", 2, alter="1")) == [(0, 76, "trill", (74, 77))]
    assert kept(DIVISIONS + note("F", 4, alter="1"), note("C", 2) + trill) == [(3, 76, "trill", (74, 77))]
    assert kept(DIVISIONS + note("F", 2, alter="1", octave=4) + trill) == [(1, 76, "trill", (74, 77))]
    assert kept(E_FLAT + note("B", 2, octave=4) + signed("C", "<mordent/>", 2)) == [(1, 72, "lower-mordent", (71, 74))]


def test_an_accidental_that_a_tie_carries_over_the_bar_line_holds_for_its_note_alone():
    held = note("F", 4, "<tie type='start'/>", alter="1")
    assert kept(DIVISIONS + held, note("F", 2, "<tie type='stop'/>", alter="1") + signed("E", "<trill-mark/>", 2)) == [
        (3, 76, "trill", (74, 77))
    ]


def test_the_accidental_of_a_grace_note_holds_too_and_a_mark_at_the_sign_before_all():
    small = grace("F").replace("<step>F</step>", "<step>F</step><alter>1</alter>")
    assert kept(DIVISIONS + small + signed("E", "<trill-mark/>")) == [(0, 76, "grace", (78,)), (0, 76, "trill", (74, 78))]
    natural = "<trill-mark/><accidental-mark>natural</accidental-mark>"
    assert kept(DIVISIONS + note("F", 2, alter="1") + signed("E", natural, 2)) == [(1, 76, "trill", (74, 77))]


def test_an_accidental_of_another_staff_does_not_hold():
    def on(staff: int) -> str:
        return f"<voice>1</voice><staff>{staff}</staff>"

    low = note("F", 2, on(2), alter="1")
    trill = note("E", 2, on(1) + "<notations><ornaments><trill-mark/></ornaments></notations>")
    assert kept(DIVISIONS + low + trill) == [(1, 76, "trill", (74, 77))]


def test_an_accidental_mark_that_cannot_be_read_is_named():
    # accidental-value: "slash-sharp" and the like are quarter tones.
    data = score(DIVISIONS + signed("G", "<trill-mark/><accidental-mark>slash-sharp</accidental-mark>"))
    assert [o.keys for o in read(data).ornaments] == [(77, 81)]
    assert "accidentals at ornaments that cannot be read are left out: measure 1" in read(data).warnings


def test_more_grace_notes_than_are_kept_are_named():
    data = score(DIVISIONS + grace("D") * 33 + note("C"))
    assert [len(o.keys) for o in read(data).ornaments] == [32]
    assert "of more than 32 grace notes in a row the first are kept: measure 1" in read(data).warnings
    assert read(score(DIVISIONS + grace("D") * 32 + note("C"))).warnings == read(score(DIVISIONS + note("C"))).warnings


def test_of_grace_notes_at_once_the_highest_is_kept_and_that_is_said():
    data = score(DIVISIONS + grace("B", octave=4) + grace("D", before="<chord/>") + note("C"))
    assert "of grace notes that sound together only the highest is kept: measure 1" in read(data).warnings


LEFT_OUT = "grace notes and ornaments at notes that are left out are left out, too: measure 1"


@pytest.mark.parametrize(
    "main",
    [
        note("G", 2, "<notehead>slash</notehead>"),
        note("G", 2, before="<cue/>"),
        "<note><unpitched/><duration>2</duration></note>",
    ],
)
def test_grace_notes_of_a_note_that_is_left_out_are_not_given_to_the_next(main):
    data = score(DIVISIONS + grace("D") + main + note("C", 2))
    assert read(data).ornaments == ()
    assert LEFT_OUT in read(data).warnings


def test_a_sign_at_a_note_that_is_not_printed_is_named():
    hidden = signed("D", "<trill-mark/>", 2).replace("<note>", '<note print-object="no">')
    data = score(DIVISIONS + hidden + note("C", 2))
    assert read(data).ornaments == ()
    assert LEFT_OUT in read(data).warnings


def test_a_wavy_line_beside_a_trill_is_one_ornament():
    assert len(kept(DIVISIONS + signed("D", '<trill-mark/><wavy-line type="start"/>', 2) + signed("E", '<wavy-line type="stop"/>', 2))) == 1


def test_ornaments_of_a_transposing_part_sound_moved():
    # A written D in B flat sounds C; its trill in written D major goes to a written E, sounding D.
    key = "<key><fifths>2</fifths></key>"
    attributes = f"<attributes><divisions>2</divisions>{key}<transpose><chromatic>-2</chromatic></transpose></attributes>"
    assert kept(attributes + grace("E") + signed("D", "<trill-mark/>")) == [(0, 72, "grace", (74,)), (0, 72, "trill", (71, 74))]


def test_they_are_played_out_with_their_notes():
    again = '<barline location="right"><repeat direction="backward"/></barline>'
    assert kept(DIVISIONS + grace("D") + note("C") + again) == [(0, 72, "grace", (74,)), (2, 72, "grace", (74,))]


def test_one_sentence_says_that_they_are_kept_apart():
    text = said(score(DIVISIONS + grace("D") + signed("C", "<trill-mark/>"), signed("D", "<turn/>")))
    assert "grace notes and ornaments are kept apart and not played unless asked for (--ornaments): measure 1, measure 2" in text
    assert "tremolo signs are not played, notes keep their written lengths: measure 1" in said(
        score(DIVISIONS + signed("C", "<tremolo>3</tremolo>"))
    )


def test_hidden_notes_that_play_an_ornament_out_are_left_out():
    # print-object="no": notation programs write a trill out in a voice that is not printed.
    hidden = "".join(note(step, 2, "<voice>3</voice>").replace("<note>", '<note print-object="no">') for step in "DE")
    data = score(DIVISIONS + signed("D", "<trill-mark/>") + "<backup><duration>4</duration></backup>" + hidden)
    assert heads(data) == [(0, 2, 74)]
    assert "notes that are not printed are left out beside printed ones: measure 1" in said(data)
    alone = score(DIVISIONS + hidden.replace("<voice>3</voice>", ""))
    assert heads(alone) == [(0, 1, 74), (1, 1, 76)]
    assert "notes that are not printed are played: measure 1" in said(alone)
