"""The plant's motors against closed forms and worked cases.

Jones: D. W. Jones, Stepping Motor Physics (static load angle, resonance; formulas from memory, the resonance's seen in a copy).
Acarnley: P. Acarnley, Stepping Motors, pull-out torque of a voltage fed hybrid motor (from memory).
"""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plant_bench import DIRECTION, ENABLE, bench, cycles, motor, ramp, rest, seen, step_at

from workshop import examples


def at_rest(**changes):
    with bench(motors=[motor(**changes)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.001])
        rest(plant, 0.001)
        return plant.motor("0")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8])
def test_a_load_turns_the_rotor_by_the_static_angle_of_jones(share):
    # X = (S / 90 deg) * asin(T / h), S the full step of 1.8 deg: half the torque gives 0.6 deg
    state = at_rest(load_nm=share * 0.4)
    behind_deg = 360 * (state.commanded - state.position)
    assert behind_deg == pytest.approx(1.8 / 90 * math.degrees(math.asin(share)), abs=1e-4)


def test_half_the_holding_current_holds_half_the_torque():
    # hold 0.5 from 0.1 s after the last step: asin(0.25 / 0.5) is the angle that asin(0.5) is at full current
    state = at_rest(load_nm=0.25 * 0.4, hold=0.5)
    assert 360 * (state.commanded - state.position) == pytest.approx(0.6, abs=1e-4)


def test_a_load_above_the_holding_torque_turns_the_rotor_away():
    with bench(motors=[motor(load_nm=0.42)]) as plant:
        step_at(plant, [0.001])
        plant.advance(cycles(0.2))
        assert plant.motor("0").position < -1


def test_the_rotor_swings_at_its_resonance():
    # G41: 0.40 N*m, 54 g*cm2 and 200 steps give 306 Hz, 1 % (Jones); one step of 1/32 is a small swing
    with bench(motors=[motor(microsteps=32, damping_nms=1e-4)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.02])
        crossings, before = [], None
        for n in range(1, 4000):
            at_s = 0.02 + n * 10e-6
            plant.advance(cycles(at_s))
            state = plant.motor("0")
            off = state.position - state.commanded
            if before is not None and before < 0 <= off:
                crossings.append(at_s)
            before = off
    assert len(crossings) > 8
    assert (len(crossings) - 1) / (crossings[-1] - crossings[0]) == pytest.approx(306, rel=0.01)


def test_the_current_rises_as_a_winding_lets_it():
    # G42: 12 V, 1.5 ohm, 2.8 mH: 1.7 A after 0.446 ms, and by I = V/R (1 - exp(-t R/L)) 0.813 A after 0.2 ms; 1 %
    with bench(motors=[motor(enable_pin=ENABLE)]) as plant:
        plant.advance(cycles(0.01))
        assert plant.motor("0").current_a == 0
        plant.edge(ENABLE, 0, cycles(0.01))
        plant.advance(cycles(0.0102))
        assert plant.motor("0").current_a == pytest.approx(12 / 1.5 * (1 - math.exp(-0.2e-3 * 1.5 / 2.8e-3)), rel=0.01)
        plant.advance(cycles(0.01 + 0.440e-3))
        assert plant.motor("0").current_a < 1.7
        plant.advance(cycles(0.01 + 0.451e-3))
        assert plant.motor("0").current_a == 1.7


def pull_out_nm(turns_s):
    """Acarnley: k*(V/Z - w*psi*R/Z^2), psi the flux of 50 pole pairs, at most what the set current gives; the bench's motor."""
    volts, ohms, henry, amps, holding_nm = 12.0, 1.5, 2.8e-3, 1.7, 0.4
    electrical = math.tau * 50 * turns_s
    k = holding_nm / amps
    z2 = ohms**2 + (electrical * henry) ** 2
    return min(holding_nm, k * (volts / math.sqrt(z2) - k * math.tau * turns_s * ohms / z2))


