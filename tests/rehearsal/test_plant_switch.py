"""The plant's switches and picks at positions and times worked by hand."""

from itertools import pairwise

import pytest
from plant_bench import DIRECTION, HOME, HZ, bench, contact, cycles, motor, plant_of, ramp, rest, seen, step_at, switch

from jackrail.rehearsal.plant import Assumptions, configure, wired_pin
from workshop import changed, machine

MM = {"travel": 40.0, "friction_nm": 0.002, "microsteps": 8}  # 0.025 mm a step


def creep(plant, pins, steps, start_s, *, up):
    """Steps of 2 ms, 12.5 mm/s at 0.025 mm: (position after each, level of every pin then)."""
    (step_pin, direction_pin), levels, way = pins, {}, []
    plant.on_pin(lambda pin, level, _: levels.__setitem__(pin, level))
    plant.edge(direction_pin, int(up), cycles(start_s))
    for n in range(steps):
        at_s = start_s + 0.002 * n
        step_at(plant, [at_s], step_pin)
        plant.advance(cycles(at_s + 0.0019))
        way.append((plant.motor(plant.configuration.motor_ids[0]).position, dict(levels)))
    return way


def test_home_closes_where_the_file_says_on_the_side_of_its_end():
    with plant_of("quay_zither", Assumptions(bounce_s=0.0, start={"carriage": 62.0})) as plant:
        assert (plant.motor("carriage").position, plant.configuration.switches[0]["closed_high"]) == (62.0, 0)
        down = creep(plant, (9, 8), 100, 0.01, up=False)
        closed = [at_mm for at_mm, levels in down if levels[14] == 0]  # home is closed = low, on A0
        assert max(closed) == pytest.approx(60.0, abs=0.026)
        assert all(levels[14] == 1 for at_mm, levels in down if at_mm > 60.0)
        assert len(closed) > 10
        up = creep(plant, (9, 8), 60, 0.5, up=True)
        assert min(at_mm for at_mm, levels in up if levels[14] == 1) == pytest.approx(60.05, abs=0.026)  # 0.05 mm of play


def test_home_at_the_far_end_closes_beyond_it():
    far = changed("quay_zither", ('home_at = "60 mm"', 'home_at = "500 mm"'))
    made = configure(far, Assumptions())
    home = made.contacts[0]
    assert (home["low"], home["high"]) == ([500.0], [float("inf")])
    # it does not start at home: 0.37 of the 445 mm away from the far end, worked by hand
    assert made.motors[0]["start"] == pytest.approx(505 - 0.37 * 445)
    assert configure(machine("quay_zither")).motors[0]["start"] == pytest.approx(60 + 0.37 * 445)


def test_detents_close_within_their_half_width_of_each_stop():
    # E4 on the open C4 of 640 mm lies at 640 * (1 - 2^(-4/12)) = 132.032 mm (check value G06's formula)
    with plant_of("quay_zither", Assumptions(bounce_s=0.0, start={"carriage": 130.5})) as plant:
        way = creep(plant, (9, 8), 130, 0.01, up=True)
        closed = [at_mm for at_mm, levels in way if levels[15] == 0]
        assert min(closed) == pytest.approx(132.032 - 0.4, abs=0.026)
        assert max(closed) == pytest.approx(132.032 + 0.4 + 0.05, abs=0.026)
        assert way[0][1][15] == way[-1][1][15] == 1


def test_stops_too_near_each_other_for_the_switch_are_one():
    near = changed("quay_zither", ('stops = ["D4", "E4",', 'stops = ["100 mm", "100.7 mm", "D4", "E4",'))
    detent = configure(near).contacts[1]
    spans = list(zip(detent["low"], detent["high"], strict=True))
    # D4 lies at 640 * (1 - 2^(-2/12)) = 69.82 mm, before them
    assert spans[1] == (pytest.approx(99.6), pytest.approx(101.1))
    assert all(b[0] - a[1] > 0.1 for a, b in pairwise(spans))


def test_the_index_closes_at_rest_every_turn():
    # +-0.04 turn of rest, 1/1600 turn a step, 0.002 turn of play: from 0.5 on it closes at 0.96 and opens at 1.042, again at 1.96
    with bench(
        motors=[motor(start=0.5, friction_nm=0.002)], switches=[switch()], contacts=[contact([-0.04], [0.04], period=1.0, slack=0.002)]
    ) as plant:
        way = creep(plant, (9, 8), 2500, 0.01, up=True)
    levels = [(at, levels[HOME]) for at, levels in way]
    changes = [at for (at, now), (_, before) in zip(levels[1:], levels, strict=False) if now != before]
    assert changes == pytest.approx([0.96, 1.042, 1.96, 2.042], abs=0.0007)
    assert levels[0][1] == 1


