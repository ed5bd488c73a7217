"""Is the tone made of the right partials? Against Fourier's string, the free bar, the ideal membrane, the bell founder."""

import math

import numpy as np
import pytest
from listening import heard_hz, level_db, note, part, played, sounder, strings

from jackrail.sound.strings import partial_amplitudes

# Check value G22: a string plucked at 1/5 of its length, a_n ~ sin(n*pi/5) / n^2 (T. Smyth, notes on the plucked string, for the
# missing 5th and 10th; levels recomputed from the Fourier series), tolerance 0.05 dB.
PLUCKED_AT_A_FIFTH_DB = {2: -7.86, 3: -14.90, 4: -24.08}
SETTLED_S = 0.008  # by then the pick's scrape is over; a string that rings for a minute has faded by 0.01 dB


@pytest.mark.parametrize(("partial", "expected_db"), PLUCKED_AT_A_FIFTH_DB.items())
def test_partials_of_the_pluck_at_the_onset(partial, expected_db):
    sound = part(played(strings({"ring": "60 s", "gauge": "0.1 mm"}), note(midi=57)), SETTLED_S, 0.1)
    heard_db = level_db(sound, 220.0 * partial) - level_db(sound, 220.0)
    assert heard_db == pytest.approx(expected_db, abs=0.08)  # 0.05 of the check value and 0.03 for the fading meanwhile


@pytest.mark.parametrize("partial", [5, 10])
def test_partials_with_a_node_under_the_pick_are_absent(partial):
    sound = part(played(strings({}), note(midi=57)), SETTLED_S, 1.5)
    assert level_db(sound, 220.0 * partial) - level_db(sound, 220.0) < -70
    assert level_db(sound, 220.0 * (partial + 1)) - level_db(sound, 220.0) > -70  # its neighbour is there


def test_modelled_levels_of_the_pluck():
    modelled_db = 20 * np.log10(np.abs(partial_amplitudes(4)))
    for partial, expected_db in PLUCKED_AT_A_FIFTH_DB.items():
        assert modelled_db[partial - 1] == pytest.approx(expected_db, abs=0.01)  # one unit of the last digit printed


def test_partials_are_harmonic():
    # No stiffness: partial n is n times the first (ideal string, textbook). 0.1 cent is the reach of this ear.
    sound = part(played(strings({}), note(midi=57)), 0.05, 2.0)
    for partial in (2, 3, 4, 6, 7, 8):
        assert heard_hz(sound, 220.0 * partial) == pytest.approx(220.0 * partial, rel=6e-5)


