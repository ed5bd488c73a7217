"""The nearest chord bar, against tones counted by hand; and that the chords have a say in the key."""

import pytest

from jackrail.motion.voice import Place, Voice
from jackrail.pitch import parse_chord
from jackrail.setting.chord_bars import fitting_bars
from jackrail.setting.fit import arrange
from jackrail.setting.wishes import Wishes
from workshop import tune

# Worked out by hand: C is C E G, Am A C E, Em E G B, F F A C, Dm D F A, G7 G B D F, C6 C E G A, Bm B D F#.
NEAREST = [
    ("C", "Am C G", [("C", 0.0)]),
    ("C/E", "Am C", [("C", 0.0)]),  # the bass does not matter
    ("Am7", "C Am F", [("Am", 1.0)]),  # a seventh as its triad comes before anything else
    ("G7", "G Dm", [("G", 1.0)]),
    ("C6", "Am F", [("Am", 2.0)]),  # C6 has all of Am; G is missing of its triad
    ("C", "Am", [("Am", 4.0)]),  # shares C and E, lacks G, and A lies a tone from G
    ("C", "Em", []),  # B lies a semitone from C
    ("G", "Em", [("Em", 4.0)]),
    ("G", "Bm", []),  # F# lies a semitone from G
    ("C", "Cm", []),  # Eb against E
    ("C", "F", []),  # one tone in common, and F against E
    ("Dm", "F", [("F", 4.0)]),
    ("G7", "Bdim", [("Bdim", 2.0)]),
    ("A7", "Em", []),  # of A C# E only E is in it
    ("C", "C Am C", [("C", 0.0), ("C", 0.0)]),
]


@pytest.mark.parametrize(("symbol", "bars", "nearest"), NEAREST)
def test_the_nearest_bar_by_tones_shared(symbol, bars, nearest):
    chords = bars.split()
    found = fitting_bars([(n, parse_chord(name)) for n, name in enumerate(chords)], parse_chord(symbol))
    assert [(chords[n], far) for n, far in found] == nearest


def hammers(*keys):
    return [Voice(f"h{key}", "melody", (f"s{key}",), (Place(str(key), key),), ((0.0,),), (0.0,), 0.05, 0.01) for key in keys]


def bar(chord):
    return Voice(f"bar_{chord}", "chord", (chord,), (Place(chord, None),), ((0.0,),), (0.0,), 0.1, 0.02, chord)


LINE = ((60, 1), (64, 1), (67, 1), (60, 1))


def test_chords_alone_can_turn_the_key():
    """The melody has its places as written and a tone higher: without chords it stays, with a bar of D alone it goes to D."""
    voices = (*hammers(60, 62, 64, 66, 67, 69), bar("D"))
    plain, harmonised = (tune(*LINE, chords=chords, bars=1, sharps=0) for chords in ([], [(0, "C")]))
    assert arrange(plain, voices, "", Wishes(harmony="none"))[1].transpose_semitones == 0
    assert arrange(harmonised, voices, "")[1].transpose_semitones == 2


def test_silence_is_better_than_a_clash_and_a_bar_that_comes_near_better_than_silence():
    made = tune(*LINE, chords=[(0, "C")], bars=1, sharps=0)
    stay = Wishes(transpose=0)
    clash = arrange(made, (*hammers(60, 64, 67), bar("Em")), "", stay)[1]
    assert [(loss.kind, loss.reason) for loss in clash.losses] == [("chord-lost", "no chord bar comes near it without a clash")]
    near = arrange(made, (*hammers(60, 64, 67), bar("Am")), "", stay)[1]
    assert [(loss.kind, loss.played) for loss in near.losses] == [("chord-changed", "Am")]
    assert near.losses[0].reason == "no bar is nearer: it shares C and E, lacks G and has A; distance 4"
    assert near.chords_kept == 1
