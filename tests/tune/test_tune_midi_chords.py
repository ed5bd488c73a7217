"""The chords of a MIDI file: its texts, else told from its accompaniment, else none, and what is said of it.

Answers are worked out by hand from the rules in tune/midi/harmony.py; General MIDI level 1 where programs are named.
"""

import pytest
from midi_files import Q, Row, chord, hexes, melody, meta, name, note, track
from midi_reading import CHORDS, HIGH, LOW, START, read, said


def test_chords_are_told_from_what_is_left_out():
    tune = read(track(*START), track(melody(0, HIGH)), track(CHORDS))
    assert [(float(one.onset_q), one.symbol) for one in tune.chords] == [(0, "C"), (4, "G")]
    assert tune.harmony == "estimated"
    assert said(tune, "chords are told") == "no chord symbols are written: chords are told from track 3"


def texts(kind: int, *rows: tuple[int, str]) -> list[Row]:
    return [meta(quarter * Q, kind, text.encode()) for quarter, text in rows]


@pytest.mark.parametrize("kind", [1, 5, 6, 7])
def test_texts_that_are_chord_symbols_are_the_chords(kind):
    tune = read(track(*START, texts(kind, (0, "Em"), (2, "D7"), (4, "N.C."))), track(melody(0, HIGH)), track(CHORDS))
    assert [(float(one.onset_q), one.symbol) for one in tune.chords] == [(0, "Em"), (2, "D7"), (4, "N.C.")]
    assert tune.harmony == "written"
    assert "of track 1" in said(tune, "the chords are the")


@pytest.mark.parametrize(
    "rows",
    [
        [(0, "G"), (2, "G")],  # one alone tells nothing
        [(0, "Twin"), (1, "kle"), (2, "A"), (3, "lit"), (4, "tle"), (5, "Em")],
        [(0, "A"), (4, "B")],
        [(0, "A"), (2, "B"), (4, "C"), (6, "A")],
    ],
)
def test_texts_that_are_none_are_not(rows):
    assert read(track(*START, texts(6, *rows), melody(0, HIGH))).chords == ()


def test_bare_letters_out_of_the_alphabet_are_chords():
    tune = read(track(*START, texts(6, (0, "G"), (2, "C"), (4, "D"), (6, "G")), melody(0, HIGH)))
    assert [one.symbol for one in tune.chords] == ["G", "C", "D", "G"]


def test_a_chord_after_the_last_note_is_left_out():
    tune = read(track(*START, texts(6, (0, "C"), (4, "G"), (8, "Am")), melody(0, HIGH)))
    assert [one.symbol for one in tune.chords] == ["C", "G"]


def test_chord_texts_after_the_last_note_are_no_chords():
    tune = read(track(note(0, Q, 60), texts(6, (2 * Q, "C"), (3 * Q, "G7"))))
    assert (tune.chords, tune.harmony) == ((), "")


def test_what_only_doubles_the_melody_is_no_accompaniment():
    octave = [(length, midi - 12) for length, midi in HIGH]
    assert read(track(*START), track(melody(0, HIGH)), track(melody(0, octave, 2))).harmony == ""


def chords_of(tune):
    return [(float(one.onset_q), one.symbol) for one in tune.chords]


# --- lines of single notes


def test_no_chords_are_told_from_a_single_line():
    tune = read(track(*START), track(melody(0, HIGH)), track(melody(0, LOW, 2)))
    assert (tune.chords, tune.harmony) == ((), "")
    assert "the other track is a line of single notes: no chords are told from it" in tune.remarks


def test_no_chords_are_told_from_an_answering_line():
    # two fiddles, a bar each by turns: neither accompanies
    call, answer = [(Q, 67), (Q, 69), (Q, 71), (Q, 72)], [(4 * Q, 0), (Q, 72), (Q, 71), (Q, 69), (Q, 67)]
    tune = read(track(*START), track(name("Violin I"), melody(0, call)), track(name("Violin II"), melody(0, answer, 2)))
    assert (tune.chords, tune.harmony) == ((), "")


def test_no_chords_are_told_from_several_lines():
    # a fourth channel far off: the lines sound one after the other and are single notes together
    later = [(4 * Q, 0), (Q, 60), (Q, 62), (Q, 60), (Q, 59)]
    tune = read(track(*START), track(melody(0, HIGH)), track(melody(0, [(2 * Q, 48), (2 * Q, 47)], 2)), track(melody(0, later, 3)))
    assert tune.harmony == ""
    assert "the other tracks are lines of single notes: no chords are told from them" in tune.remarks
    tune = read(track(*START, melody(0, HIGH), melody(0, [(2 * Q, 48), (2 * Q, 47)], 2), melody(0, later, 3)))
    assert "the other channels are lines of single notes: no chords are told from them" in tune.remarks


def test_two_notes_together_are_no_chord():
    # C and G, then G and D, without a third: nobody can say major or minor
    fifths = [*chord(0, 4 * Q, (48, 55), 2), *chord(4 * Q, 8 * Q, (43, 50), 2)]
    tune = read(track(*START), track(melody(0, HIGH)), track(hexes(0, "C1 18"), fifths))
    assert tune.harmony == ""
    assert "track 3 (guitar) spells hardly any whole chord: no chords are told" in tune.remarks


def test_a_broken_chord_is_told_though_it_is_a_single_line():
    broken = [(Q, 48), (Q, 55), (Q, 60), (Q, 64), (Q, 43), (Q, 50), (Q, 55), (Q, 59)]
    tune = read(track(*START), track(melody(0, HIGH)), track(melody(0, broken, 2)))
    assert chords_of(tune) == [(0, "C"), (4, "G")]


# --- chords beside all the notes of a piano

PIANO = [melody(0, HIGH), chord(0, 4 * Q, (48, 52, 55)), chord(4 * Q, 8 * Q, (43, 47, 50))]


@pytest.mark.parametrize("line, count", [(None, 6), ("top", 6), ("all", 12)])
def test_the_chords_are_the_same_whatever_line_is_read(line, count):
    tune = read(track(*START, *PIANO), line=line)
    assert len(tune.notes) == count
    assert chords_of(tune) == [(0, "C"), (4, "G")]
    assert tune.harmony == "estimated"


def test_numbers_and_verbs_agree():
    one = read(track(*START, melody(0, HIGH), note(0, 2 * Q, 60)))
    assert said(one, "sound together").endswith("1 of 7 notes was left out; --line all keeps them")
    two = read(track(*START, melody(0, HIGH), note(0, 2 * Q, 60), note(2 * Q, 4 * Q, 60)))
    assert said(two, "sound together").endswith("2 of 8 notes were left out; --line all keeps them")
    words = [*((n * Q, "G" if n % 2 else "C") for n in range(20)), (7 * Q + 9, "slowly")]
    rows = [meta(tick, 6, text.encode()) for tick, text in words]
    assert "1 of these markers is no chord symbol and is left out" in read(track(*START, rows, melody(0, HIGH))).warnings
