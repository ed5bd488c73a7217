"""Voices of the examples: places, leads and re-arm times worked out by hand from the machine files."""

import math

import pytest

from jackrail.motion.voice import GUARD_S
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of


def voice(machine_name, voice_id):
    made = ensemble(machine_name)
    return made.voices[made.voice_ids.index(voice_id)]


def test_a_chord_bar_leads_by_its_relay_and_its_pull_in():
    bar = voice("quay_zither", "bar_g")
    assert bar.lead_s == pytest.approx(0.008 + 0.014)  # relay operate + coil pull-in, from the file
    assert bar.rearm_s == pytest.approx(0.060 + 0.012 + 0.004 + GUARD_S)  # pulse + coil release + relay release
    assert (bar.part, bar.chord, bar.sources) == ("chord", "G", ("g_low", "g_mid", "g_top"))


def test_a_hammer_behind_a_transistor_leads_by_its_pull_in_alone():
    hammer = voice("tower_chimes", "hammer_g4")
    assert hammer.lead_s == pytest.approx(0.009)
    assert hammer.rearm_s == pytest.approx(0.012 + 0.015 + GUARD_S)


def test_a_drum_has_no_key_and_beats():
    assert [(v.part, v.places[0].midi) for v in ensemble("tower_chimes").voices if v.part == "beat"] == [("beat", None)]


def test_a_turning_pick_leads_by_the_part_of_its_turn_before_it_strikes():
    # 0.4 turn at 6 turn/s and 200 turn/s2: the ramp takes v/a = 30 ms and 0.09 turn, then 0.31 turn at 6 turn/s.
    melody = voice("quay_zither", "melody")
    assert melody.lead_s == pytest.approx(0.030 + (0.4 - 0.09) / 6, abs=0.0005)
    assert melody.rearm_s == pytest.approx(1 / 6 + 0.030 + GUARD_S, abs=0.001)


def test_a_bar_takes_its_trapezoid_and_settling_between_two_stops():
    melody = voice("quay_zither", "melody")
    a, b = (next(i for i, place in enumerate(melody.places) if place.name == name) for name in ("D4", "D6"))
    # D4 and D6 on 640 mm from C4: 640 * (2^(-2/12) - 2^(-26/12)) mm apart
    distance_mm = 640 * (2 ** (-2 / 12) - 2 ** (-26 / 12))
    expected_s = distance_mm / 450 + 450 / 4500 + 0.025 + GUARD_S
    assert melody.move_s[a][b] == pytest.approx(expected_s, rel=0.01)  # whole ticks cruise 0.8 % slower
    assert melody.move_s[b][a] == melody.move_s[a][b]


def test_a_finger_change_takes_the_slower_of_lifting_and_pressing_and_the_settling():
    high = voice("twin_lute", "high")
    frets = [place.fret for place in high.places]
    assert frets == [0, 2, 4, 5, 7, 9]
    assert high.move_s[1][2] == pytest.approx(0.018 + 0.006 + GUARD_S)  # press 18 ms, lift 12 ms
    assert high.move_s[1][0] == pytest.approx(0.012 + 0.006 + GUARD_S)  # only lifts
    assert high.move_s[0][1] == pytest.approx(0.018 + 0.006 + GUARD_S)  # only presses


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_no_voice_takes_time_to_stay_and_every_voice_takes_time_to_move(name):
    for v in ensemble(name).voices:
        places = range(len(v.places))
        assert all((v.move_s[p][q] == 0) == (p == q) for p in places for q in places)
        assert all(ready >= v.lead_s > 0 for ready in v.ready_s)
        assert v.rearm_s > 0


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_every_place_of_a_travelling_bar_stands_on_the_note_it_names_within_half_a_step(name):
    for v, part in zip(ensemble(name).voices, ensemble(name).mechanism.voices, strict=True):
        if part.kind == "travelling_stop":
            axis = ensemble(name).axes[part.carriage.motor]
            string = ensemble(name).instrument.string(part.string)
            for place in v.places:
                vibrating_mm = string.scale_length_mm - place.position_mm
                exact = string.midi + 12 * math.log2(string.scale_length_mm / vibrating_mm)
                assert place.cents == pytest.approx(100 * (exact - place.midi), abs=1e-6)
                assert abs(place.cents) <= 1731.3 * 0.51 * axis.step / vibrating_mm  # G07
                assert axis.lowest <= place.steps <= axis.highest


def test_a_bar_without_detents_gets_a_place_for_every_semitone_of_its_range():
    stops = 'stops = ["D4", "E4", "F#4", "G4", "A4", "B4", "C5", "D5", "E5", "F#5", "G5", "A5", "B5", "C6", "D6"]'
    melody = ensemble_of(changed("quay_zither", (stops, 'range = ["D4", "D6"]'))).voices[0]
    assert [place.midi for place in melody.places] == list(range(62, 87))


def test_a_hammer_with_touches_is_ready_for_the_slowest_of_them():
    # By hand from the file: pull-in 14 ms, pulse 18 ms, release 24 ms; touches of 11 ms (arriving after 16) and 9 ms (after 18).
    hammer = voice("harbour_carillon", "hammer_g4")
    found = [number for touch in hammer.touches for number in (touch.strength, touch.pulse_s, touch.lead_s)]
    assert found == pytest.approx([1.0, 0.018, 0.014, 0.7, 0.011, 0.016, 0.4, 0.009, 0.018])
    assert hammer.lead_s == pytest.approx(0.014)
    assert hammer.ready_s == pytest.approx((0.018,))
    # A full blow at 0 is over, with its coil off at 4 ms and its hammer back at 28 ms; the softest is switched on 18 ms before it sounds.
    assert hammer.rearm_s == pytest.approx(0.004 + 0.024 + 0.018 + GUARD_S)


def test_a_hammer_without_touches_strikes_in_one_way():
    assert voice("tower_chimes", "hammer_g4").touches == ()