@pytest.mark.parametrize("turns_s", [1.0, 4.0, 8.0, 16.0])
@pytest.mark.parametrize("share,loses", [(0.93, False), (1.07, True)])
def test_a_motor_pulls_out_where_acarnley_says(turns_s, share, loses):
    # the load is friction here: a weight hung on at once would swing the rotor out of a field that can carry it
    load = share * pull_out_nm(turns_s)
    steps = round(1600 * turns_s)
    with bench(motors=[motor(friction_nm=load)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        times = ramp(steps, 1600 * turns_s, 1600 * 5.0 * turns_s, 0.01)  # 0.2 s up: inertia takes some 1 % of the torque
        at_s = times[0]
        for at_s in times[: steps * 3 // 4]:  # still at full speed
            step_at(plant, [at_s])
        lost = plant.motor("0").lost_steps
    assert (abs(lost) > 2) == loses


def test_pull_out_torque_falls_with_speed_and_with_voltage():
    # the closed form itself, at numbers worked by hand: at 8 turns/s X = 7.04 ohm, Z = 7.20, k = 0.2353, E = 11.83 V
    assert pull_out_nm(8.0) == pytest.approx(0.2353 * (12 / 7.197 - 11.83 * 1.5 / 51.80), rel=1e-3)


@given(st.integers(500, 9000), st.integers(40, 400), st.floats(0.05, 0.9))
@examples(40)
def test_steps_are_lost_in_whole_electrical_turns(rate, count, friction_share):
    # 4 full steps are one turn of the field: any rotor at rest near its field is off by a multiple of them (Jones)
    with bench(motors=[motor(microsteps=1, friction_nm=0.01 * friction_share)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.001 + n / rate for n in range(count)])
        rest(plant, 0.001 + count / rate, longest_s=10.0)
        lost = plant.motor("0").lost_steps
    assert abs(lost - 4 * round(lost / 4)) < 0.05


def test_a_start_far_too_fast_loses_steps_and_a_slow_one_none():
    def lost(rate):
        with bench(motors=[motor(microsteps=1, friction_nm=0.02)]) as plant:
            plant.edge(DIRECTION, 1, 0)
            step_at(plant, [0.001 + n / rate for n in range(400)])
            rest(plant, 0.001 + 400 / rate, longest_s=10.0)
            return round(plant.motor("0").lost_steps)

    assert lost(150) == 0  # a few hundred full steps a second is the usual start-stop rate; common practice, no source
    assert lost(6000) >= 100


def test_half_a_turn_lands_on_half_a_turn():
    with bench(motors=[motor(friction_nm=0.002)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        times = ramp(800, 8000, 160_000, 0.01)
        step_at(plant, times)
        rest(plant, times[-1])
        state = plant.motor("0")
        assert state.position == pytest.approx(0.5, abs=1e-4)
        assert abs(state.lost_steps) < 0.05
        ((start_s, start, _),), ((rest_s, end, _),) = seen(plant, "starts"), seen(plant, "rests")
        assert (start_s, start) == (pytest.approx(times[0], abs=1e-7), 0.0)
        assert times[-1] < rest_s < times[-1] + 0.1
        assert end == state.position


@pytest.mark.parametrize("level,reverse,way", [(1, 0, 1), (0, 0, -1), (1, 1, -1), (0, 1, 1)])
def test_direction_and_its_reversal(level, reverse, way):
    with bench(motors=[motor(reversed=reverse)]) as plant:
        plant.edge(DIRECTION, level, 0)
        step_at(plant, [0.001 + n / 1000 for n in range(16)])
        rest(plant, 0.02)
        assert plant.motor("0").position == pytest.approx(way * 0.01, abs=1e-4)


def test_no_current_no_torque_and_the_field_waits_where_it_was_stepped_to():
    # four full steps while disabled are one electrical turn: the rotor does not notice them when it is enabled again
    with bench(motors=[motor(enable_pin=ENABLE, microsteps=1, friction_nm=0.002)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.001 + n / 500 for n in range(4)])
        rest(plant, 0.02)
        assert plant.motor("0").position == 0
        plant.edge(ENABLE, 0, cycles(0.3))
        rest(plant, 0.3)
        assert plant.motor("0").position == pytest.approx(0, abs=1e-4)
        assert plant.motor("0").lost_steps == pytest.approx(4, abs=0.02)


def test_nothing_is_computed_at_rest_and_an_edge_brings_it_back():
    with bench(motors=[motor(friction_nm=0.002)]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, [0.001])
        slept_s = rest(plant, 0.001)
        assert 0.1 < slept_s < 0.12  # the current falls to hold 0.1 s after the last step
        told = len(plant.samples())
        plant.advance(cycles(3600.0))
        assert len(plant.samples()) == told
        step_at(plant, [3600.5])
        plant.advance(cycles(3600.51))
        assert plant.motor("0").position > 1 / 1600
        assert len(plant.samples()) > told


def test_ends_stop_the_carriage_and_cost_whole_electrical_turns():
    with bench(motors=[motor(travel=40.0, start=60.0, low_end=57.0, high_end=100.0, friction_nm=0.01, damping_nms=4e-3)]) as plant:
        times = ramp(400, 2000, 20_000, 0.01)  # 10 mm towards the nut; the end lies 3 mm away
        step_at(plant, times)
        rest(plant, times[-1])
        state = plant.motor("0")
        assert min(plant.places()["position"]) >= 57.0
        assert state.commanded == pytest.approx(50.0)
        assert state.position == pytest.approx(57.0, abs=0.81)  # within one electrical turn, 4 steps of 0.2 mm, of the end
        turns = state.lost_steps / 4
        assert abs(turns - round(turns)) < 0.02 or state.position == 57.0
        assert seen(plant, "hits")[0][1] == 57.0


def test_positions_are_told_every_millisecond_and_in_time_order():
    with bench(motors=[motor()]) as plant:
        plant.edge(DIRECTION, 1, 0)
        step_at(plant, ramp(1600, 8000, 80_000, 0.01))
        at = plant.places()["cycle"].tolist()
        assert len(at) > 100
        assert {b - a for a, b in pairwise(at)} == {16_000}
