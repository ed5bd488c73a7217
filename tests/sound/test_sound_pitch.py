"""Is every pitch true? Below 1 cent, a tenth of what amateurs notice in a melody (Hill and Summers, JASA 121, 2007: 10 cents)."""

import numpy as np
import pytest
from listening import cents, heard_hz, note, part, played, sounder, strings

from jackrail.performance import Glide, Stroke

# Equal-tempered frequencies in Hz as printed in any table of them, A4 = 440 (ISO 16:1975); from memory, 4 decimals.
TABLE_HZ = {
    "E1": (28, 41.2034),
    "E2": (40, 82.4069),
    "A2": (45, 110.0),
    "D3": (50, 146.8324),
    "G3": (55, 195.9977),
    "B3": (59, 246.9417),
    "E4": (64, 329.6276),
    "A4": (69, 440.0),
    "C5": (72, 523.2511),
    "C6": (84, 1046.5023),
    "C7": (96, 2093.0045),
    "C8": (108, 4186.0090),
}
TRUE_CENTS = 0.05  # measured 0.0005; a Hann peak with a parabola is known to err by up to 0.05 on such tones
HALF_TONE = 2 ** (1 / 12)


@pytest.mark.parametrize("name", ["E1", "E2", "A2", "D3", "G3", "B3", "E4", "A4", "C5"])
def test_open_string_under_a_chord_bar_is_true(name):
    sound = played(strings({"open_pitch": name}), Stroke(0.0, "bar", "", ("string",)))
    assert abs(cents(TABLE_HZ[name][1], heard_hz(part(sound, 0.05, 2.0), TABLE_HZ[name][1]))) < TRUE_CENTS


@pytest.mark.parametrize("name", ["G3", "B3", "E4", "A4", "C5", "C6", "C7"])
def test_stopped_string_is_true(name):
    midi, expected_hz = TABLE_HZ[name]
    sound = played(strings({}), note(midi=midi, duration_s=2.0))
    assert abs(cents(expected_hz, heard_hz(part(sound, 0.05, 2.0), expected_hz))) < TRUE_CENTS


@pytest.mark.parametrize("kind", ["bell", "bar", "drum", "block"])
@pytest.mark.parametrize("name", ["G3", "A4", "C6", "C7", "C8"])
def test_struck_sounder_is_true(kind, name):
    midi, expected_hz = TABLE_HZ[name]
    sound = played(sounder(kind, name), note(midi=midi, duration_s=2.0, source="sounder"))
    assert abs(cents(expected_hz, heard_hz(part(sound, 0.05, 2.0), expected_hz))) < TRUE_CENTS


@pytest.mark.parametrize("rate_hz", [22050, 48000, 96000])
def test_pitch_does_not_depend_on_the_sample_rate(rate_hz):
    sound = part(played(strings({}), note(midi=69), rate_hz=rate_hz), 0.05, 2.0, rate_hz)
    assert abs(cents(440.0, heard_hz(sound, 440.0, rate_hz=rate_hz))) < TRUE_CENTS


@pytest.mark.parametrize("offset", [-33.0, -4.0, 4.0, 17.0])
def test_cents_away_from_the_key_are_heard(offset):
    sound = part(played(strings({}), note(midi=69, cents=offset)), 0.05, 2.0)
    assert cents(440.0, heard_hz(sound, 440.0)) == pytest.approx(offset, abs=TRUE_CENTS)


def test_instrument_tuned_to_442_sounds_there():
    sound = played(sounder("bar", "A4", a4="442 Hz"), note(midi=69, source="sounder"))
    assert abs(cents(442.0, heard_hz(part(sound, 0.05, 2.0), 442.0))) < TRUE_CENTS


def test_long_ringing_string_stays_true():
    # A string heard for forty seconds shows whether rounding of the phase adds up: its last second must be as true.
    sound = part(played(strings({"ring": "60 s"}), note(midi=69, duration_s=40.0)), 37.0, 39.0)
    assert abs(cents(440.0, heard_hz(sound, 440.0))) < TRUE_CENTS


# A bar sliding from A4 up 200 cents (one tone) in 150 ms, beginning 0.5 s after the pluck. What is heard is definition: straight
# in cents between the points (docstring of Glide), so a quarter of the way in time is a quarter of the way in cents.
SLIDE = (Glide(0.5, 0.0), Glide(0.65, 200.0))


@pytest.mark.parametrize(("share", "expected"), [(0.25, 50.0), (0.5, 100.0), (0.75, 150.0)])
def test_slide_passes_through_its_middle_in_the_middle_of_its_time(share, expected):
    sound = played(strings({}), note(midi=69, glide=SLIDE))
    middle_s = 0.5 + share * 0.15
    # A window of 60 ms sees 80 cents of the slide pass, symmetric about its middle; near the ends it must be half as long.
    half_s = 0.030 if share == 0.5 else 0.018
    heard = cents(440.0, heard_hz(part(sound, middle_s - half_s, middle_s + half_s), 440.0 * 2 ** (expected / 1200), within=0.08))
    assert heard == pytest.approx(expected, abs=2.0)  # 2 cents are 1.5 ms of the slide


def test_slide_is_still_before_and_after():
    sound = played(strings({}), note(midi=69, glide=SLIDE))
    assert cents(440.0, heard_hz(part(sound, 0.05, 0.5), 440.0)) == pytest.approx(0.0, abs=TRUE_CENTS)
    assert cents(440.0, heard_hz(part(sound, 0.65, 2.0), 440.0 * HALF_TONE**2)) == pytest.approx(200.0, abs=TRUE_CENTS)


def test_slide_of_several_points_and_a_held_one():
    glide = (Glide(0.2, 0.0), Glide(0.3, -300.0), Glide(0.8, -300.0), Glide(0.8, -200.0), Glide(0.9, 100.0))
    sound = played(strings({}), note(midi=69, glide=glide))
    assert cents(440.0, heard_hz(part(sound, 0.3, 0.8), 440.0 / HALF_TONE**3)) == pytest.approx(-300.0, abs=TRUE_CENTS)
    assert cents(440.0, heard_hz(part(sound, 0.9, 2.0), 440.0 * HALF_TONE)) == pytest.approx(100.0, abs=TRUE_CENTS)


def roughness(samples):
    """Largest third difference: small for a smooth wave, large where the wave or its slope jumps."""
    return np.abs(np.diff(samples, 3)).max()


def test_slide_does_not_break_the_wave():
    sound = played(strings({}), note(midi=69, glide=SLIDE))
    plain, sliding = part(sound, 0.30, 0.49), part(sound, 0.49, 0.66)
    assert roughness(sliding) < 1.5 * roughness(plain)  # a tone up alone makes it 1.12^3 = 1.4 times rougher
    broken = np.concatenate([plain, plain[37:]])  # the same ear on a wave cut and joined out of phase
    assert roughness(broken) > 1.5 * roughness(plain)
