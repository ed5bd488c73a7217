"""How a roll becomes short and stays exact: notes made of moves and strikes, waits, repeats, rests, the board's queue."""

import statistics
import time

import pytest
import spec_reader
from hypothesis import given
from hypothesis import strategies as st

from jackrail.roll.due import RollCue, commands_of, timing_of
from jackrail.roll.format import QUEUE_COMMANDS, Op
from jackrail.roll.fuse import wanted_records
from jackrail.roll.machine_block import pack_machine
from jackrail.roll.queue import queue_of
from jackrail.roll.records import read_records, waits_of
from jackrail.roll.repeats import with_repeats
from jackrail.roll.roll import pack_roll, stream_records, ticks_of, to_board, unpack_roll
from jackrail.roll.waits import usual_waits, wait_table
from jackrail.setting.wishes import Wishes
from jackrail.tune.read import read_tune
from jackrail.work import do_work
from workshop import MACHINE_NAMES, ROOT, changed, ensemble, ensemble_of, examples, machine, tunes

ZITHER = pack_machine(ensemble("quay_zither"), machine("quay_zither").board)
TIMING = timing_of(ZITHER)
CHIMES = pack_machine(ensemble("tower_chimes"), machine("tower_chimes").board)
MS = 2000
"""Timer ticks in a millisecond."""


def arrival(travel_steps, early_us=0):
    """Ticks of a move to stop 3 that arrives just in time for a note at 2 s, or earlier."""
    return 4_000_000 - 2 * (TIMING.axis_leads_us[0] + early_us) - TIMING.ramps[0].ticks(travel_steps)


@pytest.mark.parametrize("early_us, moves_apart", [(0, False), (24, False), (-24, False), (26, True), (5000, True)])
def test_a_move_that_starts_when_the_board_would_start_it_is_in_its_note(early_us, moves_apart):
    cues = (RollCue(arrival(TIMING.stops[3][1], early_us), Op.MOVE, 3), RollCue(4_000_000 - 2 * TIMING.axis_leads_us[1], Op.TURN, 1))
    roll = unpack_roll(pack_roll(cues, "", 6_000_000, ZITHER), ZITHER)
    assert [record.op for record in roll.records] == [Op.MOVE] * moves_apart + [Op.NOTE]
    assert all(abs(found.tick - meant.tick) <= 100 for found, meant in zip(roll.cues, cues, strict=True))


def test_a_repeated_note_is_a_note_where_the_carriage_stands_and_one_before_any_move_a_turn():
    lead = 2 * TIMING.axis_leads_us[1]
    cues = (RollCue(0, Op.TURN, 1), RollCue(1_000_000, Op.MOVE, 3), RollCue(5_000_000, Op.TURN, 1), RollCue(6_000_000, Op.TURN, 1))
    records = wanted_records(cues, TIMING)
    assert [(record.op, record.argument) for record in records] == [(Op.TURN, 1), (Op.MOVE, 3), (Op.NOTE, 3), (Op.NOTE, 3)]
    assert [record.ideal for record in records] == [lead, 1_000_000, 5_000_000 + lead, 6_000_000 + lead]


def test_waits_that_differ_by_rounding_alone_are_one_and_others_stay_apart():
    """100,000 and 100,001 ticks (half a microsecond) are one length; 100,010 (5 us more) is another."""
    usual = usual_waits([100_000, 100_000, 100_000, 100_001, 100_010])
    assert usual == {100_000: 50_000, 100_001: 50_000, 100_010: 50_005}


def test_the_wait_table_holds_what_is_used_more_than_once_most_frequent_first_and_at_most_255():
    assert wait_table([7, 5, 5, 9, 9, 9]) == (9, 5)
    assert len(wait_table([wait for wait in range(300) for _ in (1, 2)])) == 255


def test_a_thousand_notes_whose_length_is_no_whole_microsecond_do_not_drift():
    """A third of a second: 1,000 of them wrongly rounded to 333,333 us would end 333 us early."""
    lead = TIMING.axis_leads_us[1]
    cues = tuple(RollCue(round(2_000_000 * (1 + n / 3)), Op.TURN, 1) for n in range(1000))
    block = pack_roll(cues, "", 700_000_000, ZITHER)
    records = unpack_roll(block, ZITHER).records
    assert max(abs(record.at_us - lead - 1_000_000 * (1 + n / 3)) for n, record in enumerate(records)) <= 50.5
    # a third of a microsecond is lost with each, so after 150 the 50 us are used up: six or seven waits are put right
    assert sum(wait != 333_333 for wait in waits_of(records)[1:]) in (6, 7)


