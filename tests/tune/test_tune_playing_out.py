"""Playing order of repeats, endings, D.C., D.S., Fine and coda, on ABC tunes of one-note bars and on random scores.

Sources: ABC 2.1 sections 4.8 to 4.10 for signs, restarts and endings; MusicXML 4.0 <repeat>, <ending>, <sound>; what is done after a
D.C. or D.S. is common practice, no source. Judges of random scores: judges/finger.py, another method, and music21's repeat.Expander.
"""

from fractions import Fraction

import pytest
from abc_reading import told
from hypothesis import assume, given
from judges.finger import finger_order
from judges.made_scores import for_music21, made_scores

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.playing_out import play_order
from jackrail.tune.score.written import Notes, WrittenBar, WrittenNote, WrittenOrnament
from workshop import examples

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
        # A later jump is followed, too; each is taken once.
        ("!segno!C|D!D.S.!|E|F!D.C.!|]", "CDCDEFCDEF"),
        ("!segno!C|D!D.S.!|!segno!E|F!D.S.!|]", "CDCDEFEF"),
        ("C|D!dacoda!|E!D.C.alcoda!|!coda!F|G!fine!|A!D.C.alfine!|]", "CDECDFGACDEFG"),
        # The segno at a D.S. only says where that goes; with none before there is nowhere to go.
        ("C|!segno!D|E!segno!!D.S.!|]", "CDEDE"),
        ("C|D!segno!!D.S.!|]", "CD"),
        # Segno, coda and Fine in and around repeats.
        ("|:C|!segno!D:|E!D.S.!|]", "CDCDEDE"),
        ("|:C|1D:|2!segno!E:|F!D.S.!|]", "CDCEFEF"),
        ("|:C|1!segno!D:|2E|]F!D.S.!|]", "CDCEFDF"),
        ("!segno!|:C|1D:|2E|]F!D.S.!|]", "CDCEFCEF"),
        ("|:C|D!fine!:|E!D.C.!|]", "CDCDECD"),
        ("|:C|1D!fine!:|2E|]F!D.C.alfine!|]", "CDCEFCD"),
        ("|:C|1D!dacoda!:|2E|]F!D.C.alcoda!|]!coda!G|]", "CDCEFCDG"),
        ("|:C|1D!D.C.!:|2E|]F!fine!|]", "CDCEF"),
        ("C|!coda!D|E!D.C.alcoda!|!coda!F|]", "CDECF"),
        # To Coda is where to leave: after its bar at the end of one, before it at the beginning (common practice, no source).
        ("C|D!dacoda!|E!D.C.alcoda!|!coda!F|]", "CDECDF"),
        ("C|!dacoda!D|E!D.C.alcoda!|!coda!F|]", "CDECF"),
        ('C|"^To Coda"D|E!D.C.alcoda!|!coda!F|]', "CDECF"),
        ("C|D!coda!|E!D.C.alcoda!|!coda!F|]", "CDECDF"),
        ("|:C|1D:|2!dacoda!E||F!D.C.alcoda!|!coda!G|]", "CDCEFCG"),
        # A repeat that comes after the jump is met for the first time.
        ("C!dacoda!|D!D.C.alcoda!|]|:!coda!E|F:|", "CDCEFEF"),
        ("C|D!D.C.!|]|:E:|", "CDCDEE"),
        # Endings in any order, with gaps, twice the same, with the numbers of several, without a sign.
        ("|:C|2D:|1E|]F|]", "CECDF"),
        ("|:C|1D:|3E|]F|]", "CDCEF"),
        ("|:C|1D:|1,2E|]F|]", "CECEF"),
        ("|:C:|2D|]E|]", "CCDE"),
        ("|:C:|2,4D:|E|]", "CCDCCDE"),
        ("|:C|D|2E:|F|]", "CDCDEF"),
        ("|:C|1D|2E|]F|]", "CDCEF"),
        ("|:C|1D|2E|]F!D.C.!|]", "CDFCEF"),
        ("C|2D|]E|]", "CDE"),
        ("|:C|1D|E:|2F|G|]A|]", "CDECFGA"),
        ("|::C|1D::|2E|]", "CDCE"),
        ("|::C|1,2D:|3E|]", "CDCDCE"),
        # What stands after a Fine is a part of its own.
        ("|:C:|D!fine!|E:|F!D.C.!|]", "CCDEEFCD"),
        # A repeat inside a repeat.
        ("|:C|:D:|E:|F|]", "CDDEEF"),
    ],
)
def test_order(music, order):
    assert played(music) == order


