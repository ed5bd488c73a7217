"""Pitch, stops and chords against published values: authorities/pitch.toml."""

import pytest

from jackrail.machine.geometry import semitones_at, stop_position_mm
from jackrail.pitch import A4_HZ, A4_MIDI, frequency_hz, parse_chord, parse_pitch, pitch_name
from workshop import authority

VALUES = authority("pitch")


def test_g01_standard_pitch():
    assert VALUES["G01"]["a4_hz"] == A4_HZ == frequency_hz(A4_MIDI)


@pytest.mark.parametrize("name, hz", list(VALUES["G02"]["hz"].items()))
def test_g02_equal_temperament(name, hz):
    assert frequency_hz(parse_pitch(name)) == pytest.approx(hz, abs=VALUES["G02"]["tolerance_hz"])


def test_g03_cents():
    row = VALUES["G03"]
    tolerance = 2 ** (row["tolerance_cents"] / 1200) - 1
    assert frequency_hz(A4_MIDI + row["cents"] / 100, row["low_hz"]) == pytest.approx(row["high_hz"], rel=tolerance)
    assert frequency_hz(A4_MIDI - row["cents"] / 100, row["high_hz"]) == pytest.approx(row["low_hz"], rel=tolerance)


@pytest.mark.parametrize("name, key", list(VALUES["M01"]["keys"].items()))
def test_m01_midi_keys(name, key):
    assert parse_pitch(name) == key
    assert pitch_name(key) == name


def test_g04_fret_constant():
    row = VALUES["G04"]
    assert 1 / stop_position_mm(1.0, 1) == pytest.approx(row["constant"], abs=row["tolerance"])
    # The source divides by the rounded constant 17.817; the exact one differs by 1.3e-5 in at 27 in.
    assert row["scale_length_in"] / 17.817 == pytest.approx(row["first_in"], abs=row["tolerance_in"])
    assert stop_position_mm(row["scale_length_in"], 1) == pytest.approx(row["first_in"], abs=2e-5)


def test_g05_a_stop_by_the_rule_of_18_sounds_flat_by_what_is_published():
    row = VALUES["G05"]
    one = 100 * semitones_at(18.0, 1.0)
    assert one == pytest.approx(row["cents"], abs=row["tolerance_cents"])
    left = (17 / 18) ** 12
    assert 100 * semitones_at(1.0, 1 - left) == pytest.approx(row["twelfth_cents"], abs=row["tolerance_cents"])


@pytest.mark.parametrize("number, position_mm", list(enumerate(VALUES["G06"]["stops_mm"], start=1)))
def test_g06_stops_of_a_650_mm_scale(number, position_mm):
    row = VALUES["G06"]
    assert stop_position_mm(row["scale_length_mm"], number) == pytest.approx(position_mm, abs=row["tolerance_mm"])
    assert 100 * semitones_at(row["scale_length_mm"], position_mm) == pytest.approx(100 * number, abs=0.1)


@pytest.mark.parametrize("error_mm, length_mm, cents", VALUES["G07"]["cases"])
def test_g07_a_position_error_in_cents(error_mm, length_mm, cents):
    scale_mm = 650.0
    here = semitones_at(scale_mm, scale_mm - length_mm)
    moved = semitones_at(scale_mm, scale_mm - length_mm + error_mm)
    assert 100 * (moved - here) == pytest.approx(cents, abs=VALUES["G07"]["tolerance_cents"])


@pytest.mark.parametrize("symbol, semitones", list(VALUES["G68"]["kinds"].items()))
def test_g68_chord_kinds(symbol, semitones):
    assert parse_chord(symbol).classes == set(semitones)
    assert parse_chord(symbol.replace("C", "A", 1)).classes == {(9 + semitone) % 12 for semitone in semitones}