@examples(200)
@given(st.lists(st.integers(0, 3), max_size=80))
def test_rows_are_the_same_when_repeats_are_played_out_and_never_longer(row):
    literals = [bytes([Op.PULSE << 5 | number, 0]) for number in row]
    packed = with_repeats(literals)
    assert len(packed) <= 2 * len(row)
    assert [number for _, number, _ in spec_reader.played_out(packed + b"\x00\x00", [1000])[:-1]] == row
    assert [record.argument for record in read_records(packed + b"\x00\x00", [1000])[:-1]] == row


def test_a_row_longer_than_255_records_is_repeated_in_two_goes():
    """300 different rows of two bytes, twice: by hand 600 + 2 REPEATs of 4 bytes, of 255 and of 45 records."""
    literals = [bytes([Op.PULSE << 5 | n % 16, n // 16]) for n in range(300)]
    packed = with_repeats(literals * 2)
    assert packed[600:] == bytes.fromhex("E0 00 00 FF E0 FE 01 2D")  # from byte 0; from byte 2 * 255 = 0x01FE


def test_rests_longer_than_a_wait_are_bridged_by_what_changes_nothing():
    """A minute of silence on the chimes and on the zither: a wait holds 16.777215 s, so three bridges."""
    (after_pulse,) = {tuple(unpack_roll(pack_roll(cues, "", end, CHIMES), CHIMES).records[1:-1]) for cues, end in [rest(Op.PULSE, 4)]}
    assert [record.op for record in after_pulse] == [Op.RELEASE] * 3
    cues = (RollCue(0, Op.MOVE, 3), RollCue(120_000_000, Op.TURN, 1))
    bridged = unpack_roll(pack_roll(cues, "", 122_000_000, ZITHER), ZITHER)
    assert [(record.op, record.argument) for record in bridged.records] == [(Op.MOVE, 3)] * 4 + [(Op.NOTE, 3)]
    assert all(len(record) <= 6 for record in stream_records(bridged))


def rest(op, device):
    return (RollCue(0, op, device), RollCue(120_000_000, op, device)), 122_000_000


def test_a_bridge_never_lifts_a_finger():
    """The lute's first fingers are held through a minute: the bridge is a coil that is off."""
    lute = pack_machine(ensemble("twin_lute"), machine("twin_lute").board)
    cues = (RollCue(0, Op.HOLD, 0), RollCue(0, Op.HOLD, 1), RollCue(120_000_000, Op.RELEASE, 0), RollCue(120_000_000, Op.RELEASE, 1))
    roll = unpack_roll(pack_roll(cues, "", 122_000_000, lute), lute)
    assert [record.argument for record in roll.records if record.op is Op.RELEASE and record.at_us < 59_000_000] == [2, 2, 2]


def read_ahead_by_hand(roll, timing):
    """The most commands read and not yet due, counted at each millisecond as SPEC-roll.md says it."""
    due = list(commands_of(roll.records, timing))
    reach = (roll.queue.horizon_ms + 20) * MS
    ends = []
    for record, commands in zip(roll.records, due, strict=True):
        pulses_us = (*timing.pulses_us, *(pulse_us for _, pulse_us, _ in timing.touches))
        row = [c.tick for c in commands] + [c.tick + 2 * pulses_us[c.argument] for c in commands if c.op is Op.PULSE]
        if record.op is Op.NOTE and commands[0].op is not Op.MOVE:
            row.append(commands[0].tick)
        ends.append(row)
    most = 0
    for now in range(0, roll.end_tick, MS):
        read = next((n + 1 for n, record in enumerate(roll.records) if 2 * record.at_us > now + reach), len(roll.records))
        most = max(most, sum(end > now for row in ends[:read] for end in row))
    return most


@examples(10)
@given(tunes(most_notes=10), st.sampled_from(MACHINE_NAMES))
def test_the_queue_is_what_counting_finds(made, name):
    """Counting looks once a millisecond, so it may miss what lasts shorter."""
    work = do_work(machine(name), made, Wishes())
    timing = timing_of(work.machine_block)
    counted = read_ahead_by_hand(work.roll, timing)
    assert counted <= work.roll.queue.most <= counted + 4
    assert work.roll.queue == queue_of(work.roll.records, tuple(commands_of(work.roll.records, timing)), timing)


def test_a_move_so_long_that_the_board_would_read_too_far_ahead_stands_apart_from_its_note():
    """A slow carriage over its whole travel, then chimes of quick notes: NOTEs that start seconds before they sound.

    The bar needs more than 4 s from D4 to D6 at 80 mm/s, while chords go on at ten a second: 4 s of them are 80 commands.
    """
    slow = changed("quay_zither", ('speed = "450 mm/s"', 'speed = "80 mm/s"'), ('pulse = "60 ms"', 'pulse = "40 ms"'))
    block = pack_machine(ensemble_of(slow), slow.board)
    timing = timing_of(block)
    travel = timing.ramps[0].ticks(timing.stops[14][1] - timing.stops[0][1])
    assert travel > 4_000 * MS
    at = 20_000 * MS
    strike, lead = at - 2 * timing.axis_leads_us[1], 2 * timing.axis_leads_us[0]
    chords = [RollCue(5_000 * MS + 100 * MS * n, Op.PULSE, n % 5) for n in range(150)]
    first = [RollCue(0, Op.MOVE, 0), RollCue(10_000 * MS, Op.TURN, 1)]
    cues = (*first, RollCue(at - lead - travel, Op.MOVE, 14), RollCue(strike, Op.TURN, 1), *chords)
    roll = unpack_roll(pack_roll(cues, "", 30_000 * MS, block), block)
    assert [record.op for record in roll.records if record.op is Op.MOVE] == [Op.MOVE] * 2
    assert roll.queue.most <= QUEUE_COMMANDS
    alone = unpack_roll(pack_roll((*first, *cues[2:4]), "", 30_000 * MS, block), block)
    assert [record.op for record in alone.records] == [Op.MOVE, Op.NOTE, Op.NOTE]  # without the chords it is one NOTE


def test_a_move_of_more_than_a_minute_stands_apart_from_its_note():
    """From D4 to D6 at 5 mm/s are some 75 s; the horizon of a roll is at most 65.535 s."""
    slow = changed("quay_zither", ('speed = "450 mm/s"', 'speed = "5 mm/s"'))
    block = pack_machine(ensemble_of(slow), slow.board)
    timing = timing_of(block)
    travel = timing.ramps[0].ticks(timing.stops[14][1] - timing.stops[0][1])
    assert travel > 66_000 * MS
    at = 200_000 * MS
    first = (RollCue(0, Op.MOVE, 0), RollCue(100_000 * MS, Op.TURN, 1))
    move = RollCue(at - 2 * timing.axis_leads_us[0] - travel, Op.MOVE, 14)
    roll = unpack_roll(pack_roll((*first, move, RollCue(at - 2 * timing.axis_leads_us[1], Op.TURN, 1)), "", at + MS, block), block)
    assert roll.records[-1].op is Op.NOTE
    assert roll.queue.horizon_ms < 1000


def test_the_own_tunes_take_few_bytes_a_note():
    """A budget: 2.6 bytes a note over all, header, title and wait table included (benchmarks/roll_size.py has real tunes)."""
    works = [do_work(machine("quay_zither"), read_tune(path)) for path in sorted((ROOT / "tunes").glob("*.*")) if path.suffix != ".md"]
    assert len(works) == 4
    assert sum(len(work.roll_block) for work in works) <= 2.6 * sum(work.setting.notes_kept for work in works)


def test_packing_a_tune_is_quick():
    """A hundred notes in some milliseconds; ten times that is allowed here, for a busy machine."""
    work = do_work(machine("quay_zither"), read_tune(ROOT / "tunes" / "nine_lamps.abc"))
    cues, end_tick = to_board(work.cues, work.numbering), ticks_of(work.performance.end_s)
    times = []
    for _ in range(5):
        start = time.perf_counter()
        pack_roll(cues, "", end_tick, work.machine_block)
        times.append(time.perf_counter() - start)
    assert statistics.median(times) < 0.05
