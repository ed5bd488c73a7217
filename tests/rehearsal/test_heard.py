"""What is heard of a plant: pitches by check value G06 and equal temperament, times and lengths by hand."""

import numpy as np
import pytest
from plant_bench import cycles, plant_of, ramp, rest, step_at

from jackrail.rehearsal.heard import heard_performance, told
from jackrail.rehearsal.plant import Assumptions, configure
from jackrail.rehearsal.plant_run import EVENTS, KINDS, PLACES
from workshop import changed, machine

# G06: stops from the nut of a 650 mm scale, 12 equal steps, +-0.01 mm
G06_MM = [36.48, 70.92, 103.42, 134.09, 163.05, 190.38, 216.18, 240.53, 263.51, 285.20, 305.67, 325.00]
TRAVELLING = "quay_zither"


def hear(name, told_events, *, places=(), zero_s=0.0, end_s=60.0, of=None):
    """The performance of (time, kind, device id, value, extra) events of an example machine."""
    played = of or machine(name)
    made = configure(played)

    def number(ident):
        ids = made.motor_ids if ident in made.motor_ids else made.coil_ids
        return ids.index(ident)

    rows = [(cycles(at_s), KINDS.index(kind), number(ident), value, extra) for at_s, kind, ident, value, extra in told_events]
    events = np.array(rows, EVENTS)
    path = np.array([(cycles(at_s), number(ident), position, 0.0) for at_s, ident, position in places], PLACES)
    return heard_performance(played, told(events, path, made, cycles(zero_s)), end_s)


def pluck(at_s, position_mm, ident="pick"):
    return (at_s, "pluck", ident, position_mm, 6.0)


def test_stops_of_g06_sound_their_semitones():
    long = changed(TRAVELLING, ('scale_length = "640 mm"', 'scale_length = "650 mm"'), ('highest = "505 mm"', 'highest = "520 mm"'))
    heard = hear(TRAVELLING, [pluck(float(n), mm) for n, mm in enumerate(G06_MM)], of=long)
    assert [note.midi for note in heard.notes] == [60 + k for k in range(1, 13)]  # above the open C4
    assert max(abs(note.cents) for note in heard.notes) < 0.06  # G07: 0.01 mm at 300 mm is 0.058 cents
    assert [note.onset_s for note in heard.notes] == [float(n) for n in range(12)]


def test_a_bar_off_its_stop_sounds_sharp_by_so_much():
    # G07: 1731.2 * dx / L_vib: 0.5 mm at D4, 640 - 69.823 = 570.18 mm left: 1.518 cents
    stop_mm = 640 * (1 - 2 ** (-2 / 12))
    (note,) = hear(TRAVELLING, [pluck(1.0, stop_mm + 0.5)]).notes
    assert (note.midi, note.cents) == (62, pytest.approx(1731.2 * 0.5 / 570.18, abs=0.002))


def test_a_note_lasts_until_the_next_pluck_or_its_ring_is_over():
    heard = hear(TRAVELLING, [pluck(1.0, 100.0), pluck(1.75, 100.0), pluck(9.0, 100.0)])
    assert [note.duration_s for note in heard.notes] == [0.75, 3.5, 3.5]  # ring of the melody string: 3.5 s


def test_time_zero_and_what_came_before_it():
    heard = hear(TRAVELLING, [pluck(0.5, 100.0), pluck(2.5, 100.0), pluck(7.0, 100.0)], zero_s=2.0, end_s=4.0)
    assert [note.onset_s for note in heard.notes] == [0.5]
    assert heard.end_s == 4.0