@pytest.mark.parametrize(
    ("order", "music", "wanted"),
    [
        ("ABA", "P:A\n|:C:|\nP:B\nD|]", "CCDCC"),
        ("(AB)2A2", "P:A\nC|\nP:B\nD|]", "CDCDCC"),
        ("AB", "P:A\n|:C|1D:|2E:|\nP:B\n|1F:|2G|]", "CDCEFG"),  # a repeat does not go on into the next part
        # A D.C. is to the beginning of the tune, a D.S. to its segno in whatever part (common practice, no source).
        ("AB", "P:A\nC|D!fine!|\nP:B\nE|F!D.C.!|]", "CDEFCD"),
        ("ABA", "P:A\nC|D!fine!|\nP:B\nE|F!D.C.!|]", "CDEFCD"),
        ("ABAB", "P:A\nC|D!fine!|\nP:B\nE|F!D.C.!|]", "CDEFCDEFCD"),
        ("AB", "P:A\nC|!segno!D!fine!|\nP:B\nE|F!D.S.!|]", "CDEFD"),
        ("AB", "P:A\nC|D!dacoda!|\nP:B\nE!D.C.alcoda!|!coda!F|]", "CDECDF"),
        ("ABC", "P:A\n!segno!C|D!dacoda!|\nP:B\nE!D.S.alcoda!|\nP:C\n!coda!F|]", "CDECDF"),
        ("AB", "C|\nP:A\nD!fine!|\nP:B\nE!D.C.!|]", "CDECD"),  # what stands before the parts is the beginning
        ("AB", "P:A\n|:C:|D!fine!|\nP:B\nE!D.C.!|]", "CCDECD"),
        ("A2B", "P:A\nC|1D|2E!fine!|\nP:B\nF!D.C.!|]", "CDCEFCDCE"),
        # In a part with its own Fine, while others follow, it is the part's own.
        ("AB", "P:A\nC!fine!|D!D.C.!|\nP:B\nE|]", "CDCE"),
        ("ABA", "P:A\nC|D!fine!|E!D.C.!|\nP:B\nF|]", "CDECDFCDECD"),
        ("AB", "P:A\nC!fine!|D!D.C.!|\nP:B\nE!D.C.!|]", "CDCECDC"),
        ("AB", "P:A\nC|D!D.C.!|\nP:B\nE|]", "CDCDE"),
    ],
)
def test_parts_in_the_order_of_the_header(order, music, wanted):
    assert played(music, f"P:{order}\n") == wanted


@pytest.mark.parametrize(
    ("order", "music", "words"),
    [
        (
            "AB",
            "P:A\nC|D!fine!|\nP:B\nE|F!D.C.!|]",
            "the D.C. in part B is taken the last time that the part is played and goes back to the beginning of the tune",
        ),
        ("AB", "P:A\n!segno!C!fine!|\nP:B\nE!D.S.!|]", "the D.S. in part B is taken the last time that the part is played"),
        (
            "AB",
            "P:A\nC!fine!|D!D.C.!|\nP:B\nE|]",
            "the D.C. in part A is taken within the part, for the order of parts goes on after it",
        ),
        ("ABC", "P:A\nC!fine!|\nP:B\nE!D.C.!|\nP:C\nF|]", "bar 3 is never played: check the repeats and endings"),
        ("A2", "P:A\nC|1D|2E|3F|]", "bar 4 is never played: check the repeats and endings"),
    ],
)
def test_jumps_between_parts_are_told(order, music, words):
    assert words in told(read(music, f"P:{order}\n"))


def test_bars_played_once_at_least_are_not_said_to_be_missing():
    assert not any("never" in said for said in told(read("P:A\nC|D!fine!|\nP:B\nE|F!D.C.!|]", "P:ABA\n")))


@pytest.mark.parametrize(
    ("music", "order", "anew"),
    [  # old books; that a first ending after a last one begins anew is our reading, no source
        ("|:C|1D:|2E|G|1A:|2B|]", "CDCEGAGB", ["bar 4"]),
        ("|:C|1D|C:|2E|F|G|1A|A:|2B|B|]", "CDCCEFGAAGBB", ["bar 6"]),
        ("|:C|1D:|2E|F|G|1A:|2B|C|D|1E:|2F|]", "CDCEFGAFGBCDECDF", ["bar 4", "bar 8"]),
        ("|:C|1D:|2E||G|1A:|2B|]", "CDCEGAGB", []),
        ("|:C|1D:|2E|G|]", "CDCEG", []),
    ],
)
def test_a_new_first_ending_begins_a_new_repeat(music, order, anew):
    tune = read(music)
    assert "".join(LETTERS[note.midi] for note in tune.notes) == order
    said = "a first ending after a last one is of a new repeat, taken to begin after as many bars as its like: " + ", ".join(anew)
    assert (said in told(tune)) == bool(anew)


