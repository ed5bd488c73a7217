"""Chip and plant joined: steps made by the chip move the machine, its switches reach the chip's pins; worked by hand."""

import pytest
from emulated import needs_rig, quirk

from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.plant_run import KINDS
from jackrail.rehearsal.rig import CLOCK_HZ, Rig
from workshop import machine

pytestmark = needs_rig
STEP, MIRROR = 9, 7
LOOP = 20  # cycles in which the program has looked at its switch again
PLANT_STEP = 16_000  # the plant looks at least once a millisecond while a motor turns


@pytest.fixture
def rig():
    with Rig(quirk("pins", "joined"), configure(machine("quay_zither"))) as one:
        yield one


def happened(rig, kind, device):
    events = rig.plant.events()
    mine = events[(events["kind"] == KINDS.index(kind)) & (events["device"] == device)]
    return mine["cycle"].astype(int).tolist()


def test_steps_move_the_carriage(rig):
    # 40 mm a turn of 200 steps in 8 microsteps: 0.025 mm each; from 224.65 mm (tests' machine) towards the nut.
    rig.run(0.5)
    at, levels = rig.edges_of(STEP)
    assert len(at[levels == 1]) == 250
    assert rig.plant.motor("carriage").commanded == pytest.approx(224.65 - 250 * 0.025, abs=1e-9)


def test_a_switch_reaches_the_program(rig):
    # The plant finds a crossing when it next looks, and then stamps the event where it was. By hand: the detent at
    # 212.85 mm is closed within 0.4 mm: from 213.25 to 212.45 at 12.5 mm/s, so for 0.064 s and the slack of 0.05 mm.
    rig.run(1.2)
    (closed,), (opened,) = happened(rig, "closes", 1), happened(rig, "opens", 1)
    assert closed / CLOCK_HZ == pytest.approx((224.65 - 213.25) / 12.5, abs=0.006)
    assert (opened - closed) / CLOCK_HZ == pytest.approx(0.85 / 12.5, abs=0.006)
    at, levels = rig.edges_of(MIRROR)
    shown = [(int(cycle), int(level)) for cycle, level in zip(at, levels, strict=True) if cycle > 1000]
    assert 0 < shown[0][0] - closed <= PLANT_STEP + LOOP
    assert shown[0][1] == 0
    later = [cycle - opened for cycle, level in shown if cycle > opened and level == 1]
    assert 0 < later[0] <= PLANT_STEP + LOOP


def test_a_fault_armed_between_two_runs_counts(rig):
    rig.run(0.1)
    assert rig.level(MIRROR) == 1
    rig.plant.fault("stuck closed", "detent", rig.cycle + 1000)
    rig.run(0.1)
    at, levels = rig.edges_of(MIRROR)
    assert levels[-1] == 0
    assert 1000 <= at[-1] - 0.1 * CLOCK_HZ <= 1000 + 2 * LOOP


def test_a_reset_lets_the_machine_stand(rig):
    rig.run(0.2)
    rig.reset("external")
    assert rig.level(STEP) == 2
    before = rig.plant.motor("carriage").commanded
    rig.run(cycles=100)  # the program is not yet at its first step
    assert rig.plant.motor("carriage").commanded == before


def test_rehearsals_are_the_same_to_the_bit_however_they_are_sliced():
    logs = []
    for slice_s in (1.2, 0.0501, 0.0007):
        with Rig(quirk("pins", "joined"), configure(machine("quay_zither"))) as rig:
            while rig.cycle < 1.2 * CLOCK_HZ:
                rig.run_until(min(rig.cycle + round(slice_s * CLOCK_HZ), round(1.2 * CLOCK_HZ)))
            logs.append((rig.edges().tobytes(), rig.plant.events().tobytes()))
    assert logs[0] == logs[1] == logs[2]