def root(function, low, high):
    """Where a function that changes sign once between low and high is zero, by halving."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if function(low) * function(middle) > 0 else (low, middle)
    return low


def free_bar_ratios():
    """Bar free at both ends (Euler-Bernoulli, textbook): frequencies go as the squares of the roots of cos(x) = 1/cosh(x)."""
    roots = [root(lambda x: math.cos(x) - 1 / math.cosh(x), (k + 0.25) * math.pi, (k + 0.75) * math.pi) for k in (1, 2, 3)]
    return [(x / roots[0]) ** 2 for x in roots]


def bessel(order, x):
    """J_n(x) = 1/pi * integral from 0 to pi of cos(n*t - x*sin(t)) (Bessel's integral), by the midpoint rule."""
    t = (np.arange(400) + 0.5) * math.pi / 400
    return float(np.mean(np.cos(order * t - x * np.sin(t))))


def membrane_ratios():
    """Ideal circular membrane (textbook): frequencies go as the zeros of the Bessel functions."""
    brackets = [(0, 2.0, 3.0), (1, 3.5, 4.2), (2, 4.8, 5.4), (0, 5.2, 6.0), (3, 6.1, 6.7), (1, 6.7, 7.4)]
    zeros = [root(lambda x, n=order: bessel(n, x), low, high) for order, low, high in brackets]
    return [zero / zeros[0] for zero in zeros]


def test_ratios_of_these_tests_are_those_of_the_textbooks():
    assert free_bar_ratios() == pytest.approx([1, 2.756, 5.404], abs=0.001)  # from memory
    assert membrane_ratios()[:4] == pytest.approx([1, 1.594, 2.136, 2.296], abs=0.001)  # from memory


@pytest.mark.parametrize("number", [0, 1, 2])
def test_modes_of_a_bar(number):
    sound = part(played(sounder("bar", "A4"), note(midi=69, source="sounder")), 0.01, 2.0)
    expected_hz = 440.0 * free_bar_ratios()[number]
    assert heard_hz(sound, expected_hz) == pytest.approx(expected_hz, rel=1e-4)


@pytest.mark.parametrize("number", range(6))
def test_modes_of_a_drum(number):
    sound = part(played(sounder("drum", "A2"), note(midi=45, source="sounder")), 0.01, 2.0)
    expected_hz = 110.0 * membrane_ratios()[number]
    assert heard_hz(sound, expected_hz) == pytest.approx(expected_hz, rel=1e-4)


@pytest.mark.parametrize("semitones", [-12, 0, 3, 7, 12])
def test_five_partials_of_a_bell(semitones):
    # Founders tune hum, prime, tierce, quint and nominal to octave below, pitch, minor third, fifth and octave (trade fact, in
    # the handbooks of bell makers). Just and equal tempered thirds differ by 16 cents, hence 1 %.
    sound = part(played(sounder("bell", "A4"), note(midi=69, source="sounder")), 0.01, 2.0)
    expected_hz = 440.0 * 2 ** (semitones / 12)
    assert heard_hz(sound, expected_hz, within=0.02) == pytest.approx(expected_hz, rel=0.01)
    assert level_db(sound, expected_hz, within=0.02) - level_db(sound, 440.0) > -25


def test_pitchless_drum_and_block_differ_and_ignore_the_key():
    drums = [part(played(sounder("drum"), note(midi=midi, source="sounder")), 0, 1) for midi in (40, 80)]
    assert np.array_equal(drums[0], drums[1])
    block = part(played(sounder("block"), note(source="sounder")), 0, 1)
    assert level_db(block, 750, within=0.1) - level_db(block, 110, within=0.1) > 20
    assert level_db(drums[0], 110, within=0.1) - level_db(drums[0], 750, within=0.1) > 20


def test_ring_time_is_that_of_60_db():
    # The machine file's own definition of ring (String): 60 dB in ring_s, so 3 s of a string of 20 s fade by 9 dB.
    sound = played(strings({"ring": "20 s"}), note(midi=69, duration_s=6.0))
    faded_db = level_db(part(sound, 1.0, 2.0), 440.0) - level_db(part(sound, 4.0, 5.0), 440.0)
    assert faded_db == pytest.approx(9.0, abs=0.05)
    hum = played(sounder("bell", "A4", ring="20 s"), note(midi=69, duration_s=6.0, source="sounder"))
    assert level_db(part(hum, 1.0, 2.0), 220.0) - level_db(part(hum, 4.0, 5.0), 220.0) == pytest.approx(9.0, abs=0.05)


def test_higher_modes_of_a_bar_fade_faster():
    # Equal loss factor of all modes (textbook, from memory): fading in dB per second goes as the frequency.
    sound = played(sounder("bar", "A4", ring="20 s"), note(midi=69, duration_s=6.0, source="sounder"))
    second_hz = 440.0 * free_bar_ratios()[1]
    faded_db = level_db(part(sound, 1.0, 2.0), second_hz) - level_db(part(sound, 4.0, 5.0), second_hz)
    assert faded_db == pytest.approx(9.0 * free_bar_ratios()[1], abs=0.05)


def loss_of_brightness_db(**changes):
    sound = played(strings({"ring": "4 s"} | changes), note(midi=57))
    early, late = part(sound, 0.01, 0.26), part(sound, 0.76, 1.01)
    return (level_db(early, 1320.0) - level_db(early, 220.0)) - (level_db(late, 1320.0) - level_db(late, 220.0))


def test_higher_partials_fade_faster_and_material_and_gauge_tell():
    # Common practice, no source: steel is brighter than nylon or gut, a thin string brighter than a thick one.
    assert loss_of_brightness_db() > 3
    assert loss_of_brightness_db(material="nylon") > loss_of_brightness_db() + 3
    assert loss_of_brightness_db(gauge="1.2 mm") > loss_of_brightness_db() + 3


def test_nothing_folds_back_at_a_low_sample_rate():
    # At 8 kHz a string at 1046.5 Hz has room for three partials; the fourth would fold back to 3814 Hz, the sixth to 1721 Hz
    # (Nyquist: f - 8000).
    sound = part(played(strings({}), note(midi=84), rate_hz=8000), SETTLED_S, 1.5, 8000)
    own_db = level_db(sound, 1046.5, rate_hz=8000)
    assert level_db(sound, 3 * 1046.5, rate_hz=8000) - own_db > -20
    for folded_hz in (3814.0, 2767.5, 1721.0, 674.5):
        assert level_db(sound, folded_hz, within=0.02, rate_hz=8000) - own_db < -60


def test_pitch_above_what_the_rate_can_hold_is_silent():
    sound = played(sounder("bar", "C8"), note(midi=108, source="sounder"), rate_hz=8000)
    assert not sound.any()
    assert np.isfinite(played(strings({}), note(midi=108), rate_hz=8000)).all()
