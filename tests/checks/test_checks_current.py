"""Current of each rail against sums done by hand from the machine file, and properties of any trace."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.checks.current import Trace, current_traces
from jackrail.cues.model import Cue
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of, examples, machine, tunes

END_S = 4.0


def traces(some_machine, *cues, end_s=END_S):
    found = current_traces(cues, ensemble_of(some_machine), some_machine.board, some_machine.supply, end_s)
    return {trace.rail: trace for trace in found}


def at(trace, time_s):
    return [amps for start, amps in zip(trace.times_s, trace.currents_a, strict=True) if start <= time_s][-1]


def still_a(current_a, hold, ohms, volts=12.0):
    """Windings of a microstepped motor: I^2 R, a tenth more for its driver, from the rail's voltage."""
    return (hold * current_a) ** 2 * ohms / 0.9 / volts


STILL_A = still_a(1.2, 0.5, 1.5) + still_a(0.6, 0.3, 5.6)  # carriage and pick of the zither, from its file
BOARD_ON_MAIN_A = 0.05 * 5 / (12 * 0.8)


def test_a_machine_at_rest_draws_holding_current_and_the_board():
    found = traces(machine("quay_zither"))
    assert found["five"].peak_a == pytest.approx(0.05)
    assert found["main"].peak_a == pytest.approx(STILL_A + BOARD_ON_MAIN_A)
    assert found["main"].mean_a == pytest.approx(found["main"].peak_a)


def test_a_moving_carriage_draws_its_full_windings_and_its_shaft_power_while_it_moves():
    zither = machine("quay_zither")
    axis = ensemble("quay_zither").axes["carriage"]
    found = traces(zither, Cue(1.0, "carriage", "move", 4000))["main"]
    turns_s = axis.step * axis.ramp.tick_hz / axis.ramp.cruise_ticks / 40
    shaft_w = 0.5 * 0.4 * 2 * math.pi * turns_s  # half the holding torque at full speed
    more_a = still_a(1.2, 1.0, 1.5) + shaft_w / 0.9 / 12 - still_a(1.2, 0.5, 1.5)
    assert at(found, 1.05) - at(found, 0.95) == pytest.approx(more_a)
    assert at(found, 1.0 + axis.ramp.duration_s(4000) + 0.001) == pytest.approx(at(found, 0.95))
    assert at(found, 1.0 + axis.ramp.duration_s(4000) - 0.001) == pytest.approx(at(found, 1.05))


def test_a_move_lasts_as_long_as_the_way_from_where_the_carriage_stands():
    ramp = ensemble("quay_zither").axes["carriage"].ramp
    found = traces(machine("quay_zither"), Cue(0.0, "carriage", "move", 4000), Cue(2.0, "carriage", "move", 3900))["main"]
    assert 2.0 + ramp.duration_s(100) in found.times_s


def test_a_held_finger_draws_from_press_to_lift():
    found = traces(machine("twin_lute"), Cue(1.0, "press_high_2", "hold"), Cue(3.0, "press_high_2", "release"))["main"]
    assert at(found, 2.0) - at(found, 0.5) == pytest.approx(12 / 40)
    assert at(found, 3.5) == pytest.approx(at(found, 0.5))


def test_two_coils_at_once_add_up_and_one_after_the_other_do_not():
    lute = machine("twin_lute")
    together = traces(lute, Cue(1.0, "coil_g", "pulse", 0.05), Cue(1.02, "coil_c", "pulse", 0.05))["main"]
    apart = traces(lute, Cue(1.0, "coil_g", "pulse", 0.05), Cue(1.06, "coil_c", "pulse", 0.05))["main"]
    assert together.peak_a - at(together, 0.5) == pytest.approx(2 * 12 / 10)
    assert apart.peak_a - at(apart, 0.5) == pytest.approx(12 / 10)
    assert together.peak_at_s == pytest.approx(1.02)
    assert together.mean_a == pytest.approx(apart.mean_a)


def test_a_rail_behind_two_converters_is_felt_by_both():
    five = 'from = "main", efficiency = 0.8 },'
    three = five + '\n  { id = "three", voltage = "2.5 V", limit = "9 A", from = "five", efficiency = 0.5 },'
    board = 'current = "50 mA"\nrail = "five"'
    lute = changed("twin_lute", (five, three), (board, 'current = "1 A"\nrail = "three"'))
    found = traces(lute)
    assert found["three"].peak_a == pytest.approx(1.0)
    assert found["five"].peak_a == pytest.approx(1.0 * 2.5 / 5 / 0.5)
    assert found["main"].peak_a - still_a(0.6, 0.3, 5.6) == pytest.approx(1.0 * 5 / 12 / 0.8)


def test_the_mean_is_the_area_under_the_steps():
    assert Trace("r", 1.0, (0.0, 1.0, 3.0), (1.0, 4.0, 0.0), 4.0).mean_a == pytest.approx((1 * 1 + 4 * 2 + 0) / 4)


@examples(40)
@given(tunes(), st.sampled_from(MACHINE_NAMES))
def test_a_trace_of_any_tune_is_never_negative_runs_in_time_and_ends_as_it_began(made, name):
    work = do_work(machine(name), made)
    rest = traces(machine(name))
    for trace in work.traces:
        assert list(trace.times_s) == sorted(set(trace.times_s))
        assert trace.times_s[0] == 0.0
        assert min(trace.currents_a) >= 0
        assert trace.mean_a <= trace.peak_a + 1e-9
        assert trace.currents_a[-1] == pytest.approx(rest[trace.rail].peak_a, abs=1e-9)
        assert trace.peak_a >= rest[trace.rail].peak_a - 1e-9
