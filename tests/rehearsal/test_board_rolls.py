"""Whatever a roll may hold is played by the board when docs/SPEC-roll.md says it is due: rests, repeats, wait tables, at random."""

from functools import cache
from random import Random

import numpy as np
import pytest
from any_rolls import block_of, bodies, edges_of, end_of, literal, rows
from board_bench import MARK_REASON, PLAYING, Bench
from emulated import needs_rig
from hypothesis import given

from jackrail.board.link_format import Verb
from jackrail.rehearsal.driver import Driver
from jackrail.roll.due import timing_of
from jackrail.roll.format import LONGEST_WAIT_US, MOST_REPEATED, Op
from jackrail.roll.machine_block import pack_machine
from jackrail.roll.records import pack_repeat
from jackrail.roll.roll import unpack_roll
from workshop import ensemble, examples, machine

pytestmark = needs_rig
COILS = {"tower_chimes": 16, "harbour_carillon": 24}
FINISHED = 1
USUAL_CYCLES = {"tower_chimes": 10 * 16, "harbour_carillon": 15 * 16}
"""10 us; 15 us where three registers are filled first."""


@cache
def block(name):
    return pack_machine(ensemble(name), machine(name).board)


def played(name, body, table=()):
    """Each edge that a roll asks for, with the cycle, counted from time zero, in which it came."""
    roll_block = block_of(body, table, block(name))
    roll = unpack_roll(roll_block, block(name))
    with Bench(machine(name), roll_block) as board:
        board.home()
        began = board.cycle
        board.type("play 1\r")
        assert board.until(lambda: board.state == PLAYING)
        assert board.until(lambda: board.state != PLAYING, roll.length_us / 1e6 + 5, 0.25)
        assert board.last(MARK_REASON) == FINISHED
        (zero,) = board.zeros()
        pins = [board.pin(coil) for coil in board.numbering.coils]
        edges = board.edges()
        edges = edges[(edges["cycle"] > began) & np.isin(edges["pin"], pins)]
        heard = [(pins.index(pin), level, (int(cycle) - zero)) for cycle, pin, level in edges.tolist()]
    asked = edges_of(roll, timing_of(block(name)))
    return [(one, cycle) for coil in range(len(pins)) for one, cycle in matched(coil, asked, heard)]


def matched(coil, asked, heard):
    """The edges of one coil as asked for, each with the cycle in which it came: all, and no other."""
    mine, theirs = [one for one in asked if one.coil == coil], [one for one in heard if one[0] == coil]
    assert [one.level for one in mine] == [level for _, level, _ in theirs]
    return zip(mine, (cycle for *_, cycle in theirs), strict=True)


def on_time(name, edges):
    """None comes early, nor later than 25 us for each command that is due with it; 99 % of those alone come as usual."""
    assert edges
    assert all(one.cycle - USUAL_CYCLES[name] <= cycle <= one.by_cycle for one, cycle in edges)
    assert np.quantile([abs(cycle - one.cycle) for one, cycle in edges if one.alone], 0.99) <= USUAL_CYCLES[name]


@pytest.mark.slow
@pytest.mark.parametrize("name", COILS)
def test_any_roll_is_played_to_the_microsecond(name):
    @examples(5)
    @given(bodies(COILS[name]))
    def holds(made):
        on_time(name, played(name, *made))

    holds()


def test_rests_longer_than_a_wait_are_bridged():
    """Four waits of 16.777215 s each (the longest: 2**24 - 1 us) between two notes, three with a RELEASE of a coil that is off."""
    bridge = literal(Op.RELEASE, 3, LONGEST_WAIT_US, ())
    note = literal(Op.PULSE, 2, 20_000, ())
    late = literal(Op.PULSE, 2, LONGEST_WAIT_US, ())
    on_time("tower_chimes", played("tower_chimes", note + 3 * bridge + late + end_of(())))


def test_a_hold_of_a_coil_that_is_held_changes_nothing():
    hold, again, let_go = (literal(op, 5, wait, ()) for op, wait in ((Op.HOLD, 20_000), (Op.HOLD, 30_000), (Op.RELEASE, 40_000)))
    edges = played("tower_chimes", hold + again + let_go + let_go + end_of(()))
    assert len(edges) == 2
    on_time("tower_chimes", edges)


@pytest.mark.parametrize(
    "make",
    [
        pytest.param(lambda row, _: row + pack_repeat(0, 1), id="the first record, last of all"),
        pytest.param(lambda row, size: row + pack_repeat(size[0], 2) + pack_repeat(0, 3), id="two, one behind the other"),
        pytest.param(lambda row, size: row + 9 * pack_repeat(len(row) - size[-1], 1), id="the last record, nine times"),
        pytest.param(lambda row, size: row + pack_repeat(0, len(size)) + row, id="all, and more behind it"),
    ],
)
def test_repeats_at_the_edges(make):
    row = [literal(Op.PULSE, coil, 90_000, ()) for coil in (0, 1, 2, 3)]
    on_time("tower_chimes", played("tower_chimes", make(b"".join(row), [len(one) for one in row]) + end_of(())))


@pytest.mark.parametrize("name", COILS)
def test_255_records_are_repeated_with_a_table_of_255_waits(name):
    random = Random(7)  # noqa: S311 - not secret
    table = tuple(random.sample(range(16_000, 120_000), 255))
    row = b"".join(rows(random, COILS[name], table, MOST_REPEATED))
    edges = played(name, row + 2 * pack_repeat(0, MOST_REPEATED) + end_of(table), table)
    assert len(edges) == 2 * 3 * MOST_REPEATED
    on_time(name, edges)


def test_coils_due_at_one_tick_are_switched_one_behind_the_other():
    """Four at once twelve times: each takes its time, and the pulses are as long as they shall be to the same few microseconds."""
    chord = b"".join(literal(Op.PULSE, coil, 90_000 if coil == 0 else 0, ()) for coil in range(4))
    on_time("harbour_carillon", played("harbour_carillon", 12 * chord + end_of(())))


@pytest.mark.slow
def test_a_tune_of_forty_minutes_is_on_time_to_its_end_and_says_how_long_it_was():
    """Beyond 2**31 and 2**32 timer ticks, 17.9 and 35.8 minutes: a note each 16 seconds, 150 times."""
    body = b"".join(literal(Op.PULSE, number % 16, 16_000_000, ()) for number in range(2)) + 149 * pack_repeat(0, 1) + end_of(())
    roll_block = block_of(body, (), block("tower_chimes"))
    with Bench(machine("tower_chimes"), roll_block) as board:
        driver = Driver(board)
        assert driver.greet()
        assert driver.home()
        driver.session.do(Verb.PLAY, 1)
        assert driver.until(lambda: board.state == PLAYING, 1)
        driver.silent = True
        board.run(2420)
        driver.silent = False
        driver.until(lambda: driver.stopped() is not None, 5)
        assert driver.stopped().reason == FINISHED
        length_s = unpack_roll(roll_block, block("tower_chimes")).length_us / 1e6
        assert driver.stopped().time_ms / 1000 == pytest.approx(length_s, abs=0.05)
        (zero,) = board.zeros()
        cycles, levels = board.edges_of(board.pin("coil_g4"))
        struck_s = (cycles[levels == 1] - zero) / 16e6
        lead_s = 0.009  # pull_in
        assert struck_s == pytest.approx([16.0 - lead_s, *(16.0 * n - lead_s for n in range(3, 152))], abs=30e-6)