def test_one_switch_of_several_picks_is_closed_when_all_are_at_rest():
    contacts = [contact([-0.04], [0.04], motor=n, period=1.0, slack=0.002) for n in (0, 1)]
    motors = [motor(friction_nm=0.002), motor(start=0.5, step_pin=10, direction_pin=7, friction_nm=0.002)]
    with bench(motors=motors, switches=[switch()], contacts=contacts) as plant:
        first = creep(plant, (9, 8), 1, 0.01, up=True)
        assert first[0][1][HOME] == 1
        creep(plant, (10, 7), 800, 0.1, up=True)
        closes = seen(plant, "closes")
        assert len(closes) == 1
        assert closes[0][0] == pytest.approx(0.1 + 0.002 * 0.46 * 1600, abs=0.004)  # 0.46 turn on from 0.5


def changes_of(seed, bounce_s=0.0015, arm=()):
    """Every change of a home switch that a carriage runs over at 100 mm/s: (time, level)."""
    told = []
    row = motor(**MM, start=61.0)
    with bench(motors=[row], switches=[switch(bounce_s=bounce_s)], contacts=[contact([-1e9], [60.0])], seed=seed) as plant:
        for fault in arm:
            plant.fault(*fault)
        plant.on_pin(lambda _, level, cycle: told.append((cycle / HZ, level)))
        plant.edge(DIRECTION, 0, 0)
        times = ramp(80, 4000, 80_000, 0.01)
        step_at(plant, times)
        rest(plant, times[-1])
        crossed = seen(plant, "closes")
    return told, crossed


def test_a_closing_switch_bounces_for_its_time_and_ends_closed():
    told, ((closed_s, *_),) = changes_of(1)
    assert told[0] == (0.0, 1)  # open is high: as of the moment the listener is there
    assert told[1] == (closed_s, 0)
    assert told[-1][1] == 0
    assert len(told) % 2 == 0
    assert len(told) >= 4
    assert closed_s < told[-1][0] <= closed_s + 0.0015
    assert [level for _, level in told[1:]] == [n % 2 for n in range(len(told) - 1)]


def test_bounces_are_the_same_for_a_seed_and_others_for_another():
    assert changes_of(7) == changes_of(7)
    assert changes_of(7) != changes_of(8)


def test_a_switch_that_bounces_for_long():
    told, ((closed_s, *_),) = changes_of(3, arm=[("bounces", "0", 0, 0.02)])
    assert closed_s + 0.0055 < told[-1][0] <= closed_s + 0.02
    assert told[-1][1] == 0
    assert len(told) > 20


@pytest.mark.parametrize("fault,levels", [("stuck open", [1]), ("stuck closed", [1, 0])])
def test_a_stuck_switch_shows_one_thing_whatever_happens(fault, levels):
    told, crossed = changes_of(1, arm=[(fault, "0", 0)])
    assert [level for _, level in told] == levels
    assert len(crossed) == 1  # what truly happens is told all the same


def test_the_first_report_is_of_every_switch():
    told = []
    with plant_of("quay_zither") as plant:
        plant.on_pin(lambda pin, level, _: told.append((pin, level)))
    assert told == [(14, 1), (15, 1), (16, 1)]  # neither at home, nor in a stop, nor the pick at rest: all open, high


# ---------------------------------------------------------------------------------------------------------- picks


@pytest.mark.parametrize("strike_at,start", [(0.4, 0.0), (0.25, 0.0), (0.9, 0.7)])
def test_a_pick_at_constant_speed_plucks_when_its_share_of_the_turn_is_over(strike_at, start):
    # one turn a second: it lets go (strike_at - start) seconds after it set out; 0.5 ms for the load angle and the steps of 0.6 ms
    with bench(motors=[motor(strike_at=strike_at, start=start, friction_nm=0.002)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.1 + n / 1600 for n in range(1, 1601)])
        rest(plant, 1.1)
        plucks = seen(plant, "pluck")
        assert len(plucks) == 1
        assert plucks[0][0] == pytest.approx(0.1 + strike_at - start, abs=5e-4)
        assert plucks[0][2] == pytest.approx(1.0, abs=0.1)