@pytest.mark.parametrize(
    ("music", "words"),
    [  # each ambiguous form that sections.py and playing_out.py list
        ("|:C|D|]", "the repeat that begins in bar 1 never ends: played once"),
        ("|:C:|D!fine!|E!D.C.!|]", "after the D.C. in bar 3 repeats are not taken again"),
        ("C|D!D.S.!|]", "D.S. in bar 2 has no segno to go back to: played straight on"),
        ("C|D!D.C.alfine!|]", "al Fine is written but no Fine: the tune is played again to its end"),
        ("|:C|1D:|2E:|", "the last ending, up to bar 3, closes with a repeat sign: it is played once"),
        ("C!D.C.!|D!D.C.!|]", "the D.C. in bar 1 is not taken again after the D.C. in bar 2"),
        (
            "C|D||E:|",
            (
                "the repeat sign at the end of bar 3 has no beginning: "
                "it goes back to the double bar, part or Fine before bar 3 (ABC 2.1 section 4.8)"
            ),
        ),
        ("|:C|:D:|E:|", "the repeat that begins in bar 1 never ends: played once"),
        (
            "|:C|:D:|E:|",
            "a repeat stands inside another up to bar 3: the outer one is played once, and the repeat sign there goes back to bar 3",
        ),
        ("|:C|2D:|1E|]", "the endings from bar 2 on do not stand in order: they are played by their numbers"),
        ("|:C|1D:|3E|]", "none of the endings from bar 2 on is for pass 2: it is left out"),
        ("|:C|D|2E:|F|]", "none of the endings from bar 3 on is for pass 1: it is played without"),
        ("|:C|1D:|1,2E|]", "two of the endings from bar 2 on are for pass 1: the later is played"),
        ("|:C|1D:|1,2E|]", "bar 2 is never played: check the repeats and endings"),
        ("|::C|1D::|2E|]", "the endings from bar 2 on are for 2 passes, a repeat sign asks for 3: the endings are followed"),
        ("|:C|1D|2E|]", "endings from bar 2 on have no repeat sign: the repeat they ask for is played"),
        ("|:C|1D|2E|]F!D.C.!|]", "endings from bar 2 on have no repeat sign: the first is played first, the last after a jump"),
        ("C|2D|]E|]", "endings from bar 2 on have no repeat sign: played as plain music"),
        (
            "|:C|1D!D.C.!:|2E|]F|]",
            "in bar 2 a repeat sign and the D.C. stand under an ending: the D.C. is followed",
        ),
        ("|:C|1!segno!D:|2E|]F!D.S.!|]", "bar 2, where the jump leads, is under an ending: that ending is played"),
        ("|:C|1D!fine!:|2E|]F!D.C.!|]", "after the jump the ending of bar 2 is played, where the Fine stands"),
        ("|:C|1D!dacoda!:|2E|]F!D.C.!|]!coda!G|]", "after the jump the ending of bar 2 is played, where the way to the coda stands"),
        ("!segno!C|!segno!D|E!D.S.!|]", "of two segno signs before the D.S. in bar 3 the nearest, in bar 2, is taken"),
        ("C|!coda!D|E!D.C.alcoda!|!coda!F|]", "of two coda signs the first, in bar 2, is taken as the place to leave"),
        ("C|!coda!D|E!dacoda!|F!D.C.!|]", "the coda in bar 2 lies before the place to leave for it: played straight on"),
        ("C|!dacoda!D|E!D.C.alcoda!|!coda!F|]", "To Coda stands at the beginning of bar 2: this bar is left out after the jump"),
        ("C|D!D.C.alcoda!|]", "D.C. al Coda in bar 2 lacks a coda sign: the tune is played again to its end"),
        ("C!D.C.!|D!fine!|E!D.C.!|]", "the Fine in bar 2 is passed by: a jump stands behind it"),
        ("C|D!fine!|E|]", "Fine stands in bar 2, but no D.C. or D.S. leads back: played straight on"),
        ("!segno!C|D|]", "a segno or coda sign is not followed: the tune has no D.C. or D.S."),
    ],
)
def test_what_is_assumed_is_said(music, words):
    assert words in told(read(music))


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
    assert "ties that lead to no note of the same pitch are ignored: bar 1" in told(tune)