def test_a_moving_bar_glides_and_a_still_one_does_not():
    # from E4 to F4 in 0.1 s, straight: 640 * (1 - 2^(-4/12)) = 132.03 mm and 2^(-5/12): 160.54 mm; a semitone up
    e4, f4 = (640 * (1 - 2 ** (-k / 12)) for k in (4, 5))
    places = [(1.2 + n / 1000, "carriage", e4 + (f4 - e4) * n / 100) for n in range(1, 100)]
    events = [
        pluck(1.0, e4),
        (1.2, "starts", "carriage", e4, 0.0),
        (1.3, "rests", "carriage", f4, 0.0),
        pluck(1.5, f4),
        pluck(2.0, f4),
    ]
    first, second, _ = hear(TRAVELLING, events, places=places).notes
    assert second.glide == ()
    assert first.glide[0].cents == 0.0
    assert 2 <= len(first.glide) <= 8
    corner = next(point for point in first.glide if point.after_s > 0)
    assert corner.after_s == pytest.approx(0.2)  # it stays as struck until the bar leaves
    assert abs(corner.cents) < 1.0
    assert (first.glide[-1].after_s, first.glide[-1].cents) == (pytest.approx(0.3), pytest.approx(100.0))


def test_a_bar_at_the_bridge_leaves_nothing_to_sound_and_one_before_the_nut_the_open_string():
    heard = hear(TRAVELLING, [pluck(1.0, 635.0), pluck(2.0, -1.0)])
    assert [(note.onset_s, note.midi, note.cents) for note in heard.notes] == [(2.0, 60, 0.0)]


def test_a_kicked_pick_sounds_on_its_blow():
    kicked = changed(
        "quay_zither",
        ('kind = "turning_pick"\nmotor = "pick"', 'kind = "kicked_pick"\ncoil = "kick"\npulse = "12 ms"'),
        ('speed = "360 rpm"\nacceleration = "200 turn/s^2"\nstrike_at = "0.4 turn" # where in its turn the pick leaves the string\n', ""),
        ('index_switch = "index"\n', ""),
        (
            "coils = [\n",
            'coils = [\n  { id = "kick", rail = "main", resistance = "12 ohm", pull_in = "9 ms", release = "15 ms", max_on = "1 s" },\n',
        ),
        ('index = "A2"', 'index = "A2"\nkick = "D11"'),
    )
    (note,) = hear(TRAVELLING, [(1.0, "blow", "kick", 320.0, 1.0)], of=kicked).notes
    assert (note.onset_s, note.midi, note.cents) == (1.0, 72, pytest.approx(0.0))  # half the string: an octave


# ------------------------------------------------------------------------------------------------------- fretted


def finger(at_s, kind, fret):
    return (at_s, kind, f"press_high_{fret}", 0.0, 0.0)


HELD = [finger(1.0, "leaves", 5), finger(1.02, "pressed", 5)]
UP = [finger(2.0, "lets go", 5), finger(2.01, "lifted", 5)]


def lute(*events):
    return [(note.onset_s, note.midi) for note in hear("twin_lute", sorted(events)).notes]


def test_the_finger_that_is_down_sets_the_pitch():
    # open D4 is 62; fret 5 G4
    at = [pluck(at_s, float("nan"), "pick_high") for at_s in (0.5, 1.5, 2.5)]
    assert lute(*HELD, *UP, *at) == [(0.5, 62), (1.5, 67), (2.5, 62)]


def test_a_finger_on_its_way_chokes_the_string():
    for at_s in (1.01, 2.005):
        assert lute(*HELD, *UP, pluck(at_s, float("nan"), "pick_high")) == []


def test_the_finger_nearest_the_bridge_counts_and_one_behind_it_does_not():
    behind, beyond = finger(1.4, "leaves", 2), finger(1.4, "leaves", 9)
    at = pluck(1.5, float("nan"), "pick_high")
    assert lute(*HELD, behind, at) == [(1.5, 67)]
    assert lute(*HELD, beyond, at) == []
    assert lute(*HELD, beyond, finger(1.45, "pressed", 9), at) == [(1.5, 71)]


def test_a_fretted_note_ends_when_its_finger_lets_go_or_another_comes_down_beyond_it():
    at = pluck(1.5, float("nan"), "pick_high")
    (note,) = hear("twin_lute", [*HELD, at, *UP]).notes
    assert note.duration_s == pytest.approx(0.5)
    (note,) = hear("twin_lute", [*HELD, at, finger(1.6, "leaves", 9), finger(1.7, "pressed", 9)]).notes
    assert note.duration_s == pytest.approx(0.2)
    (note,) = hear("twin_lute", [*HELD, at, finger(1.6, "leaves", 2), finger(1.7, "pressed", 2)]).notes
    assert note.duration_s == 2.5  # its ring