def test_a_pick_plucks_once_a_turn_and_backwards_too():
    with bench(motors=[motor(strike_at=0.4, friction_nm=0.002)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.01 + n / 4000 for n in range(4800)])
        plant.advance(cycles(1.5))
        assert len(seen(plant, "pluck")) == 3
        plant.edge(DIRECTION, 0, cycles(1.5))
        step_at(plant, [1.5 + n / 4000 for n in range(1600)])
        rest(plant, 2.0)
        assert len(seen(plant, "pluck")) == 4


def test_a_pick_that_swings_about_the_string_plucks_it_once():
    # full steps of 0.005 turn from 0.4 to 0.5, just past the string: a lightly damped rotor swings to and fro over it
    with bench(motors=[motor(microsteps=1, start=0.4, strike_at=0.4998, friction_nm=0.001, damping_nms=2e-4)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.01 + n / 5 for n in range(20)])
        rest(plant, 4.0)
        assert plant.motor("0").position == pytest.approx(0.5, abs=1e-4)
        assert len(seen(plant, "pluck")) == 1


def test_a_pluck_tells_where_the_bar_is():
    motors = [motor(**MM, start=121.0), motor(step_pin=10, direction_pin=7, strike_at=0.4, carriage=0, friction_nm=0.002)]
    with bench(motors=motors) as plant:
        for pin in (DIRECTION, 7):
            plant.edge(pin, 1, 0)
        step_at(plant, [0.01 + n / 1600 for n in range(1, 1601)], 10)
        # and while the carriage runs at 50 mm/s, 2000 steps/s: it sets out 0.2 s before the next pluck at 2.4 s
        edges = [(2.0 + n / 1600, 10) for n in range(1, 1601)] + [(2.2 + n / 2000, 9) for n in range(1, 1001)]
        for at_s, pin in sorted(edges):
            step_at(plant, [at_s], pin)
        (_, still_mm, _), (second_s, running_mm, _) = seen(plant, "pluck", 1)
        assert still_mm == 121.0
        assert second_s == pytest.approx(2.4, abs=5e-4)
        assert running_mm == pytest.approx(121.0 + 50 * (second_s - 2.2), abs=0.05)  # two steps


# --------------------------------------------------------------------------------------------------------- faults


def moved(fault, *arguments, steps=400):
    with bench(motors=[motor(**MM, start=100.0, damping_nms=4e-3)]) as plant:
        plant.fault(fault, "0", *arguments)
        plant.edge(DIRECTION, 1, 0)
        times = ramp(steps, 4000, 40_000, 0.1)
        step_at(plant, times)
        plant.advance(cycles(times[-1] + 1.0))
        state = plant.motor("0")
        assert state.still
        return state.position, state.lost_steps


@pytest.mark.parametrize("turns", [1, -3])
def test_lost_steps_throw_the_carriage_by_whole_electrical_turns(turns):
    # 4 full steps of 40 mm / 200 each: 0.8 mm an electrical turn, at rest long before the move
    position, lost = moved("lost steps", 0, turns)
    assert position == pytest.approx(110.0 + 0.8 * turns, abs=0.02)
    assert lost == pytest.approx(-4 * turns, abs=0.1)


def test_a_carriage_stalls_at_an_obstacle_or_where_it_stands():
    assert moved("stalled", 0, 104.0)[0] == pytest.approx(104.0, abs=0.81)
    assert moved("stalled", 0, 104.0)[0] <= 104.0
    assert moved("stalled", 0, 90.0)[0] == pytest.approx(110.0, abs=0.02)  # behind it
    assert moved("stalled", 0, float("nan")) == (100.0, pytest.approx(50.0))  # 400 microsteps are 50 full steps


def test_a_fault_waits_for_its_time():
    position, _ = moved("stalled", cycles(5.0), 104.0)
    assert position == pytest.approx(110.0, abs=0.02)


def test_a_fault_of_nothing_is_refused():
    with bench(motors=[motor()]) as plant:
        with pytest.raises(ValueError, match="no switch '0'"):
            plant.fault("stuck open", "0")
        with pytest.raises(KeyError):
            plant.fault("moods", "0")


def test_rails_in_a_ring_make_no_plant():
    ring = [{"voltage_v": 5.0, "source_ohm": 0.0, "from": 1 - n, "efficiency": 0.8, "base_a": 0.0} for n in (0, 1)]
    with pytest.raises(ValueError, match="no plant"):
        bench(rails=ring)


def test_pins_by_their_names():
    # the contract of the board: D0-D13 are 0-13, A0-A5 14-19, outputs of the shift registers 32 on
    assert [wired_pin(pin) for pin in ("D2", "D13", "A0", "A5", "S0", "S31", None)] == [2, 13, 14, 19, 32, 63, -1]
