"""Form, rhythm and voices of ABC where a plausible reading could be silently wrong.

Answers worked out by hand from ABC 2.1, sections as named; what is said, and when, is ours.
"""

import pytest
from abc_reading import heads, letters, read, told

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import list_abc, read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.score.playing_out import MAX_BARS

MANY = 2000


def tune_of(text: str):
    return read_abc(split_tunes(text)[0])


@pytest.mark.slow
@pytest.mark.parametrize("music", ["Z500|" * 41, "".join(f"V:{voice}\nC4|Z500|\n" for voice in range(41))])
def test_bars_of_rest_are_counted_before_they_are_made(music):
    with pytest.raises(BadInput) as caught:
        read(music)
    fault = caught.value.faults[0]
    assert (fault.code, fault.limit) == ("range", f"at most {MAX_BARS} in all voices")
    assert "column" in fault.where


@pytest.mark.parametrize(
    ("music", "lengths", "words"),
    [
        # Section 4.17: what stands in brackets may be of any kind; here only rests, of the first one's length.
        ("[z2]C [z4]D|", [(2, 1, 60), (7, 1, 62)], ""),
        ("[zz]2C|", [(2, 1, 60)], ""),
        ("[z2C]D|", [(0, 1, 60), (1, 1, 62)], ""),
        # Section 7.4: a line laid over begins at the bar's beginning, nothing goes on into it.
        ("C>&E2|", [(0, 1.5, 60), (0, 2, 64)], "broken rhythm lacks its second note before a line of music laid over (&): bar 1"),
        (
            "(3CD&E2|",
            [(0, 0.6667, 60), (0, 2, 64), (0.6667, 0.6667, 62)],
            "a tuplet lacks its last notes before a line of music laid over (&)",
        ),
        ("C2>D2&E2|", [(0, 3, 60), (0, 2, 64), (3, 1, 62)], ""),
        ("(3CD", [(0, 0.6667, 60), (0.6667, 0.6667, 62)], "a tuplet lacks its last notes: bar 1"),
        ("CD>", [(0, 1, 60), (1, 1.5, 62)], "broken rhythm lacks its second note: bar 1"),
    ],
)
def test_rhythms(music, lengths, words):
    tune = read(music, metre="none")
    assert heads(tune) == [(pytest.approx(onset_q, abs=1e-4), length_q, midi) for onset_q, length_q, midi in lengths]
    assert any(words in said for said in told(tune)) if words else not [said for said in told(tune) if "lacks" in said]


@pytest.mark.parametrize(("metre", "length"), [("6/4", 3 / 5), ("12/16", 3 / 5), ("15/8", 3 / 5), ("3/8", 2 / 5), ("3/4", 2 / 5)])
def test_a_compound_metre_has_beats_of_three(metre, length):
    # Section 4.13 asks for a compound time signature and names 6/8, 9/8, 12/8; that 6/4 and 12/16 are compound: common practice, no source.
    assert float(read("(5CDEFG", metre=metre, unit="1/4").notes[0].duration_q) == pytest.approx(length)


def test_no_rhythm_goes_on_into_the_line_laid_over():
    with pytest.raises(BadInput):
        read("C2&>D|")


def test_a_metre_behind_the_key_sets_no_note_length():
    # Section 3.1.7: the default goes by the metre of the header, and the header ends with K:. Without M: it is an eighth.
    assert [float(note.duration_q) for note in tune_of("X:1\nK:C\nM:2/4\nCDEF|\n").notes] == [0.5] * 4
    assert [float(note.duration_q) for note in tune_of("X:1\nM:2/4\nK:C\nCDEF|\n").notes] == [0.25] * 4
    assert [float(note.duration_q) for note in tune_of("X:1\nK:C\nM:2/4\nL:1/4\nCDEF|\n").notes] == [1] * 4


# Section 4.10: an ending ends at the beginning of the next part, too.
@pytest.mark.parametrize(
    ("header", "music", "wanted"),
    [
        ("P:A2B2\n", "P:A\nC|1D|2E|\nP:B\nG|1A|2B|", "CDCEGAGB"),
        ("P:A2B\n", "P:A\nC|1D|2E|\nP:B\nG|", "CDCEG"),
        ("", "P:A\n|:C|1D:|2E|\nP:B\nG|A:|", "CDCEGAGA"),
        ("", "|:C|1D:|2E|[P:B]G|A|", "CDCEGA"),
    ],
)
def test_a_part_ends_an_ending(header, music, wanted):
    assert letters(music, header=header) == wanted
    assert not any("two endings" in words or "never played" in words for words in read(music, unit="1/1", header=header).warnings)


@pytest.mark.parametrize(
    "music",
    [
        "P:A\n[V:1]C|\n[V:2]E|\nP:B\n[V:1]G|\n[V:2]B|",
        "V:1\nP:A\nC|\nP:B\nG|\nV:2\nP:A\nE|\nP:B\nB|",
        "V:1\nC|\nG|\nV:2\nP:A\nE|\nP:B\nB|",
    ],
)
def test_parts_are_those_of_all_voices(music):
    # Section 3.1.9: P: in the music marks the parts of the tune, whichever voice is being read.
    tune = read(music, unit="1/1", header="P:ABA\nV:1\nV:2\n")
    assert heads(tune) == [(0, 4, 60), (0, 4, 64), (4, 4, 67), (4, 4, 71), (8, 4, 60), (8, 4, 64)]
    assert not any("part" in words for words in tune.warnings)


