"""How long and how often the board lets a coil be on, by the rule of docs/SPEC-roll.md: heat, max_on, max_duty."""

import re

import pytest
from any_rolls import block_of, end_of, literal
from board_bench import MARK_REASON, PLAYING, READY, STOPPING, Bench, words_of
from emulated import needs_rig

from jackrail.roll.format import Op
from jackrail.roll.machine_block import pack_machine
from workshop import ROOT, changed, ensemble_of

pytestmark = needs_rig
TOO_LONG, FINISHED = 10, 1
SPEC = (ROOT / "docs" / "SPEC-roll.md").read_text(encoding="utf-8")
MORE_MS = float(re.search(r"A board may\s+allow (\d+) ms more", SPEC)[1])
EACH_MS = 1.0
"""The board looks at its coils now and then: it may take each time on for so much longer or shorter than it is."""
LEAD_US = 20_000


def chimes(max_on="120 ms", max_duty=0.99):
    """The chimes with the first hammer's coil as given; its pulse is 12 ms."""
    row = 'id = "coil_g4", rail = "main", resistance = "12 ohm", pull_in = "9 ms", release = "15 ms", max_on = "120 ms"'
    return changed("tower_chimes", (row, row.replace("120 ms", max_on) + f", max_duty = {max_duty}"))


def on_times(machine, *records):
    """Milliseconds for which the first coil was on each time, and the reason why play ended. records: (op, coil, wait us)."""
    body = b"".join(literal(op, coil, wait_us, ()) for op, coil, wait_us in records) + end_of(())
    block = pack_machine(ensemble_of(machine), machine.board)
    with Bench(machine, block_of(body, (), block)) as board:
        board.home()
        board.type("play\r")
        assert board.until(lambda: board.state == PLAYING)
        assert board.until(lambda: board.state not in (PLAYING, STOPPING), 300)
        board.run(0.05)
        last = board.last(MARK_REASON)
        assert board.hear().endswith("stopped: " + words_of(last) + (", at 0" if last == TOO_LONG else "") + "\r\n")
        assert board.state == READY  # it still knows where everything is
        strokes = board.strokes("coil_g4")
        assert all(off is not None for _, off in strokes)
        return [(off - on) / 16e3 for on, off in strokes], last


HOLD, RELEASE = (Op.HOLD, 0, LEAD_US), (Op.RELEASE, 0, 0)


@pytest.mark.parametrize("max_on_ms", [20, 50, 120, 300, 1000, 8000])
def test_a_coil_that_is_left_on_is_off_at_its_max_on(max_on_ms):
    """From cold: heat grows by (100 - duty) a millisecond, and max_on times that is the limit; no earlier, and 3 ms later at most."""
    for duty in (0.99, 0.3, 0.01):
        (on_ms,), reason = on_times(chimes(f"{max_on_ms} ms", duty), HOLD, (Op.RELEASE, 1, 12_000_000))
        assert reason == TOO_LONG
        assert max_on_ms <= on_ms <= max_on_ms + MORE_MS


@pytest.mark.parametrize("max_on_ms", [50, 120, 1000, 8000])
def test_a_coil_may_be_on_for_exactly_its_max_on(max_on_ms):
    """HOLD sounds `pull_in` (9 ms) after it is switched on, RELEASE at once: on for wait + 9 ms."""
    wait_us = max_on_ms * 1000 - 9_000
    (on_ms,), reason = on_times(chimes(f"{max_on_ms} ms", 0.3), HOLD, (Op.RELEASE, 0, wait_us))
    assert reason == FINISHED
    assert on_ms == pytest.approx(max_on_ms, abs=0.03)


def pulses_until(max_on_ms, duty, period_ms, pulse_ms):
    """By hand from the rule: which pulse of a steady row, the first is 1, brings the coil beyond its limit; None when none does."""
    rest, limit, heat = 100 - duty, max_on_ms * (100 - duty), 0.0
    for number in range(1, 201):
        heat += pulse_ms * rest
        if heat > limit:
            return number
        heat = max(0.0, heat - (period_ms - pulse_ms) * duty)
    return None


@pytest.mark.parametrize("max_on_ms, duty, period_ms", [(50, 10, 60), (50, 10, 80), (50, 30, 30), (20, 30, 30), (60, 20, 45), (50, 50, 18)])
def test_a_coil_that_is_used_too_often_is_stopped_when_the_rule_says(max_on_ms, duty, period_ms):
    """Pulses of 12 ms: not before those of 13 ms pass the limit, and when those of 11 ms pass one that is higher by MORE_MS."""
    made = [(Op.PULSE, 0, period_ms * 1000)] * 200
    on_ms, reason = on_times(chimes(f"{max_on_ms} ms", duty / 100), *made)
    assert reason == TOO_LONG
    soonest = pulses_until(max_on_ms, duty, period_ms, 12 + EACH_MS)
    latest = pulses_until(max_on_ms + MORE_MS, duty, period_ms, 12 - EACH_MS)
    assert soonest <= len(on_ms) <= latest
    assert on_ms[:-1] == pytest.approx([12.0] * (len(on_ms) - 1), abs=0.03)


@pytest.mark.parametrize("max_on_ms, duty, period_ms", [(50, 10, 131), (20, 30, 44), (15, 60, 22), (120, 99, 14)])
def test_a_coil_within_its_duty_is_never_stopped(max_on_ms, duty, period_ms):
    """Two hundred pulses of 12 ms, as often as the duty allows those of 13 ms."""
    assert pulses_until(max_on_ms, duty, period_ms, 12 + EACH_MS) is None
    on_ms, reason = on_times(chimes(f"{max_on_ms} ms", duty / 100), *[(Op.PULSE, 0, period_ms * 1000)] * 200)
    assert reason == FINISHED
    assert on_ms == pytest.approx([12.0] * 200, abs=0.03)


def test_a_coil_that_was_too_hot_must_cool_before_it_is_used_again():
    """Stopped at its limit it bears nothing at first; after 50 ms * 90 / 10 = 450 ms it is cold, and bears all."""
    machine = chimes("50 ms", 0.1)
    block = pack_machine(ensemble_of(machine), machine.board)
    body = literal(*HOLD, ()) + literal(Op.RELEASE, 1, 5_000_000, ()) + end_of(())
    with Bench(machine, block_of(body, (), block)) as board:
        board.home()
        board.type("play\r")
        assert board.until(lambda: board.last(MARK_REASON) == TOO_LONG and board.state == READY)
        hot = board.cycle
        board.say("pulse 0", wait_s=0.015)
        ((on, off),) = board.strokes("coil_g4", since=hot)
        assert (off - on) / 16e3 <= MORE_MS + 2  # what it cooled in the 20 ms since
        board.run(0.6)
        at = board.cycle
        assert board.say("pulse 0").startswith("yes")
        board.run(0.1)
        ((on, off),) = board.strokes("coil_g4", since=at)
        assert (off - on) / 16e3 == pytest.approx(12, abs=0.03)
