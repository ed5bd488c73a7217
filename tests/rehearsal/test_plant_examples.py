"""The motors of the example machines at the speeds of their files: within their torque they lose nothing and settle in time."""

import pytest
from plant_bench import bench, cycles, motor, plant_of, ramp, rest, step_at

from jackrail.machine.mechanism import TravellingStop, TurningPick
from jackrail.rehearsal.plant import Assumptions, configure
from workshop import MACHINE_NAMES, machine

QUAY = machine("quay_zither").mechanism.voices[0].carriage


def driven():
    """Machine, motor, where it starts, steps of a small move, speed and acceleration in steps, of every axis of the examples."""
    for name in MACHINE_NAMES:
        mechanism = machine(name).mechanism
        for voice in mechanism.voices:
            if isinstance(voice, TravellingStop):
                one = voice.carriage
                per_mm = mechanism.motor(one.motor).microsteps_per_turn / one.travel_per_turn_mm
                start, small = one.lowest_mm + 0.3 * (one.highest_mm - one.lowest_mm), (one.highest_mm - one.lowest_mm) / 12
                yield name, one.motor, start, round(small * per_mm), one.speed_mm_s * per_mm, one.acceleration_mm_s2 * per_mm
            pluck = getattr(voice, "pluck", None)
            if isinstance(pluck, TurningPick):
                turn = mechanism.motor(pluck.motor).microsteps_per_turn
                yield name, pluck.motor, 0.0, 1600, pluck.speed_turn_s * turn, pluck.acceleration_turn_s2 * turn


@pytest.mark.parametrize("driving", [pytest.param(one, id=f"{one[0]}-{one[1]}") for one in driven()])
def test_no_example_loses_a_step_at_its_own_speed(driving):
    name, ident, start, small, speed, acceleration = driving
    with plant_of(name, Assumptions(start={ident: start})) as plant:
        row = plant.configuration.motors[plant.configuration.motor_ids.index(ident)]
        at_s = 0.01
        for move in range(5):
            plant.edge(row["direction_pin"], (move + 1) % 2, cycles(at_s))
            times = ramp(small * (1 + move), speed, acceleration, at_s)
            step_at(plant, times, row["step_pin"])
            at_s = times[-1] + 0.03
        rest(plant, at_s)
        assert abs(plant.motor(ident).lost_steps) < 0.1


@pytest.mark.parametrize("steps", [40, 300, 1600, 12_000])
def test_a_carriage_has_settled_when_its_file_says(steps):
    with plant_of("quay_zither", Assumptions(start={"carriage": 100.0})) as plant:
        plant.edge(8, 1, 0)
        times = ramp(steps, QUAY.speed_mm_s / 0.025, QUAY.acceleration_mm_s2 / 0.025, 0.01)
        step_at(plant, times, 9)
        for n in range(100):
            plant.advance(cycles(times[-1] + QUAY.settle_s + n * 0.0002))
            # 0.02 mm is at most 0.3 cents at the top of the string (check value G07: 1731.2 * 0.02 / 135 mm)
            assert plant.motor("carriage").position == pytest.approx(100.0 + steps * 0.025, abs=0.02)


def test_a_supply_that_is_too_weak_makes_the_carriage_lose_steps():
    made = configure(machine("quay_zither"), Assumptions(start={"carriage": 100.0}))
    row = made.motors[0] | {"driver_minimum_v": 1.0}
    rails = [made.rails[0] | {"voltage_v": volts} for volts in (12.0, 4.0)]
    lost = []
    for rail in rails:
        with bench(rails=[rail], motors=[motor(**row)]) as plant:
            plant.edge(8, 1, 0)
            step_at(plant, ramp(8000, QUAY.speed_mm_s / 0.025, QUAY.acceleration_mm_s2 / 0.025, 0.01), 9)
            rest(plant, 0.6)
            lost.append(round(abs(plant.motor("0").lost_steps)))
    assert lost[0] == 0
    assert lost[1] > 40
    assert lost[1] % 4 == 0
