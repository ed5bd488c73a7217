"""What the ABC reader tells its user, and where: lines beside bars, one sentence for one thing, a way out where there is one.

The answers are worked out by hand from ABC 2.1, sections as named; what is said, and when, is ours.
"""

import pytest
from abc_reading import heads, letters, read

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import MOST_READ, list_abc, read_abc
from jackrail.tune.abc.text import split_tunes


def fault(music: str, **header: str):
    with pytest.raises(BadInput) as caught:
        read(music, **header)
    assert len(caught.value.faults) == 1
    return caught.value.faults[0]


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("C4|D4|\nE4|F3|G4|]", "bar 4 (line 8) holds 3 quarters where 4/4 asks for 4: played as written"),
        ("C|D4|\nE3|!8va(!F4|]", "the decoration '8va(' is not known and is left out: bar 3 (line 8)"),  # counted after the upbeat
        ("C|D4-|\nE3|]", "ties that lead to no note of the same pitch are ignored: bar 1 (line 7)"),
        ("C4|\n|:D4|]", "the repeat that begins in bar 2 (line 8) never ends: played once"),
        ("C4|D4\n|!8va(!E4|]", "the decoration '8va(' is not known and is left out: bar 3 (line 8)"),
        ("[V:1]C|D4|\n[V:2]C|!8va(!D4|]", "the decoration '8va(' is not known and is left out: bar 1 (line 8)"),
    ],
)
def test_bars_are_told_with_their_number_on_paper_and_their_line(music, words):
    assert words in read(music).warnings


@pytest.mark.parametrize(
    ("music", "words", "notes"),
    [
        # Section 4.13: three notes in the time of two, whatever stands between them.
        (
            "(3AB|c d|]",
            "a tuplet goes on over a bar line: bar 1 (line 7)",
            [(0, 0.6667, 69), (0.6667, 0.6667, 71), (1.3333, 0.6667, 72), (2, 1, 74)],
        ),
        ("(3|ABc|]", "a tuplet goes on over a bar line: bar 1 (line 7)", [(0, 0.6667, 69), (0.6667, 0.6667, 71), (1.3333, 0.6667, 72)]),
        ("C (3AB", "a tuplet lacks its last notes: bar 1 (line 7)", [(0, 1, 60), (1, 0.6667, 69), (1.6667, 0.6667, 71)]),
        ("A>|B|]", "broken rhythm goes on over a bar line: bar 1 (line 7)", [(0, 1.5, 69), (1.5, 0.5, 71)]),
    ],
)
def test_rhythms_over_a_bar_line_are_told(music, words, notes):
    tune = read(music)
    assert words in tune.warnings
    assert [(pytest.approx(onset_q, abs=1e-4), length_q, midi) for onset_q, length_q, midi in notes] == heads(tune)


def test_a_whole_tuplet_is_not_told():
    assert not any("tuplet" in warning for warning in read("(3ABc d|(3ABc d|]").warnings)


def test_free_metre_is_shown_as_such():
    # Section 3.1.6: M:none is free metre.
    tune = read("C D E|[M:3/4]F G A|[M:none]B|]", metre="none")
    assert [(bar.free, bar.metre) for bar in tune.bars] == [(True, "none"), (False, "3/4"), (True, "none")]
    assert [bar[3] for bar in tune.to_json()["bars"]] == ["none", "3/4", "none"]


def test_a_chord_that_is_not_closed_is_told_where_it_opens():
    assert fault("G A [B c|d e f g|]").where == "line 7 column 5"


@pytest.mark.parametrize("name", ["trill", "fermata", "tril", "D.C.alfine"])
def test_a_decoration_that_is_not_closed_is_told_once(name):
    tune = read(f"C D !{name} E F|]")
    assert tune.warnings == (f"the ! before '{name}' is not closed by another: '{name}' is left out: line 7 column 5",)
    assert [note.midi for note in tune.notes] == [60, 62, 64, 65]


def test_a_decoration_with_a_colon_is_left_out_as_a_whole():
    tune = read("C4!fermat:a!D4|]")
    assert [note.midi for note in tune.notes] == [60, 62]
    assert "the decoration 'fermat:a' is not known and is left out: line 7 column 3" in tune.warnings


def test_a_single_exclamation_mark_still_breaks_a_line():
    # Section 10.2.1: ! as a line break of old files.
    tune = read("C D E F|!GABc|!fed c|]", unit="1/4")
    assert tune.warnings == ()
    assert len(tune.notes) == 12


@pytest.mark.parametrize(
    ("music", "chords"),
    [('"(Em)"G4|]', ["Em"]), ('"G"G2"(Em)"E2|]', ["G", "Em"]), ('"G(Em)"G4|]', ["G"]), ('"(G)(Em)"G4|]', []), ('"()"G4|]', [])],
)
def test_a_chord_in_brackets_is_the_chord(music, chords):
    # Section 4.18 has brackets around an alternative after a chord; alone in brackets a chord may be played (common practice, no source).
    tune = read(music)
    assert [chord.symbol for chord in tune.chords] == chords
    assert bool(tune.warnings) is (chords == [])


@pytest.mark.parametrize("symbol", ["Hm", "H7", "H"])
def test_the_german_h_is_explained(symbol):
    words = f"a text that is no chord symbol is left out (a German H is written B here, a German B Bb): '{symbol}' on line 7 column 1"
    assert read(f'"{symbol}"G4|]').warnings == (words,)