def test_an_order_that_names_no_part_is_refused():
    # Section 3.1.9: the header plays the parts that it names, and here it names none that there is.
    with pytest.raises(BadInput) as caught:
        read("P:A\nC|", header="P:B2\n")
    assert caught.value.faults[0].what == "the order of parts names no part that the music marks"


def test_a_part_ends_the_endings_of_all_voices():
    music = "[V:1]|:C|1D:|2E|\n[V:2]|:C|1D:|2E|\nP:B\n[V:1]G|A:|\n[V:2]G|A:|"
    assert letters(music, header="V:1\nV:2\n") == "CDCEGAGA"


@pytest.mark.parametrize("sign", ["!fine!", "!D.C.!", '"Fine"', "!D.S.!"])
def test_a_jump_at_the_beginning_of_a_bar_is_told(sign):
    words = "a jump or Fine stands at the beginning of a bar, which is played before it is taken: bar 2"
    assert words in told(read(f"!segno!C|{sign}D|E|!D.C.!", unit="1/1"))
    assert words not in told(read(f"!segno!C|D{sign}|E|!D.C.!", unit="1/1"))


@pytest.mark.parametrize(
    ("music", "wanted"), [('C|D|]"^D.C."\nE|F|', "CDCDEF"), ("C|D|]!fine!\nE|!D.C.!", "CDECD"), ("C|!D.C.!\nD|", "CCD")]
)
def test_a_jump_behind_the_last_bar_line_of_a_line_belongs_to_the_bar_before(music, wanted):
    # Common practice, no source: it is printed at the end of the staff.
    assert letters(music) == wanted
    assert not any("beginning of a bar" in words for words in read(music, unit="1/1").warnings)


def test_the_voices_lead_in_the_order_of_the_header():
    # Section 7: V: in the header lists the voices; the repeats of the first are followed.
    music = "[V:2]E|F|\n[V:1]|:C:|D|"
    assert [number for number, _, _ in heads(read(music, unit="1/1", header="V:1\nV:2\n"))] == [0, 0, 4, 4, 8, 8]
    assert heads(read(music, unit="1/1")) == [(0, 4, 60), (0, 4, 64), (4, 4, 62), (4, 4, 65)]


@pytest.mark.parametrize(
    ("music", "words"),
    [
        ("[V:1]C4|D4|\n[V:2]E4|", "voice 2 has 1 bar, voice 1 has 2: it is silent after that"),
        (
            "[V:1]C4|\n[V:2]E4|\nK:G\n[V:1]F4|\n[V:2]F4|",
            "voice 2 is in another key than voice 1, for K: in the music holds for its own voice, from here on: bar 2",
        ),
        (
            "[V:1]C4|\n[V:2]E4|\nM:3/4\n[V:1]F4|\n[V:2]F3|",
            "voice 2 is in another metre than voice 1, for M: in the music holds for its own voice, from here on: bar 2",
        ),
    ],
)
def test_voices_that_differ_are_told(music, words):
    # Section 7: a field in the music holds for the voice that is being read.
    assert words in told(read(music))
    alone = read(music, voice="1")
    assert not [said for said in alone.warnings if "another" in said or "silent" in said]


def test_a_transposing_voice_in_its_own_key_agrees():
    header = "V:1\nV:2 transpose=-2\n"
    assert not any("another key" in words for words in read("[V:1]C4|\n[V:2][K:D]D4|", header=header).warnings)


def test_drums_are_no_melody():
    # Section 4.6: clef=perc is the clef of drums.
    header, music = "V:1\nV:D clef=perc\n", "[V:1]c4|\n[V:D]CCCC|"
    tune = read(music, header=header)
    assert heads(tune) == [(0, 4, 72)]
    assert tune.warnings == ("voice D has a clef of drums (perc) and is left out; --voice D reads it as notes",)
    assert len(read(music, header=header, voice="D").notes) == 4
    assert "voice 1 has a clef of drums (perc): it is read as notes" in read("C4|", "C perc").warnings
    offers = list_abc(split_tunes(f"X:1\nL:1/4\n{header}K:C\n{music}\n"))[1:]
    assert [(offer.title, offer.about, offer.chosen) for offer in offers] == [("1", "", True), ("D", "for drums", False)]


@pytest.mark.parametrize(
    "piece", ['["x{0}"C4|', "[Q:fast {0}]C4|", "[Q:x{0}=1]C4|", '"text {0}"C4|', "|1C4", "|:[1C4:|[1D4|]", "!fine!C4|"]
)
def test_what_is_told_a_thousand_times_is_one_sentence(piece):
    tune = read("".join(piece.format(number) for number in range(MANY)) + "|]")
    assert len(tune.warnings) + len(tune.remarks) < 12


@pytest.mark.parametrize("text, chord", [("D7alt", "D7"), ("C13(#11,b9,foo)", "C13#11b9"), ("N.C.", "N.C."), ("(Em)", "Em")])
def test_a_strange_chord_symbol_is_read_as_far_as_it_is_one(text, chord):
    """A chord that goes on under the next symbol would be a wrong chord (common practice, no source)."""
    tune = read(f'"G"GABc|"{text}"ddAA|"G"G4|]')
    assert [one.symbol for one in tune.chords] == ["G", chord, "G"]
    assert any("read as far as it is one" in warning for warning in tune.warnings) == (text[-1] in "t)" and text[0] != "(")


@pytest.mark.parametrize("text", ["Gently", "Dance", "A part", "B 2", "Add 9", "Allegro 7", "Chorus"])
def test_words_that_begin_with_a_root_are_no_chords(text):
    assert [one.symbol for one in read(f'"G"GABc|"{text}"ddAA|]').chords] == ["G"]
