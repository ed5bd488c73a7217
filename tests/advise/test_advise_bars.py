"""The best chords and stops for small songbooks whose answer can be worked out by hand."""

import pytest

from jackrail.advise.bars import best_bars, best_stops
from jackrail.motion.voice import Place, Voice
from jackrail.pitch import parse_pitch
from jackrail.tune.read import read_tune
from workshop import ROOT, changed, machine, tune


def hammers(*keys):
    return [Voice(f"h{key}", "melody", (f"s{key}",), (Place(str(key), key),), ((0.0,),), (0.0,), 0.05, 0.01) for key in keys]


def bar(chord):
    return Voice(f"bar_{chord}", "chord", (chord,), (Place(chord, None),), ((0.0,),), (0.0,), 0.1, 0.02, chord)


SCALE = tuple((key, 1) for key in (60, 62, 64, 65, 67, 69, 71, 72))  # fits the hammers of C major in one key only
VOICES = [*hammers(60, 62, 64, 65, 67, 69, 71, 72), bar("C"), bar("F")]


def test_the_chords_that_sound_longest_are_taken():
    """C holds for 3 quarters, G7 for 4, F for 1: of two bars C and G give 7 of 8, with three all; as it is C and F give 4 of 8."""
    made = tune(*SCALE, chords=[(0, "C"), (3, "G7"), (7, "F")], bars=2, sharps=0)
    one, two, three = best_bars([made], VOICES, (1, 2, 3))
    assert (one.names, one.share) == (("G",), pytest.approx(4 / 8))
    assert (sorted(two.names), two.share) == (["C", "G"], pytest.approx(7 / 8))
    assert (sorted(three.names), three.share) == (["C", "F", "G"], pytest.approx(1.0))
    assert one.now == pytest.approx(4 / 8)
    assert all(best.proven for best in (one, two, three))


def test_a_tune_that_can_be_moved_takes_the_key_whose_chords_are_there():
    """C D E fits a whole tone higher as well, where its C chord is D: one bar serves both tunes, C or D, not two."""
    first = tune((60, 1), (62, 1), (64, 2), chords=[(0, "C")], bars=1, sharps=0)
    second = tune((62, 1), (64, 1), (66, 2), chords=[(0, "D")], bars=1, sharps=2)
    voices = [*hammers(60, 62, 64, 66), bar("C")]
    (best,) = best_bars([first, second], voices, (1,))
    assert best.share == 1.0
    assert best.names == ("C",)  # what it has is kept where nothing is better


def test_no_chords_no_advice_on_bars():
    assert best_bars([tune(*SCALE, bars=2)], VOICES, (2,)) == []


def test_stops_are_those_of_the_tunes():
    """Two stops for two tunes of two notes a tone apart: any tone apart will do, the zither's own D4 and E4 stay."""
    two = changed("quay_zither", (', "F#4", "G4", "A4", "B4", "C5", "D5", "E5", "F#5", "G5", "A5", "B5", "C6", "D6"]', "]"))
    part = two.mechanism.voices[0]
    best = best_stops([tune((60, 1), (62, 1)), tune((65, 1), (67, 1))], two.instrument, part)
    assert (best.names, best.share, best.proven) == (("D4", "E4"), 1.0, True)
    wider = best_stops([tune((60, 1), (64, 1)), tune((65, 1), (69, 1))], two.instrument, part)
    low, high = wider.names
    assert wider.share == 1.0 > wider.now
    assert parse_pitch(high) - parse_pitch(low) == 4


@pytest.mark.slow
def test_advice_on_our_own_songbook_is_proven():
    ours = [read_tune(ROOT / "tunes" / name) for name in ("nine_lamps.abc", "gull_steps.abc", "ropewalk.musicxml", "tide_table.mid")]
    zither = machine("quay_zither")
    best = best_stops(ours, zither.instrument, zither.mechanism.voices[0])
    assert best.proven
    assert best.now <= best.share <= best.bound + 1e-9