@pytest.mark.parametrize(
    ("tempo", "words", "later"),
    [
        ("fast", "the tempo 'fast' has no number: 120 quarter notes a minute are taken", "'fast'"),
        (
            "1/4=x9",
            "the tempo on line 5 cannot be read as a tempo: '1/4=x9': 120 quarter notes a minute are taken",
            "'1/4=x9' on line 5",
        ),
    ],
)
def test_a_tempo_that_says_nothing_is_one_sentence(tempo, words, later):
    assert read("C4|]", tempo=tempo).warnings == (words,)
    changed = read("C4|[Q:1/4=60]D4|]", tempo=tempo)
    assert changed.warnings == (f"a tempo that cannot be read as a number is left out: {later}",)


@pytest.mark.parametrize(
    ("header", "where", "what", "hint"),
    [
        ({"key": "Q"}, "line 6", "K: cannot be read as a key: 'Q'", "write a tonic and a mode such as G, Ador, F#m, or none"),
        ({"unit": "8"}, "line 4", "L: cannot be read as a note length: '8'", "write 1/8 or the like"),
        ({"metre": "4/0"}, "line 3", "M: '4/0' is no metre", "the lower number is 1, 2, 4, 8, 16, 32 or 64, the upper 1 to 64"),
    ],
)
def test_advice_stands_in_the_hint(header, where, what, hint):
    found = fault("C4|]", **header)
    assert (found.where, found.what, found.hint) == (where, what, hint)


@pytest.mark.parametrize(
    ("music", "words", "order"),
    [  # bars of whole notes; section 4.8: only a bar line ends a bar
        ("C\nD|E|]", "a bar runs on over the end of line 7, where it is full: is a bar line missing there?", "CDE"),
        ("C\nD\nE|]", "bars run on over the ends of lines 7, 8, where they are full: is a bar line missing there?", "CDE"),
        ("C\nD|\nE\nF|]", "bars run on over the ends of lines 7, 9, where they are full: is a bar line missing there?", "CDEF"),
    ],
)
def test_full_bars_without_a_bar_line_at_the_end_of_the_line_are_one_sentence(music, words, order):
    tune = read(music, unit="1/1")
    assert tune.warnings == (words,)
    assert letters(music) == order


def test_bars_that_go_on_in_the_next_line_as_they_should_are_not_told():
    assert read("C2\nD2|C4\n|D4|]").warnings == ()
    assert read("C D E F\nG A", metre="none").warnings == ()
    assert read("C4\nD2|E4|]").warnings == (
        "a bar runs on over the end of line 7, where it is full: is a bar line missing there?",
        "bar 1 (line 7) holds 6 quarters where 4/4 asks for 4: played as written",
    )


def test_of_tunes_with_one_number_only_the_first_is_offered():
    offers = list_abc(split_tunes("X:1\nT:a\nK:C\nC|]\n\nX:2\nT:b\nK:C\nD|]\n\nX:2\nT:c\nK:G\nE|]\n"))
    assert [offer.options for offer in offers] == [("--number", "1"), ("--number", "2"), ()]
    assert [offer.chosen for offer in offers] == [True, False, False]
    assert offers[2].about == "key G, its number is another tune's: only the first can be read"


def test_tunes_that_cannot_be_read_say_so_where_they_are_listed():
    good, no_key, slip = "X:1\nK:C\nC,2e|]\n", "X:2\nM:2/4\nA2|]\n", "X:3\nK:C\nA [B c|]\n"
    offers = list_abc(split_tunes(f"{good}\n{no_key}\n{slip}"))
    assert [(offer.notes, offer.lowest, offer.highest) for offer in offers] == [(2, 48, 76), (None, None, None), (None, None, None)]
    assert [offer.about for offer in offers] == [
        "key C",
        "2/4, cannot be read: line 7: music begins before the K: field",
        "key C, cannot be read: line 11 column 3: a chord [ is not closed before '|]'",
    ]
    assert offers[2].options == ("--number", "3")  # asking for it tells all that is wrong


def test_of_a_book_only_the_headers_are_looked_at():
    tunes = [f"X:{number}\nK:C\nC|]\n" for number in range(1, MOST_READ + 1)]
    offers = list_abc(split_tunes("\n".join([*tunes, "X:60\nK:Q\nC|]\n", "X:61\nM:2/4\n", "X:62\nK:C\n[\n"])))
    assert offers[0].notes is None
    line = 4 * MOST_READ
    assert [offer.about for offer in offers[-3:]] == [
        f"key Q, cannot be read: line {line + 2}: K: cannot be read as a key: 'Q'",
        f"2/4, cannot be read: line {line + 6}: the tune has no K: field",
        "key C",
    ]


def test_one_tune_that_cannot_be_read_is_still_listed():
    (offer,) = list_abc(split_tunes("X:1\nK:C\nA [B c|]\n"))
    assert offer.about == "key C, cannot be read: line 3 column 3: a chord [ is not closed before '|]'"


def test_a_mode_joined_to_an_accidental_is_read():
    # Section 3.1.14: D mixolydian has one sharp, F; the C is natural either way.
    tune = read_abc(split_tunes("X:1\nM:4/4\nL:1/4\nQ:1/4=90\nK:Dmix=c\nF c|]\n")[0])
    assert [note.midi for note in tune.notes] == [66, 72]
