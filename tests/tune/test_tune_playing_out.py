"""Playing order of repeats, endings, D.C., D.S., Fine and coda, on ABC tunes of one-note bars.

Sources: ABC 2.1 sections 4.8 and 4.9 for signs and restarts; MusicXML 4.0 <repeat>, <ending>, <sound>; that repeats are not taken
after a D.C. is common practice, no source.
"""

import pytest

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes

LETTERS = {60: "C", 62: "D", 64: "E", 65: "F", 67: "G", 69: "A", 71: "B", 72: "c"}


def read(music: str, header: str = ""):
    return read_abc(split_tunes(f"X:1\nM:2/4\nL:1/2\nQ:1/4=100\n{header}K:C\n{music}\n")[0])


def played(music: str, header: str = "") -> str:
    return "".join(LETTERS[note.midi] for note in read(music, header).notes)


@pytest.mark.parametrize(
    ("music", "order"),
    [
        ("|:C|D:|E|]", "CDCDE"),
        ("C|D:|E|F:|G|]", "CDCDEFEFG"),  # no sign to begin: start of the tune, then the last repeat sign
        ("C|D||E|F:|G|]", "CDEFEFG"),  # or the last double bar
        ("|:C|D||E:|F|]", "CDECDEF"),  # an open |: is stronger than a double bar
        ("|:C::D:|", "CCDD"),
        ("|:C:|:D:|", "CCDD"),
        ("|:C:||:D:|", "CCDD"),
        ("|::C::|D|]", "CCCD"),  # extra colons: three times
        ("|:C|1D:|2E|]", "CDCE"),
        ("|:C|1 D|E:|2 F|G|]", "CDECFG"),
        ("|:C|[1 D:|[2 E||F|]", "CDCEF"),
        ("|:C|1D:|2E:|", "CDCE"),
        ("|:C|1,3D:|2E:|4F|]", "CDCECDCF"),
        ("|:C|1-3D:|4E|]", "CDCDCDCE"),
        ("|:C|1D:|E|]", "CDCE"),  # no second bracket: the first is left out
        ("|:C|1D:|2E|:F:|", "CDCEFF"),
        ("C|D!fine!|E|F!D.C.!|]", "CDEFCD"),
        ("C|D!fine!|E|F!D.C.alfine!|]", "CDEFCD"),
        ('C|"^Fine"D|E|"^D.C. al Fine"F|]', "CDEFCD"),
        ("C|!segno!D|E!fine!|F!D.S.!|]", "CDEFDE"),
        ("C|!segno!D|E!dacoda!|F!D.S.alcoda!|!coda!G|]", "CDEFDEG"),
        ("C|D!coda!|E|F!D.C.alcoda!|!coda!G|]", "CDEFCDG"),
        ("|:C:|D!fine!|E!D.C.!|]", "CCDECD"),
        ("|:C|1D:|2E!fine!||F!D.C.!|]", "CDCEFCE"),
        ("SC|D|E/OE/|F!D.S.!|OG|]", "CDEEFCDEEG"),  # S and O are segno and coda (section 4.14)
        ("SC|D|OE|F!D.S.!|OG|]", "CDEFCDG"),
        ("C|D!D.C.!|]", "CDCD"),
    ],
)
def test_order(music, order):
    assert played(music) == order


def test_parts_in_the_order_of_the_header():
    assert played("P:A\n|:C:|\nP:B\nD|]", "P:ABA\n") == "CCDCC"
    assert played("P:A\nC|\nP:B\nD|]", "P:(AB)2A2\n") == "CDCDCC"


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("|:C|D|]", "the repeat that begins in bar 1 never ends: played once"),
        ("|:C:|D!fine!|E!D.C.!|]", "after the D.C. in bar 3 repeats are not taken again"),
        ("C|D!D.S.!|]", "D.S. in bar 2 has no segno to go back to: played straight on"),
        ("C|D!D.C.alfine!|]", "al Fine is written but no Fine: the tune is played again to its end"),
        ("|:C|1D:|2E:|", "the last ending, up to bar 3, closes with a repeat sign: it is played once"),
        ("C!D.C.!|D!D.C.!|]", "the jump at the end of bar 2 is not taken: one was taken before"),
    ],
)
def test_what_is_assumed_is_said(music, words):
    assert words in read(music).warnings


def test_written_numbers_and_times():
    tune = read("C/|:D|1E:|2F|]")
    assert [(bar.number, bar.time) for bar in tune.bars] == [(0, 1), (1, 1), (2, 1), (1, 2), (3, 1)]
    assert tune.pickup_q == 1
    assert tune.place(tune.bars[3].onset_q) == "bar 1 beat 1 (2nd time)"
    assert tune.place(tune.notes[0].onset_q) == "bar 0 beat 2"


def test_a_bar_cut_by_a_repeat_sign_is_one_bar_without_warning():
    tune = read("C/|D|E/:|F/|G|A/:|")
    assert [bar.number for bar in tune.bars[:6]] == [0, 1, 2, 0, 1, 2]
    assert not [warning for warning in tune.warnings if "holds" in warning]


def test_chords_are_carried_back():
    # On going back, bar 2 is under C again although its symbol stands in bar 1.
    tune = read('"C"C|:D|"G"E:|F|]')
    assert [(float(chord.onset_q), chord.symbol) for chord in tune.chords] == [(0, "C"), (4, "G"), (6, "C"), (8, "G")]


def test_tempo_and_key_are_carried_back():
    tune = read("C|:D|[Q:1/4=50][K:G]F:|")
    assert [(float(mark.onset_q), mark.quarters_per_minute) for mark in tune.tempo] == [(0, 100), (4, 50), (6, 100), (8, 50)]
    assert [(float(mark.onset_q), mark.sharps) for mark in tune.keys] == [(0, 0), (4, 1), (6, 0), (8, 1)]


def test_a_tie_leads_into_either_ending():
    tune = read("|:C-|1C:|2C|]")
    assert [(float(note.onset_q), float(note.duration_q)) for note in tune.notes] == [(0, 4), (4, 4)]


def test_a_tie_without_partner_keeps_its_note():
    tune = read("C-|D|]")
    assert [(float(note.onset_q), float(note.duration_q)) for note in tune.notes] == [(0, 2), (2, 2)]
    assert "ties that lead to no note of the same pitch are ignored: bar 1" in tune.warnings


def test_endless_playing_out_is_refused():
    header = "P:" + "".join(["A99"] * 5) + "\n"
    with pytest.raises(BadInput, match="far too long"):
        read("P:A\n" + "|:" + "C|" * 60 + "C:|", header)
