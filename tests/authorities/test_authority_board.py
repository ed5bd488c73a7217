"""Chip, framing and electrics against data sheets and catalogues: authorities/board.toml."""

import zlib

import pytest

from jackrail.board.memory import memory_of
from jackrail.checks.current import current_traces
from jackrail.cues.model import Cue
from jackrail.faults import BadInput
from jackrail.machine.board import STEP_PINS
from jackrail.motion.ramp import LONGEST_INTERVAL, TICK_HZ, make_ramp
from jackrail.roll.format import crc16
from jackrail.roll.machine_block import machine_id, pack_machine
from workshop import authority, changed, ensemble, ensemble_of, machine

VALUES = authority("board")


def test_g61_step_intervals_are_those_of_timer_1():
    row = VALUES["G61"]
    assert 2 ** row["bits"] - 1 == LONGEST_INTERVAL
    assert row["tick_us"] == 1e6 / TICK_HZ
    assert row["wraps_ms"] == 1000 * (LONGEST_INTERVAL + 1) / TICK_HZ
    assert list(STEP_PINS) == row["step_outputs"]


def test_g61_an_interval_just_inside_16_bits_is_taken_and_one_just_outside_is_refused():
    longest_s = LONGEST_INTERVAL / TICK_HZ
    step = 0.01
    slowest = 2 * step / longest_s**2
    assert make_ramp(step, 1.0, slowest * 1.0001).entries[0][0] == pytest.approx(LONGEST_INTERVAL, abs=4)
    with pytest.raises(BadInput, match="too slow for the timer"):
        make_ramp(step, 1.0, slowest * 0.9999)


def test_g61_a_speed_whose_interval_is_beyond_16_bits_is_refused():
    slowest = 0.01 * TICK_HZ / LONGEST_INTERVAL
    assert make_ramp(0.01, slowest * 1.0001, 4500.0).cruise_ticks <= LONGEST_INTERVAL
    with pytest.raises(BadInput, match="speed is too slow for the timer"):
        make_ramp(0.01, slowest * 0.9999, 4500.0)


def test_g62_memory_of_the_chip():
    row = VALUES["G62"]
    board = machine("quay_zither").board
    assert (board.flash_b, board.sram_b) == (row["flash_b"], row["sram_b"])
    assert board.boot_loader_b in [2 * words for words in row["boot_words"]]
    memory = memory_of(board, b"m" * 100, b"r" * 1000)
    assert memory.free_b + memory.used_b == row["flash_b"]


def test_g71_the_crc_is_the_one_named_and_none_of_its_relatives():
    row = VALUES["G71"]
    found = crc16(row["text"].encode())
    assert found == row["used"]
    assert found not in row["others"].values()
    assert crc16(b"") == 0xFFFF


def test_c32_a_machine_block_is_named_by_the_crc_32_of_its_payload():
    row = VALUES["C32"]
    assert zlib.crc32(row["text"].encode()) == row["crc"]
    block = pack_machine(ensemble("quay_zither"), machine("quay_zither").board)
    assert machine_id(block) == zlib.crc32(block[8 + 4 :])


def traces_of(some_machine, *cues, end_s=2.0):
    made = current_traces(cues, ensemble_of(some_machine), some_machine.board, some_machine.supply, end_s)
    return {trace.rail: trace for trace in made}


def test_g44_a_coil_draws_its_final_current():
    row, zither = VALUES["G44"], machine("quay_zither")
    trace = traces_of(zither, Cue(1.0, "coil_g", "pulse", 0.06))["five"]
    relay_a = zither.mechanism.relays[0].current_a
    assert zither.supply.rail("five").voltage_v == row["volts"]
    assert zither.mechanism.coil("coil_g").resistance_ohm == row["ohms"]
    assert trace.peak_a - zither.board.current_a - relay_a == pytest.approx(row["amps"], abs=row["tolerance_a"])
    assert trace.peak_at_s == pytest.approx(1.0)
    assert trace.mean_a == pytest.approx(zither.board.current_a + (row["amps"] + relay_a) * 0.06 / 2.0, abs=1e-5)


def test_g50_the_relays_of_the_example_are_those_of_a_datasheet():
    row, relay = VALUES["G50"], machine("quay_zither").mechanism.relays[0]
    assert relay.current_a == pytest.approx(row["amps"], rel=0.02)
    assert 1000 * relay.operate_s <= row["operate_ms"]
    assert 1000 * relay.release_s <= row["release_ms"]


def test_g52_a_converter_passes_its_load_on_to_the_rail_before_it():
    row = VALUES["G52"]
    text = (('\ncurrent = "50 mA"', f'\ncurrent = "{row["amps_out"]} A"'), ("hold = 0.5", "hold = 0.0"), ("hold = 0.3", "hold = 0.0"))
    traces = traces_of(changed("quay_zither", *text))
    assert traces["five"].peak_a == pytest.approx(row["amps_out"])
    assert traces["main"].peak_a == pytest.approx(row["amps_in"], rel=1e-9)
