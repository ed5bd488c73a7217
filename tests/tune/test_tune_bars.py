"""Where bars begin: upbeats and bars that a repeat sign cuts in two, counted as musicians count them (common practice, no source)."""

from fractions import Fraction

import pytest
from abc_reading import told

from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import read_musicxml
from jackrail.tune.read import read_tune
from workshop import ROOT


def abc(music: str, metre: str = "4/4"):
    return read_abc(split_tunes(f"X:1\nM:{metre}\nL:1/4\nQ:1/4=100\nK:C\n{music}\n")[0])


def starts(tune) -> list[tuple[int, float]]:
    return [(bar.number, float(bar.starts_q)) for bar in tune.bars]


# Written music of quarters -> number and starting quarter of each bar as played out.
CASES = [
    ("C4|D4|]", [(1, 0), (2, 0)]),
    ("C|D4|E3|]", [(0, 3), (1, 0), (2, 0)]),
    ("C|D4|E3:|", [(0, 3), (1, 0), (2, 0), (0, 3), (1, 0), (2, 0)]),
    ("C4|D3:|E|F4|]", [(1, 0), (2, 0), (1, 0), (2, 0), (2, 3), (3, 0)]),
    ("C|D4|E3:|:F|G4|A3:|", [(0, 3), (1, 0), (2, 0), (0, 3), (1, 0), (2, 0), *[(2, 3), (3, 0), (4, 0)] * 2]),
    ("C4|D2||E2|F4|]", [(1, 0), (2, 0), (2, 2), (3, 0)]),
    ("C2||D2||E2||F2|G4|]", [(1, 0), (1, 2), (2, 0), (2, 2), (3, 0)]),  # of four halves in a row two are second ones
    ("|:C4|D2|1E2:|2F2|G4|]", [(1, 0), (2, 0), (2, 2), (1, 0), (2, 0), (2, 2), (3, 0)]),
    ("C4|D4:|:E|F4|G3:|", [(1, 0), (2, 0), (1, 0), (2, 0), *[(2, 3), (3, 0), (4, 0)] * 2]),  # an upbeat too many is one still
    ("C4|D3|E4|]", [(1, 0), (2, 0), (3, 0)]),  # a slip in the middle is no upbeat
    ("C2|]", [(1, 0)]),
    ("C4|D||E2||F|G4|]", [(1, 0), (2, 0), (2, 1), (2, 3), (3, 0)]),  # a bar in three pieces
    ("C4|D||E:|F2||G4|]", [(1, 0), (2, 0), (2, 1), (2, 1), (2, 2), (3, 0)]),
    ("|:C4|D2|1E2|F4:|2F2|G4|]", [(1, 0), (2, 0), (2, 2), (3, 0), (1, 0), (2, 0), (3, 2), (4, 0)]),  # brackets of several bars
]


@pytest.mark.parametrize("music, wanted", CASES)
def test_where_bars_begin(music, wanted):
    assert starts(abc(music)) == wanted


@pytest.mark.parametrize("music, wanted", CASES)
def test_every_bar_lies_inside_a_full_one(music, wanted):
    for bar in abc(music).bars:
        assert bar.starts_q + bar.length_q <= Fraction(4 * bar.beats, bar.beat_unit)
        assert bar.downbeat == (bar.starts_q == 0)


def test_without_a_metre_every_bar_begins_at_its_beginning():
    assert starts(abc("C|D4|E2||F2|]", "none")) == [(1, 0), (2, 0), (3, 0), (4, 0)]


def test_the_jig_of_the_examples_is_counted_from_its_paper():
    tune = read_tune(ROOT / "tunes" / "gull_steps.abc")
    quaver = Fraction(1, 2)
    assert tune.place(Fraction(0)) == "bar 0 beat 6"
    assert tune.place(quaver) == "bar 1 beat 1"
    part_q = 8 * 6 * quaver  # eight bars of six quavers, the upbeat at their beginning, five at their end
    assert tune.place(part_q) == "bar 0 beat 6 (2nd time)"
    assert tune.place(2 * part_q) == "bar 8 beat 6"  # the upbeat of the second part ends bar 8
    assert tune.place(2 * part_q + quaver) == "bar 9 beat 1"
    assert tune.place(3 * part_q) == "bar 8 beat 6 (2nd time)"
    assert [bar[5] for bar in tune.to_json()["bars"]].count(2.5) == 4


