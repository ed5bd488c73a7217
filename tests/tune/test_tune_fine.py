"""A tune ends at a Fine inside a bar; answers worked out by hand.

ABC 2.1 section 4.14: a decoration stands before its note, so the decorated note still sounds. MusicXML 4.0 <sound> fine: it "follows the
final note". What upbeats and ends of strains tell is common practice, no source.
"""

import pytest
from abc_reading import heads, read

from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import read_musicxml

NAMES = {60: "C", 62: "D", 64: "E", 65: "F", 67: "G", 69: "A", 71: "B", 72: "c", 74: "d"}


def played(music: str, header: str = "") -> str:
    return "".join(NAMES[note.midi] for note in read(music, header=header).notes)


def said(music: str) -> list[str]:
    return [warning for warning in read(music).warnings if "Fine" in warning]


@pytest.mark.parametrize(
    ("music", "order", "ends_q"),
    [
        # An upbeat of one quarter: the tune ends after three quarters of a bar, where the next strain's upbeat begins.
        ("G|C D E F|G3 !fine!A|c c c c|c3!D.C.alfine!|]", "GCDEFGAcccccGCDEFG", 24),
        ('G|C D E F|G3 "^Fine"A|c c c c|c3!D.C.alfine!|]', "GCDEFGAcccccGCDEFG", 24),
        # The word stands over the last note of the strain, and the upbeat of the next one follows.
        ('G|C D E F|E D "^Fine"C A|c c c c|c3!D.C.alfine!|]', "GCDEFEDCAcccccGCDEFEDC", 24),
        # No upbeat tells more: after the note under the sign.
        ("C D !fine!E F|G A B c|c4!D.C.alfine!|]", "CDEFGABccCDE", 15),
        ("C C C C|D !fine!D2 G|E E E E!D.C.!|]", "CCCCDDGEEEECCCCDD", 19),
        ("C D !fine!z F|c4!D.C.alfine!|]", "CDFcCD", 10),
        ("C D !fine![EG] F|c4!D.C.alfine!|]", "CDEGFcCDEG", 11),
        # Before the first note and at the last note the whole bar is meant.
        ("!fine!C D E F|c4!D.C.alfine!|]", "CDEFcCDEF", 12),
        ("C D E !fine!F|c4!D.C.alfine!|]", "CDEFcCDEF", 12),
        ("C D E !fine!z|c4!D.C.alfine!|]", "CDEcCDE", 12),
        # A last note where the upbeat belongs is the upbeat of what follows, even at the end of the strain.
        ("G|C D E F|G3 !fine!A||c c c c|c3!D.C.alfine!|]", "GCDEFGAcccccGCDEFG", 24),
        ("G|:C D E F|G3 !fine!A:|c c c c|c3!D.C.alfine!|]", "GCDEFGACDEFGAcccccGCDEFG", 32),
        ("|:G|C D E F|G3 !fine!G:|A A A A|A3!D.C.!G|]", "GCDEFGGGCDEFGGAAAAAGGCDEFG", 34),
        # The upbeat of the strain counts like that of the tune; one of another strain does not.
        ("c4||G|C D E F|G3 !fine!A|c4|c3!D.C.alfine!|]", "cGCDEFGAcccGCDEFG", 32),
        ("C D E !fine!F|G4||A|B4|c3!D.C.alfine!|]", "CDEFGABcCDEF", 20),
        # In an ending, and the way there.
        ("|:C4|1D4:|2E2 !fine!F G|A4|]c4!D.C.alfine!|]", "CDCEFGAcCEF", 31),
        # In the last bar of a strain all of it is meant, unless the upbeat tells more.
        ('C D "^Fine"E F||c4!D.C.alfine!|]', "CDEFcCDEF", 12),
        ('C D "^Fine"E F:|c4!D.C.alfine!|]', "CDEFCDEFcCDEF", 16),
        ('G|C D E F|E D "^Fine"C A||c c c c|c3!D.C.alfine!|]', "GCDEFEDCAcccccGCDEFEDC", 24),
        # Nothing leads back: Fine is a word.
        ("C D !fine!E F|G A B c|]", "CDEFGABc", 8),
    ],
)
def test_a_tune_ends_at_its_fine(music, order, ends_q):
    assert played(music) == order
    assert read(music).bars[-1].onset_q + read(music).bars[-1].length_q == ends_q


def test_the_two_pieces_are_one_bar_on_paper():
    tune = read("G|C D E F|G3 !fine!A|c c c c|c3!D.C.alfine!|]")
    assert [(bar.number, float(bar.starts_q)) for bar in tune.bars] == [
        (0, 3), (1, 0), (2, 0), (2, 3), (3, 0), (4, 0), (0, 3), (1, 0), (2, 0),
    ]  # fmt: skip
    assert not [warning for warning in tune.warnings if "holds" in warning]


