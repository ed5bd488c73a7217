"""The tune as it is written, made to be heard: everything in it, when it is written, on sources of the machine. By hand and by ear."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.setting.as_written import as_written, written_s
from jackrail.setting.fit import fit
from jackrail.setting.wishes import Wishes
from jackrail.sound import render
from jackrail.tune.model import TuneNote
from workshop import MACHINE_NAMES, ensemble, examples, tune, tunes

ZITHER = ensemble("quay_zither")


def written(made, machine, **wishes):
    playing = ensemble(machine)
    setting = fit(made, playing.voices, machine, Wishes(**wishes))
    return (*as_written(setting, made, playing), setting)


@examples(25)
@given(tunes(), st.sampled_from(MACHINE_NAMES))
def test_every_note_sounds_when_it_is_written_whatever_the_machine_gives_up(made, name):
    performance, _, setting = written(made, name)
    shift, chords = setting.transpose_semitones, [note for note in performance.notes if note.strength < 1]
    heard = sorted((note.onset_s, note.midi) for note in performance.notes if note not in chords)
    meant = sorted((0.25 + made.seconds_at(note.onset_q), note.midi + shift) for note in made.notes)
    assert [midi for _, midi in heard] == [midi for _, midi in meant]
    assert [at_s for at_s, _ in heard] == pytest.approx([at_s for at_s, _ in meant])
    assert performance.end_s == pytest.approx(1.25 + made.seconds_at(made.end_q)) == written_s(made)


@examples(15)
@given(tunes(most_notes=8), st.sampled_from(MACHINE_NAMES))
def test_it_can_be_made_audible_on_its_instrument_and_no_string_sounds_two_notes_of_the_melody_at_once(made, name):
    performance, instrument, _ = written(made, name)
    assert np.max(np.abs(render(performance, instrument, 8000))) == pytest.approx(10 ** (-1 / 20), abs=1e-3)
    last = {}
    for note in performance.notes:
        if note.strength == 1 and instrument.sounder(note.source) is None:  # chords share their strength
            assert last.get(note.source, -1.0) <= note.onset_s + 1e-9
            last[note.source] = note.onset_s + note.duration_s


def loudness(samples, rate_hz, frequency_hz):
    """Size of one frequency in samples: the discrete Fourier sum at it."""
    time_s = np.arange(len(samples)) / rate_hz
    return abs(np.sum(samples * np.hanning(len(samples)) * np.exp(-2j * np.pi * frequency_hz * time_s))) / len(samples)


def test_two_notes_at_once_on_one_string_are_both_heard():
    """G4 and B4, 392.0 and 493.9 Hz (equal temperament), and nothing at A4 between them; the zither has one melody string."""
    made = tune((67, "2"), tempo=60.0, bars=1)
    made = replace(made, notes=(*made.notes, TuneNote(Fraction(0), Fraction(2), 71)))
    performance, instrument, setting = written(made, "quay_zither", transpose=0)
    assert setting.notes_kept == 1
    samples = render(performance, instrument, 8000)[2400:10400]
    low, between, high = (loudness(samples, 8000, hz) for hz in (392.0, 440.0, 493.9))
    assert min(low, high) > 20 * between


def test_the_tempo_and_the_octaves_are_those_of_the_page():
    """A machine that plays at half the tempo and folds: as written it is neither slow nor folded."""
    made = tune((62, "1"), (98, "1"), (62, "2"), tempo=60.0, bars=1)
    performance, _, setting = written(made, "quay_zither", transpose=0, tempo="50%")
    assert [note.midi for note in performance.notes] == [62, 98, 62]
    assert [note.onset_s for note in performance.notes] == pytest.approx([0.25, 1.25, 2.25])
    assert setting.tempo_factor == 0.5


def test_chords_sound_on_their_bars_or_on_strings_tuned_to_them():
    """The zither has a bar for G and none for F: F A C on three strings of its bars, none further from its own pitch than a tritone."""
    made = tune((67, "4"), (65, "4"), chords=[(0, "G"), (4, "F")], tempo=60.0, bars=2)
    performance, instrument, _ = written(made, "quay_zither", transpose=0)
    assert [(stroke.onset_s, stroke.chord) for stroke in performance.strokes] == [(0.25, "G")]
    chord = [note for note in performance.notes if note.strength < 1]
    assert {note.midi % 12 for note in chord} == {5, 9, 0}
    assert {note.onset_s for note in chord} == {4.25}
    assert len({note.source for note in chord}) == 3
    assert all(abs(note.midi - instrument.string(note.source).midi) <= 6 for note in chord)
    assert sum(note.strength**2 for note in chord) == pytest.approx(1)  # together as loud as one note


def test_without_chord_bars_there_are_no_chords():
    performance, _, _ = written(tune((67, "4"), chords=[(0, "G")], tempo=60.0, bars=1), "tower_chimes")
    assert (len(performance.notes), performance.strokes) == (1, ())


def test_a_string_rings_until_it_sounds_again_and_a_finger_lifts_at_the_end_of_its_note():
    """E4 on a lute is the second fret of its string: after its quarter of a second the finger lifts, though a rest follows."""
    made = tune((64, "1/4"), (None, "7/4"), (64, "1"), tempo=60.0, bars=1)
    lute, _, _ = written(made, "twin_lute", transpose=0)
    zither, _, _ = written(made, "quay_zither", transpose=0)
    assert [round(note.duration_s, 6) for note in lute.notes] == [0.25, 1.0]
    assert zither.notes[0].duration_s == pytest.approx(2.0)
