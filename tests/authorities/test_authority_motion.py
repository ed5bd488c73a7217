"""Moves and steps against closed forms, published tables and ruckig: authorities/motion.toml."""

import math

import pytest
from ruckig import InputParameter, Result, Ruckig, Trajectory

from jackrail.motion.ramp import make_ramp
from jackrail.units import parse_quantity
from workshop import authority, changed, ensemble_of

VALUES = authority("motion")
AXES = VALUES["AXES"]["axes"]
STEPS = [*range(1, 130), 200, 333, 500, 1000, 1601, 4000, 12345]


def trapezoid_s(distance, speed, acceleration):
    """G34, the closed form."""
    if distance >= speed**2 / acceleration:
        return distance / speed + speed / acceleration
    return 2 * math.sqrt(distance / acceleration)


def ruckig_s(distance, speed, acceleration):
    """Time of the same move by an independent trajectory library (ruckig, MIT)."""
    wanted = InputParameter(1)
    wanted.target_position = [distance]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [speed], [acceleration], [math.inf]
    found = Trajectory(1)
    assert Ruckig(1).calculate(wanted, found) == Result.Working
    return found.duration


def peak_interval_s(distance, step, speed, acceleration):
    """Length of a step at the fastest moment of a move."""
    return step / min(speed, math.sqrt(distance * acceleration))


def exact_axis(name):
    """Ramp, step and acceleration of an axis, and the speed its ramp cruises at, which whole ticks make a little lower."""
    step, speed, acceleration = AXES[name]
    ramp = make_ramp(step, speed, acceleration)
    return ramp, step, step * ramp.tick_hz / ramp.cruise_ticks, acceleration


@pytest.mark.parametrize("distance, speed, acceleration, seconds", VALUES["G34"]["cases"])
def test_g34_the_closed_form_and_ruckig_agree_with_the_published_times(distance, speed, acceleration, seconds):
    assert trapezoid_s(distance, speed, acceleration) == pytest.approx(seconds, abs=1e-9)
    assert ruckig_s(distance, speed, acceleration) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize("distance, speed, acceleration, seconds", VALUES["G34"]["cases"])
def test_g34_a_ramp_makes_the_published_moves_within_a_step(distance, speed, acceleration, seconds):
    step = 0.025
    ramp = make_ramp(step, speed, acceleration)
    # Two parts: rounding the cruising interval up to a whole tick, and one step of the table.
    slower_s = distance / (step * ramp.tick_hz / ramp.cruise_ticks) - distance / speed
    assert -1.25 * step / speed <= ramp.duration_s(round(distance / step)) - seconds <= slower_s + 1.25 * step / speed


@pytest.mark.parametrize("name", AXES)
def test_g34_every_move_lasts_what_ruckig_says_within_one_step(name):
    ramp, step, speed, acceleration = exact_axis(name)
    for steps in STEPS[1:]:
        distance = steps * step
        error_s = ramp.duration_s(steps) - ruckig_s(distance, speed, acceleration)
        assert abs(error_s) <= peak_interval_s(distance, step, speed, acceleration), f"{steps} steps"


@pytest.mark.parametrize("name", AXES)
def test_g34_a_move_of_one_step_lasts_no_longer_than_the_first_interval(name):
    ramp, step, speed, acceleration = exact_axis(name)
    first_s = math.sqrt(2 * step / acceleration)
    assert 0 < ramp.duration_s(1) <= first_s + 1 / ramp.tick_hz
    assert abs(ramp.duration_s(1) - ruckig_s(step, speed, acceleration)) <= first_s


@pytest.mark.parametrize("name", AXES)
def test_g34_every_single_step_of_a_long_move_is_where_the_closed_form_has_it_within_two_steps(name):
    ramp, step, speed, acceleration = exact_axis(name)
    steps = 3000
    total_s = trapezoid_s(steps * step, speed, acceleration)
    rise_s = min(speed / acceleration, total_s / 2)
    for number in range(0, steps + 1, 7):
        at_s = ramp.step_time_s(number, steps)
        left_s = total_s - at_s
        if at_s < rise_s:
            ideal = acceleration * at_s**2 / 2
        elif left_s < rise_s:
            ideal = steps * step - acceleration * max(left_s, 0.0) ** 2 / 2
        else:
            ideal = speed * (at_s - rise_s / 2)
        assert abs(ideal - number * step) <= 2 * step