def test_it_is_said_where_the_tune_stops():
    assert said("C D !fine!E F|c4!D.C.alfine!|]") == [
        "Fine stands inside bar 1 (line 7): the tune ends there, 3 quarters after the bar's beginning"
    ]
    assert said("!fine!C D E F|c4!D.C.alfine!|]") == []
    assert said("G|C D E F|G3 !fine!A||c c c c|c3!D.C.alfine!|]") == [
        "Fine stands inside bar 2 (line 7): the tune ends there, 3 quarters after the bar's beginning"
    ]
    assert said("C/ !fine!D/ E F G|c4!D.C.alfine!|]") == [
        "Fine stands inside bar 1 (line 7): the tune ends there, 1 quarter after the bar's beginning"
    ]
    assert said("C D !fine!E F||c4!D.C.alfine!|]") == ["Fine stands in the middle of bar 1 (line 7): the whole bar is played"]
    assert said("C D E !fine!F|c4!D.C.alfine!|]") == []


def test_what_begins_before_the_sign_sounds_on_and_ties_hold():
    # The overlaid C is held over the end when the music goes on, and cut there when the tune ends; the tie joins D to D both times.
    tune = read("C D- !fine!D F & C,4|c4!D.C.alfine!|]")
    assert heads(tune) == [(0, 4, 48), (0, 1, 60), (1, 2, 62), (3, 1, 65), (4, 4, 72), (8, 3, 48), (8, 1, 60), (9, 2, 62)]


def test_chords_ornaments_and_keys_stand_in_their_piece():
    tune = read('"C"C D "G"!fine!{A}G F|"F"c4!D.C.alfine!|]')
    assert [(float(chord.onset_q), chord.symbol) for chord in tune.chords] == [(0, "C"), (2, "G"), (4, "F"), (8, "C"), (10, "G")]
    assert [float(small.onset_q) for small in tune.ornaments] == [2, 10]


def test_parts_are_found_behind_a_cut_bar():
    # Section 3.1.9: P:AB plays A, then B. A ends with its own D.C. al Fine.
    tune = read("P:A\nC D !fine!E F|G4!D.C.alfine!|\nP:B\nc4|d4|]", header="P:AB\n")
    assert "".join(NAMES[note.midi] for note in tune.notes) == "CDEFGCDEcd"


def test_the_same_in_musicxml():
    # MusicXML 4.0 <sound>: fine "follows the final note or rest in a movement with a da capo or dal segno direction".
    def note(step: str) -> str:
        return f"<note><pitch><step>{step}</step><octave>4</octave></pitch><duration>1</duration></note>"

    fine = '<direction><direction-type><words>Fine</words></direction-type><sound fine="yes"/></direction>'
    back = '<direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo="yes"/></direction>'
    first = f"<attributes><divisions>1</divisions></attributes>{note('C')}{note('D')}{fine}{note('E')}{note('F')}"
    bars = f'<measure number="1">{first}</measure><measure number="2">{4 * note("G")}{back}</measure>'
    score = f'<score-partwise><part-list><score-part id="P1"/></part-list><part id="P1">{bars}</part></score-partwise>'
    tune = read_musicxml(open_musicxml(score.encode())[0], "t")
    assert "".join(NAMES[note.midi] for note in tune.notes) == "CDEFGGGGCD"
    assert "Fine stands inside bar 1: the tune ends there, 2 quarters after the bar's beginning" in tune.warnings


OLD = "X:1\nM:4/4\nL:1/4\nQ:1/4=90\nK:C\n"


@pytest.mark.parametrize(
    ("music", "order"),
    [  # old books write End and Sign; only a jump after them makes signs of these words (ours, no source)
        ('C D E "End"F|c4"D.C."|]', "CDEFcCDEF"),
        ('C D E "End"F|c4|]', "CDEFc"),
        ('c4"D.C."|C D E "End"F|d4|]', "ccCDEFd"),
        ('c4|"Sign"C D E "End"F|G4"D.S."|]', "cCDEFGCDEF"),
        ('c4|"Sign"C4|G4"D.C."|]', "cCGcCG"),
        ('C4|D4!fine!|"End"E4|c4"D.C."|]', "CDEcCD"),
    ],
)
def test_end_and_sign_are_signs_where_a_jump_follows(music, order):
    tune = read_abc(split_tunes(f"{OLD}{music}\n")[0])
    assert "".join(NAMES[note.midi] for note in tune.notes) == order


def test_end_is_told():
    tune = read_abc(split_tunes(f'{OLD}C D E "End"F|c4"D.C."|]\n')[0])
    assert 'the word "End" is followed as Fine, for a jump stands after it: bar 1 (line 6)' in tune.warnings
