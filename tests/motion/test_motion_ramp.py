"""Properties of ramps: what must hold for a table that a timer runs. Times against closed forms: tests/authorities."""

import itertools

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.motion.ramp import LONGEST_INTERVAL, MOST_ENTRIES, make_ramp


@st.composite
def ramps(draw):
    """Ramps over the whole range that a machine file allows, those that cannot be made left out."""
    step = draw(st.floats(0.001, 2.0))
    speed = step * draw(st.floats(40, 40_000))
    try:
        return make_ramp(step, speed, step * draw(st.floats(2_000, 1e7))), step, speed
    except BadInput:
        assume(False)


@given(ramps(), st.integers(0, 5000))
def test_a_move_is_as_long_as_its_last_step_says_and_runs_alike_backwards(made, steps):
    ramp, _, _ = made
    times = [ramp.step_ticks(step, steps) for step in range(steps + 1)]
    assert times[0] == 0
    assert times[-1] == ramp.ticks(steps)
    intervals = [b - a for a, b in itertools.pairwise(times)]
    assert intervals == intervals[::-1]
    assert all(interval >= ramp.cruise_ticks for interval in intervals)


@given(ramps())
def test_the_speed_asked_for_is_never_exceeded_and_reached_within_one_tick(made):
    ramp, step, speed = made
    assert step * ramp.tick_hz / ramp.cruise_ticks <= speed * (1 + 1e-9)
    assert step * ramp.tick_hz / (ramp.cruise_ticks - 1) > speed * (1 - 1e-6)


@given(ramps())
def test_a_table_fits_the_board(made):
    ramp, _, _ = made
    assert len(ramp.entries) <= MOST_ENTRIES
    assert all(ramp.cruise_ticks < interval <= LONGEST_INTERVAL and 1 <= count <= 255 for interval, count in ramp.entries)
    assert ramp.cruise_ticks <= LONGEST_INTERVAL


@given(ramps(), st.integers(1, 3000), st.data())
def test_steps_done_turns_step_times_back(made, steps, data):
    ramp, _, _ = made
    step = data.draw(st.integers(1, steps))
    half_tick_s = 0.5 / ramp.tick_hz
    assert ramp.steps_done(ramp.step_time_s(step, steps) + half_tick_s, steps) == step
    assert ramp.steps_done(ramp.step_time_s(step, steps) - half_tick_s, steps) == step - 1
    assert ramp.steps_done(-1.0, steps) == 0
    assert ramp.steps_done(ramp.duration_s(steps) + 1.0, steps) == steps


@given(ramps(), st.integers(0, 4000))
def test_a_longer_move_takes_longer(made, steps):
    ramp, _, _ = made
    assert ramp.ticks(steps) < ramp.ticks(steps + 1)


@given(ramps(), st.integers(0, 2000), st.integers(0, 2000))
def test_two_moves_never_take_less_than_one_of_the_same_length(made, one, other):
    ramp, _, _ = made
    assert ramp.ticks(one) + ramp.ticks(other) >= ramp.ticks(one + other)


@pytest.mark.parametrize(
    "step, speed, acceleration, words",
    [
        (0.2, 450.0, 100.0, "acceleration is too slow for the timer"),
        (0.2, 5.0, 4500.0, "speed is too slow for the timer"),
        (0.0025, 90.0, 10.0, "too long a table"),
    ],
)
def test_a_ramp_that_the_board_cannot_run_is_refused(step, speed, acceleration, words):
    with pytest.raises(BadInput, match=words) as caught:
        make_ramp(step, speed, acceleration)
    assert {fault.code for fault in caught.value.faults} == {"range"}
    assert all(fault.value and fault.limit and fault.hint for fault in caught.value.faults)


def test_both_slow_values_are_told_at_once():
    with pytest.raises(BadInput) as caught:
        make_ramp(0.2, 5.0, 100.0)
    assert [fault.where for fault in caught.value.faults] == ["acceleration", "speed"]