def test_endless_playing_out_is_refused():
    header = "P:" + "".join(["A99"] * 5) + "\n"
    with pytest.raises(BadInput, match="far too long"):
        read("P:A\n" + "|:" + "C|" * 60 + "C:|", header)


@examples(300)
@given(made_scores())
def test_random_scores_are_played_as_by_a_finger_on_the_score(bars):
    assert play_order(bars, Notes()) == finger_order(bars)


def as_by_music21(bars) -> bool:
    from music21 import repeat  # noqa: PLC0415 - slow to import

    expander = repeat.Expander(for_music21(bars))
    assume(expander.isExpandable())
    return play_order(bars, Notes()) == [note.pitch.midi - 24 for note in expander.process().recurse().notes]


@pytest.mark.slow
@examples(100)
@given(made_scores(jumps=False, by_pass=False))
def test_random_repeats_and_endings_are_played_as_by_music21(bars):
    assert as_by_music21(bars)


@pytest.mark.slow
@examples(150)
@given(made_scores(endings=False, by_pass=False))
def test_random_jumps_are_played_as_by_music21(bars):
    # It leaves endings alone where there is a jump, and takes no repeat after one, even where the music is met for the first time.
    jump = next((index for index, bar in enumerate(bars) if bar.jump), len(bars))
    assume(not any(bar.repeat_end for bar in bars[jump + 1 :]))
    assert as_by_music21(bars)


def bars_of(*signs: dict[str, object]) -> list[WrittenBar]:
    return [WrittenBar(number, length_q=Fraction(1), **sign) for number, sign in enumerate(signs, 1)]


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        # MusicXML 4.0 <repeat> after-jump: the repeat is played after a jump, too.
        (bars_of({"repeat_start": True, "repeat_end": 2, "after_jump": True}, {"jump": "capo"}), [0, 0, 1, 0, 0, 1]),
        (bars_of({"repeat_end": 3, "after_jump": True}, {"repeat_end": 2}, {"jump": "capo"}), [0, 0, 0, 1, 1, 2, 0, 0, 0, 1, 2]),
        # MusicXML 4.0 <sound> time-only: the times through on which a jump is taken.
        (bars_of({}, {"jump": "capo", "jump_on": frozenset({1, 2})}, {}), [0, 1, 0, 1, 0, 1, 2]),
        (bars_of({}, {"repeat_start": True}, {"jump": "segno", "jump_on": frozenset({1}), "repeat_end": 2}), [0, 1, 2, 1, 2]),
        (
            bars_of({"segno": ""}, {"repeat_start": True, "repeat_end": 3, "jump": "segno", "jump_on": frozenset({2})}, {}),
            [0, 1, 1, 0, 1, 2],
        ),
        # Labels tell several signs apart (MusicXML 4.0 <sound> segno, dalsegno, coda, tocoda).
        (bars_of({"segno": "a"}, {"segno": "b"}, {"jump": "segno", "jump_label": "a"}, {}), [0, 1, 2, 0, 1, 2, 3]),
        (
            bars_of({}, {"to_coda": "x"}, {"jump": "capo", "until": "coda"}, {"coda": "x"}, {"coda": "y"}),
            [0, 1, 2, 0, 1, 3, 4],
        ),
    ],
)
def test_passes_and_labels(bars, order):
    assert play_order(bars, Notes()) == order


def test_lengths_without_a_common_measure_are_refused():
    # 100 bars of 1/p of a quarter, p the primes from 1009 on: their smallest common part is beyond any clock.
    primes = [number for number in range(1009, 2000) if all(number % divisor for divisor in range(2, 45))][:100]
    bars = [WrittenBar(1, length_q=Fraction(1, prime), notes=[WrittenNote(Fraction(0), Fraction(1, prime), 60)]) for prime in primes]
    with pytest.raises(BadInput, match="no common measure"):
        assemble("", bars, range(100), Notes())


def test_ornaments_are_played_out_with_their_notes():
    # Twice in a repeat; none at the second of two tied notes, where no note begins: it is left out, and said.
    def bar(number, *, tied, **signs):
        small = WrittenOrnament(Fraction(0), 60, "grace", (62,))
        return WrittenBar(number, length_q=Fraction(4), notes=[WrittenNote(Fraction(0), Fraction(4), 60, tied)], ornaments=[small], **signs)

    bars = [bar(1, tied=True, repeat_start=True), bar(2, tied=False, repeat_end=2)]
    notes = Notes()
    tune = assemble("", bars, play_order(bars, notes), notes)
    assert [(small.onset_q, small.midi) for small in tune.ornaments] == [(0, 60), (8, 60)]
    assert [(note.onset_q, note.duration_q) for note in tune.notes] == [(0, 8), (8, 8)]
    assert "ornaments at no note that begins there are left out: bar 2" in tune.warnings


