"""Voices of an ABC tune laid over each other (ABC 2.1 section 7): what of them cannot all be played is told; answers by hand."""

import pytest
from abc_reading import heads, read, told

TWO = "of different chord symbols over two voices at one moment that of the first voice is played"


@pytest.mark.parametrize(
    ("first", "second", "chords", "where"),
    [
        ('"C"C4|G4|', '"Am"c2"F"c2|g4|', [(0, "C"), (2, "F")], ": bar 1"),
        ('"C"C4|"G"G4|', '"C"c4|"D"g4|', [(0, "C"), (4, "G")], ": bar 2"),
        ('"C"C4|G4|', '"C"c2"F"c2|g4|', [(0, "C"), (2, "F")], ""),
        ("C4|G4|", '"Am"c4|"F"g4|', [(0, "Am"), (4, "F")], ""),
    ],
)
def test_chord_symbols_of_two_voices(first, second, chords, where):
    # Section 4.18: a chord symbol stands over its note; which voice leads is ours.
    tune = read(f"[V:1]{first}\n[V:2]{second}", header="V:1\nV:2\n")
    assert [(float(chord.onset_q), chord.symbol) for chord in tune.chords] == chords
    assert [sentence for sentence in told(tune) if TWO in sentence] == ([TWO + where] if where else [])


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ("C4|D4|E4|", "c4|d4|", ["voice 2 has 2 bars, voice 1 has 3: it is silent after that"]),
        ("C4|D4|E4|", "c4|", ["voice 2 has 1 bar, voice 1 has 3: it is silent after that"]),
        ("C4|D4|", "c4|d4|e4|", ["voice 2 has 3 bars, voice 1 has 2"]),
        ("C4|D4|", "c4|d4|", []),
    ],
)
def test_a_voice_that_lacks_bars_is_told(first, second, words):
    tune = read(f"[V:1]{first}\n[V:2]{second}", header="V:1\nV:2\n")
    assert [sentence for sentence in told(tune) if " bars" in sentence or "bar," in sentence] == words


def test_a_voice_that_was_not_asked_for_may_stop_early():
    assert not any("voice 2 has" in said for said in told(read("[V:1]C4|D4|\n[V:2]c4|", header="V:1\nV:2\n", voice="1")))


def test_a_part_marked_after_a_fine_inside_a_bar_is_found():
    # Section 3.1.9. Two bars before the mark are cut at their Fine; part B still begins with its own bar.
    tune = read("P:A\nC D !fine!E F|C D !fine!E F|\nP:B\nG4|A4!D.C.!|]", header="P:BA\n")
    assert [midi for _, _, midi in heads(tune)][:2] == [67, 69]
