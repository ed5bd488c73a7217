"""What was asked for is done, and nothing that is told says otherwise; what found no room is counted. Worked out by hand."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.setting.fit import arrange
from jackrail.setting.losses import gather
from jackrail.setting.naming import spelt_name
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament
from jackrail.tune.read import parse_tune
from workshop import ensemble, tune

CHIMES = ensemble("tower_chimes").voices
ABC = b'X:1\nT:Graced\nM:4/4\nL:1/4\nQ:1/4=60\nK:G\n"G"G {B}A ~B2|"D"TA4|\n'
SCORE = b"""<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Pipe</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>1</duration></note>
<note><grace/><pitch><step>B</step><octave>4</octave></pitch></note>
<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>"""


def told(made, **wishes):
    full, setting = arrange(made, CHIMES, "Chimes", Wishes(transpose=0, tempo="100%", **wishes))
    assert (setting.warnings, setting.remarks) == (full.warnings, full.remarks)
    return " | ".join((*full.warnings, *full.remarks))


@pytest.mark.parametrize("data, name", [(ABC, "a.abc"), (SCORE, "a.musicxml")])
def test_ornaments_that_are_tried_are_not_said_to_be_kept_apart(data, name):
    made = parse_tune(data, name)
    assert "kept apart" in told(made)
    assert "kept apart" not in told(made, ornaments="all")
    assert "tried, as asked for (--ornaments all)" in told(made, ornaments="all")
    assert "of them only grace notes are tried, as asked for (--ornaments graces)" in told(made, ornaments="graces")


def test_chords_that_are_left_out_are_not_said_to_be_told():
    made = tune((67, "4"), chords=[(0, "G")], bars=1)
    made = replace(made, harmony="estimated", remarks=("no chord symbols are written: chords are told from track 2",))
    assert told(made) == "no chord symbols are written: chords are told from track 2"
    for wanted in ("written", "none"):
        assert told(made, harmony=wanted) == (
            "no chord symbols are written: chords could be told from track 2"
            f" | the chords told from the accompaniment are left out, as asked for (--harmony {wanted})"
        )


def test_written_chords_that_are_left_out_are_told():
    made = parse_tune(ABC, "a.abc")
    assert "the chords written in the file are left out, as asked for (--harmony none)" in told(made, harmony="none")
    assert "left out" not in told(made, harmony="written")


def test_what_finds_no_room_is_counted_and_told():
    """At 60: two grace notes at the very start; a turn, 5 pieces at 12 a second, on a note of a quarter of a second; one that fits."""
    made = tune((67, "1"), (69, "1/4"), (71, "3/4"), (69, "2"), tempo=60.0, bars=1)
    signs = [(0, 67, "grace", (69, 71)), (1, 69, "turn", (67, 71)), (2, 69, "upper-mordent", (67, 71))]
    made = replace(made, ornaments=tuple(Ornament(Fraction(at), midi, kind, keys) for at, midi, kind, keys in signs))
    full, setting = arrange(made, CHIMES, "Chimes", Wishes(transpose=0, tempo="100%", ornaments="all"))
    assert (setting.small_kept, setting.small_total) == (2, 8)
    assert setting.small_total - setting.small_kept == sum(loss.kind == "small-lost" for loss in setting.losses)
    assert [(row.written, row.reason, row.places) for row in gather(setting.losses)] == [
        ("grace notes before G4", "there is no time before its note", ("bar 1 beat 1",)),
        ("turn of A4", "its note is too short for it at the written tempo", ("bar 1 beat 2",)),
    ]
    assert {loss.index for loss in setting.losses} == {None}
    assert [loss.onset_s - setting.lead_in_s for loss in setting.losses] == pytest.approx([0, 0, 1, 1, 1, 1])
    assert setting.warnings == full.warnings == ("2 of 3 ornaments find no room and are left out, first at bar 1 beat 1",)


def test_losses_are_named_as_written_and_what_sounds_as_it_sounds():
    """Two semitones higher on the zither, which has D4, E4 and no F: the written Eb4 is lost, the written D3, an E3, sounds as E4."""
    made = tune((63, "1"), (50, "1"), (60, "2"), chords=[(0, "Fm7"), (2, "C7")], tempo=60.0, bars=1, sharps=0)
    setting = arrange(made, ensemble("quay_zither").voices, "Zither", Wishes(transpose=2, tempo="100%"))[1]
    assert [(loss.kind, loss.written, loss.played, loss.reason, loss.index) for loss in setting.losses] == [
        ("note-lost", "Eb4", "", "no voice has F within two octaves", 0),
        ("chord-lost", "Fm7", "", "no chord bar comes near it without a clash", None),
        ("note-folded", "D3", "E4", "no voice has E3", 1),
        ("chord-changed", "C7", "D", "the bar has the plain triad", None),
    ]
    assert [stroke.symbol for stroke in setting.strokes] == ["C7"]


# Spelling by key, taught in any theory of music; octaves by the letter (scientific pitch: Cb5 is the key below C5). Common practice.
@pytest.mark.parametrize(
    "sharps, midi, name",
    [
        (-4, 68, "Ab4"), (4, 68, "G#4"), (0, 70, "Bb4"), (0, 66, "F#4"), (0, 68, "G#4"), (1, 63, "D#4"), (-1, 61, "C#4"),
        (-1, 63, "Eb4"), (-6, 71, "Cb5"), (-6, 66, "Gb4"), (6, 65, "E#4"), (7, 60, "B#3"), (-3, 60, "C4"), (3, 65, "F4"),
    ],
)  # fmt: skip
def test_notes_of_the_tune_are_spelt_by_its_key(sharps, midi, name):
    assert spelt_name(midi, sharps) == name


def test_a_note_that_no_voice_has_is_spelt_alike_as_written_and_as_it_would_sound():
    """Ab in Ab major, and a tone higher Bb in Bb major: neither is on hammers for C."""
    made = tune((68, "1"), (60, "1"), tempo=60.0, bars=1, sharps=-4)
    for shift, sounding in ((0, "Ab"), (2, "Bb")):
        (loss, *_) = arrange(made, ensemble("quay_zither").voices, "Zither", Wishes(transpose=shift, tempo="100%"))[1].losses
        assert (loss.written, loss.reason) == ("Ab4", f"no voice has {sounding} within two octaves")