# --------------------------------------------------------------------------------------------- hammers and chords


def test_hammers_sound_their_bars_and_the_drum_beats():
    blows = [
        (1.0, "blow", "coil_g4", float("nan"), 1.0),
        (1.5, "blow", "coil_g4", float("nan"), 0.61),
        (2.0, "blow", "coil_drum", float("nan"), 1.2),
    ]
    heard = hear("tower_chimes", blows)
    assert [(n.onset_s, n.midi, n.source, n.strength) for n in heard.notes] == [(1.0, 67, "bar_g4", 1.0), (1.5, 67, "bar_g4", 0.61)]
    assert [n.duration_s for n in heard.notes] == [0.5, 1.8]
    assert [(s.onset_s, s.voice, s.chord, s.sources, s.strength) for s in heard.strokes] == [(2.0, "beater", "", ("drum",), 1.0)]


def test_a_chord_bar_sounds_its_strings():
    heard = hear("quay_zither", [(1.0, "blow", "coil_em", float("nan"), 1.0)])
    assert [(s.voice, s.chord, s.sources) for s in heard.strokes] == [("bar_em", "Em", ("em_low", "em_mid", "em_top"))]
    assert heard.notes == ()


# --------------------------------------------------------------------------------------------- from edges to sound


def play_quay():
    """The bar to D4 and on to E4 with a turn of the pick at each, a chord between; edges as a perfect board makes them."""
    d4, e4 = (640 * (1 - 2 ** (-k / 12)) for k in (2, 4))
    there, on = round((d4 - 62.0) / 0.025), round((e4 - d4) / 0.025)
    with plant_of("quay_zither", Assumptions(start={"carriage": 62.0, "pick": 0.0})) as plant:
        plant.edge(8, 1, 0)
        plant.edge(7, 1, 0)
        edges = [(at_s, 9) for at_s in ramp(there, 18_000, 180_000, 0.1)]
        edges += [(at_s, 10) for start_s in (0.5, 1.0) for at_s in ramp(1600, 9600, 320_000, start_s)]
        edges += [(at_s, 9) for at_s in ramp(on, 18_000, 180_000, 0.8)]
        edges += [(at_s, pin) for at_s, pin in ((0.75, 2), (0.81, -2))]
        for at_s, pin in sorted(edges):
            if abs(pin) == 2:
                plant.edge(2, int(pin > 0), cycles(at_s))
            else:
                step_at(plant, [at_s], pin)
        rest(plant, 1.3)
        heard = told(plant.events(), plant.places(), plant.configuration, 0)
    return heard_performance(machine("quay_zither"), heard, 2.0)


def test_edges_of_a_perfect_board_are_heard_as_they_should():
    heard = play_quay()
    # the pick lets go at 0.4 turn = 640 steps: 9600^2 / 320000 = 288 steps of ramps, so at 0.03 + (640 - 144) / 9600 s
    strikes_s = 0.03 + (640 - 144) / 9600
    assert [note.midi for note in heard.notes] == [62, 64]
    for note, start_s in zip(heard.notes, (0.5, 1.0), strict=True):
        assert note.onset_s == pytest.approx(start_s + strikes_s, abs=1e-4)  # the load angle: some 0.03 ms
        assert abs(note.cents) < 0.2  # half a step of 0.025 mm is 0.04 cents, the friction's load angle about as much
    (first, _) = heard.notes
    assert first.glide[-1].cents == pytest.approx(200, abs=0.5)
    # relay 8 ms and pull-in 14 ms after the edge, by the file
    assert [(s.chord, s.onset_s) for s in heard.strokes] == [("G", pytest.approx(0.75 + 0.022, abs=5e-6))]