def test_what_holds_at_the_segno_holds_again_after_the_jump():
    # Chord, tempo and key at the segno are those of its first time, though others stand before the D.S.
    tune = read('"C"C|!segno!D|[K:G][Q:1/4=50]"G"E!D.S.!|]')
    assert [(float(chord.onset_q), chord.symbol) for chord in tune.chords] == [(0, "C"), (4, "G"), (6, "C"), (8, "G")]
    assert [(float(mark.onset_q), mark.quarters_per_minute) for mark in tune.tempo] == [(0, 100), (4, 50), (6, 100), (8, 50)]
    assert [(float(mark.onset_q), mark.sharps) for mark in tune.keys] == [(0, 0), (4, 1), (6, 0), (8, 1)]


def test_what_holds_at_the_coda_is_what_stands_before_it_on_paper():
    # The way to the coda leaves out the bars with the change of key; the coda is written in the new key (it was never played before).
    tune = read("C!dacoda!|D|[K:G]E!D.C.alcoda!|!coda!F|]")
    assert [note.midi for note in tune.notes] == [60, 62, 64, 60, 66]
    assert [(float(mark.onset_q), mark.sharps) for mark in tune.keys] == [(0, 0), (4, 1), (6, 0), (8, 1)]


def test_the_key_of_an_ending_is_that_on_paper():
    assert [(float(mark.onset_q), mark.sharps) for mark in read("C|:[K:D]F|C:|").keys] == [(0, 0), (2, 2)]
    # ABC 2.1 section 3.1.14: a key holds from where it stands in the text; the second ending is written in D, so its F and C are sharp,
    # though the first, with the change, is not played before it this time. The repeat's beginning is in C again.
    tune = read("|:C|1[K:D]F:|2F|C|]")
    assert [note.midi for note in tune.notes] == [60, 66, 60, 66, 61]
    assert [(float(mark.onset_q), mark.sharps) for mark in tune.keys] == [(0, 0), (2, 2), (4, 0), (6, 2)]


def test_two_heads_of_one_pitch_in_a_chord_are_one_note():
    # A unison tied to a unison is one note of both lengths, struck once (common practice, no source).
    tune = read("[CC]-|[CC]|]")
    assert [(float(note.onset_q), float(note.duration_q), note.midi) for note in tune.notes] == [(0, 4, 60)]
    assert not any("ties" in sentence for sentence in tune.warnings)


@pytest.mark.parametrize("music", ["!segno!C!D.S.!|", "C!D.S.!|", "C!D.C.!|"])
def test_far_too_many_jumps_are_refused(music):
    assert read(music * 90).notes  # the limit is ours
    with pytest.raises(BadInput, match=r"far too many D\.C\. and D\.S\."):
        read(music * 101)


def test_many_doubts_of_a_kind_are_counted():
    warnings = read("|:C" * 9 + "|]").warnings
    assert sum("never ends" in warning for warning in warnings) == 5
    assert "a repeat that never ends is played once: 5 more times" in warnings


def test_a_coda_of_another_name_is_taken_and_said():
    # MusicXML 4.0 <sound> tocoda: the label of the coda to go to.
    notes = Notes()
    assert play_order(bars_of({}, {"to_coda": "x"}, {"jump": "capo"}, {"coda": "y"}), notes) == [0, 1, 2, 0, 1, 3]
    assert 'no coda is named "x" as bar 2 asks: the one in bar 4 is taken' in notes.sentences()


@pytest.mark.parametrize(
    ("labels", "label", "said"),
    [
        ({0: "a"}, "b", True),
        ({0: "a", 1: "b"}, "b", False),
        ({0: ""}, "b", False),  # a sign that is only drawn has no label
        ({0: "a"}, "", False),
    ],
)
def test_a_segno_of_another_name_is_taken_and_said(labels, label, said):
    # MusicXML 4.0 <sound> dalsegno: the label of the segno to go back to.
    bars = bars_of({}, {}, {"jump": "segno", "jump_label": label}, {})
    for index, name in labels.items():
        bars[index].segno = name
    notes = Notes()
    assert play_order(bars, notes) == [0, 1, 2, *range(max(labels), 3), 3]
    words = 'the D.S. in bar 3 asks for a segno "b" that is not before it: the nearest, in bar 1, is taken'
    assert (words in notes.sentences()) == said
