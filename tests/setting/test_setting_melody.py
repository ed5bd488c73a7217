"""The melody decides: what accompanies it is fitted in where there is room. Which notes are the melody is worked out by hand."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.checks.fitting import fit_findings
from jackrail.motion.voice import Place, Voice
from jackrail.setting.fit import arrange, fit
from jackrail.setting.melody import among_them, melody_kept, melody_of
from jackrail.setting.taste import Taste, note_weights
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament, Tune, TuneNote
from workshop import ensemble, tune

STAY = Wishes(transpose=0, tempo="100%", ornaments="all")


def together(*lines: Tune) -> Tune:
    notes = sorted((note for line in lines for note in line.notes), key=lambda note: (note.onset_q, note.midi))
    return replace(lines[0], notes=tuple(notes))


def hammers(*keys, rearm_s=0.02):
    return tuple(Voice(f"h{key}", "melody", (f"b{key}",), (Place(str(key), key),), ((0.0,),), (0.0,), rearm_s, 0.01) for key in keys)


def one_bar(*keys):
    """One travelling bar that takes 10 ms between any two of its stops."""
    ways = tuple(tuple(0.0 if p == q else 0.01 for q in keys) for p in keys)
    places = tuple(Place(str(key), key, steps=n) for n, key in enumerate(keys))
    return (Voice("bar", "melody", ("s",), places, ways, (0.0,) * len(keys), 0.05, 0.01),)


SONG = tune(*[(midi, "1") for midi in (65, 69, 70, 72)], tempo=60.0, bars=2, sharps=-1)
BASS = tune(*[(midi, "1/2") for midi in (53, 55, 57, 55, 53, 55, 57, 52)], tempo=60.0, bars=2, sharps=-1)
DUET = together(SONG, BASS)


def test_the_melody_is_the_highest_line():
    assert [DUET.notes[index].midi for index in sorted(melody_of(DUET))] == [65, 69, 70, 72]
    assert melody_of(SONG) == {0, 1, 2, 3}
    assert melody_of(replace(SONG, notes=())) == frozenset()


def test_a_note_under_the_melody_weighs_its_share_and_the_ends_are_those_of_the_melody():
    """At 60 in 4/4: F of a quarter on the first beat, the first of the melody: 1.5 * 1 * 2. The bass F below lasts a quaver:
    1.5 * sqrt(1/2), and a fiftieth of it; the bass G between the beats 0.6 * sqrt(1/2) / 50."""
    weights = {(float(note.onset_q), note.midi): weight for note, weight in zip(DUET.notes, note_weights(DUET), strict=True)}
    assert weights[0, 65] == pytest.approx(3)
    assert weights[0, 53] == pytest.approx(1.5 * 0.5**0.5 / 50)
    assert weights[0.5, 55] == pytest.approx(0.6 * 0.5**0.5 / 50)
    assert weights[3, 72] == pytest.approx(2)
    assert note_weights(DUET, Taste(accompaniment=1.0))[0] == pytest.approx(1.5 * 0.5**0.5)


def test_small_notes_do_not_uncover_what_sounds_under_their_note():
    """A trill leaves of its main note a piece of a twelfth of a second; the bass that begins under it still accompanies."""
    low = TuneNote(Fraction(1, 2), Fraction(3, 2), 55)
    made = replace(tune((67, "2"), (69, "2"), tempo=60.0, bars=1), ornaments=(Ornament(Fraction(0), 67, "trill", (65, 69)),))
    made = replace(made, notes=(made.notes[0], low, made.notes[1]))
    full, _ = arrange(made, hammers(55, 67, 69), "Hammers", STAY)
    assert len(full.notes) > 20
    assert [full.notes[index].midi for index in sorted(melody_of(full))] == [67, 69]


@pytest.mark.parametrize("voices", [ensemble("quay_zither").voices, one_bar(*range(60, 80)), hammers(67, 71, 72, 74, 62)], ids=len)
def test_key_and_tempo_are_those_of_the_melody_alone(voices):
    alone, both = fit(SONG, voices, "Any"), fit(DUET, voices, "Any")
    assert (both.transpose_semitones, both.tempo_factor) == (alone.transpose_semitones, alone.tempo_factor)
    assert melody_kept(both, DUET) == (alone.notes_kept, 4)


def test_what_is_left_out_under_the_melody_is_told_with_what_helps():
    setting = fit(DUET, one_bar(*range(48, 80)), "Bar", Wishes(transpose=0, tempo="100%"))
    assert (setting.notes_kept, setting.notes_total) == (
        4,
        12,
    )  # of the bass, half start with a note of the melody, half would cut one short
    assert among_them(setting, DUET) == ", the whole melody among them"
    (finding,) = fit_findings(setting, DUET)
    assert finding.message == "8 of 12 notes left out, none of them of the melody, first at bar 1 beat 1"
    assert finding.advice == "--line top reads the melody alone"


def test_what_is_left_out_of_the_melody_is_told_with_what_helps():
    """A hammer that needs 0.6 s strikes every other of notes half a second apart; no hammer has a C."""
    made = tune((65, "1"), (65, "1"), (60, "1"), (65, "1"), tempo=120.0, bars=1)
    setting = fit(made, hammers(65, rearm_s=0.6), "Hammer", Wishes(transpose=0, tempo="100%", taste=Taste(folded=2.0, folded_twice=2.0)))
    (finding,) = fit_findings(setting, made)
    assert finding.message == "2 of 4 notes left out, first at bar 1 beat 2"
    assert finding.advice == "--tempo asks for a slower one; a stop, a fret or a hammer for what no voice has would help"
    assert [loss.reason for loss in setting.losses] == [
        (
            "two strokes on 65: there are 500 ms, and it needs 600 ms to strike again; the weaker of the two: off the first beat, "
            "not the first or last note; it would fit at 83.3 % of the written tempo"
        ),  # 500 / 600
        "no voice has C within two octaves",
    ]
    assert among_them(setting, made) == ""


def test_a_note_whose_key_sounds_for_another_says_so():
    """The C an octave below the melody's is not on this machine, and its octave is the melody's own."""
    made = together(tune((72, "1"), (74, "1"), tempo=60.0), tune((60, "1"), tempo=60.0))
    setting = fit(made, one_bar(72, 74), "Bar", Wishes(transpose=0, tempo="100%"))
    (loss,) = setting.losses
    assert loss.reason == (
        "no voice has C4; in another octave 72 is struck for another note at the same moment; the weaker of the two: under the melody"
    )