def measure(attributes: str, quarters: int, before: str = "", after: str = "") -> str:
    note = f"<note><pitch><step>C</step><octave>5</octave></pitch><duration>{quarters}</duration></note>"
    return f"<measure {attributes}>{before}{note}{after}</measure>"


DIVISIONS = "<attributes><divisions>1</divisions></attributes>"
REPEAT = '<barline><repeat direction="backward"/></barline>'


def musicxml(*measures: str):
    return read_musicxml(open_musicxml(f"<score-partwise><part id='P1'>{''.join(measures)}</part></score-partwise>".encode())[0], "t")


def test_a_score_says_itself_what_is_no_bar_of_its_own():
    # MusicXML 4.0 <measure>: implicit="yes" for pickups and split measures, whose number is not shown.
    tune = musicxml(
        measure('number="0" implicit="yes"', 1, DIVISIONS),
        measure('number="1"', 4),
        measure('number="2"', 3, after=REPEAT),
        measure('number="0" implicit="yes"', 1),
        measure('number="3"', 4),
    )
    assert starts(tune) == [(0, 3), (1, 0), (2, 0), (0, 3), (1, 0), (2, 0), (2, 3), (3, 0)]
    assert tune.pickup_q == 1
    assert tune.place(tune.bars[6].onset_q) == "bar 2 beat 4"


def test_a_first_bar_after_an_upbeat_begins_on_its_downbeat_even_when_it_is_short():
    tune = musicxml(measure('number="0" implicit="yes"', 1, DIVISIONS), measure('number="1"', 3, after=REPEAT), measure('number="2"', 4))
    assert starts(tune)[:2] == [(0, 3), (1, 0)]


def test_the_upbeat_is_that_of_the_bar_played_first():
    tune = abc("|2C||D|E4!D.C.!|]")  # the bracket is for the time after the jump
    assert [note.midi for note in tune.notes] == [62, 64, 60, 62, 64]
    assert (tune.pickup_q, tune.bars[0].starts_q) == (1, 3)


@pytest.mark.parametrize(
    ("music", "said"),
    [
        ("C4|D3|E4|]", ["bar 2 holds 3 quarters where 4/4 asks for 4: played as written"]),
        ("C4|D5|E4|]", ["bar 2 holds 5 quarters where 4/4 asks for 4: played as written"]),
        ("C4|D||E2||F|G4|]", []),  # three pieces of one bar
        ("CD|:EF|GABc|de:|", []),  # two halves of the first bar, and of the last
        ("CD|:E|GABc|de:|", ["bar 1 holds 2 quarters where 4/4 asks for 4: played as written"]),
        ("C4|D||E||F|G4|]", ["bar 2 holds 1 quarter where 4/4 asks for 4: played as written"]),  # three pieces of three quarters: no bar
        ("C|D4|E3:|F|G4|A3|]", []),  # pickups at the beginnings of sections, completed at their ends
        ("C4|D4:|:E|F4|G3:|", []),
        ("C|D4|E2[1F:|[2F2||G4|A4|]", []),  # a bar of two pieces that the upbeat completes
        ("V:1\nC4|D4|]\nV:2\nE4|F4|]", []),
        ("V:1\nC4|D4|]\nV:2\nE4|F3|]", ["voice 2 of bar 2 holds 3 quarters, voice 1 holds 4: played as written"]),
    ],
)
def test_lengths_that_do_not_fit_are_said(music, said):
    # ABC 2.1 section 3.1.6 and common practice for upbeats, no source.
    assert [warning for warning in told(abc(music)) if "holds" in warning][:1] == said


@pytest.mark.parametrize(("count", "said"), [(7, "1 more bar does not fit its metre"), (8, "2 more bars do not fit their metre")])
def test_only_the_first_bars_that_do_not_fit_are_said_one_by_one(count, said):
    warnings = abc("C4|" + "D3|" * count + "C4|]").warnings
    assert len(warnings) == 7
    assert warnings[-1] == f"{said}: played as written"