def test_g35_a_short_move_peaks_at_twice_its_mean_speed():
    ramp = make_ramp(0.025, 700.0, 20_000.0)  # 20 mm are too few to reach its speed
    steps = 800
    half = ramp.step_ticks(steps // 2, steps) - ramp.step_ticks(steps // 2 - 1, steps)
    peak_mm_s = 0.025 * ramp.tick_hz / half
    mean_mm_s = 0.025 * steps / ramp.duration_s(steps)
    row = VALUES["G35"]
    assert peak_mm_s / mean_mm_s == pytest.approx(row["peak_over_mean"], rel=0.02)  # entries hold the speed for 1/32 of the way
    assert ramp.step_time_s(steps // 2, steps) == pytest.approx(row["accelerates_for_share"] * ramp.duration_s(steps), abs=2 / ramp.tick_hz)


def test_g32_steps_a_millimetre():
    row = VALUES["G32"]
    machine = changed("quay_zither", ("microsteps = 8", f"microsteps = {row['microsteps']}"), ("450 mm/s", "300 mm/s"))
    axis = ensemble_of(machine).axes["carriage"]
    assert machine.mechanism.motor("carriage").steps_per_turn == row["steps_per_turn"]
    assert machine.mechanism.voices[0].carriage.travel_per_turn_mm == parse_quantity(row["travel_per_turn"], "travel per turn")
    assert 1 / axis.step == pytest.approx(row["steps_per_mm"], rel=1e-12)
    assert axis.steps_at(axis.position_at(0) + 10) == 10 * row["steps_per_mm"]


def austin_ramp():
    row = VALUES["G37"]
    step = 1 / row["steps_per_turn"]
    return make_ramp(step, 5.0, row["acceleration_rad_s2"] / (2 * math.pi), row["tick_hz"])


def test_g37_the_first_interval_is_the_exact_one():
    assert austin_ramp().entries[0][0] == round(VALUES["G37"]["exact_ticks"])


def test_g37_the_classical_shortened_start_is_not_used():
    row = VALUES["G37"]
    intervals = [interval for interval, _ in austin_ramp().entries[:4]]
    assert row["classical_ticks"][0] / row["exact_ticks"] == pytest.approx(0.676, abs=5e-4)
    assert intervals[0] > 1.4 * row["classical_ticks"][0]
    # The classical start is early for good: by its fourth step it is ahead by over 4 ms of the exact 50.1 ms.
    assert sum(intervals) == pytest.approx(row["exact_ticks"] * math.sqrt(4), abs=1)
    assert sum(intervals) - sum(row["classical_ticks"]) > 4000


@pytest.mark.parametrize("number, ratio", [(int(number), ratio) for number, ratio in VALUES["G39"]["ratios"].items()])
def test_g39_each_interval_stands_to_the_one_before_as_published(number, ratio):
    ramp = make_ramp(0.001, 1.0, 2.3, 2_000_000)  # slow, so that rounding to ticks is below the last digit published
    intervals = [interval for interval, count in ramp.entries if count == 1]
    assert intervals[number] / intervals[number - 1] == pytest.approx(ratio, abs=5e-5 + 2 / intervals[number - 1])


def test_g39_the_first_ratio_is_not_that_of_the_recurrence():
    intervals = [interval for interval, _ in austin_ramp().entries]
    assert abs(intervals[1] / intervals[0] - VALUES["G39"]["recurrence_ratios"]["1"]) > 0.18


def test_g40_constant_speed():
    row = VALUES["G40"]
    ramp = make_ramp(1 / row["steps_per_turn"], parse_quantity(row["speed"], "rotation speed"), 40.0, row["tick_hz"])
    assert ramp.cruise_ticks == row["ticks"]
