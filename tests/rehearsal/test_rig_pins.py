"""The rig's pins, external interrupts, SPI and shift registers; datasheet DS40002061 of the ATmega328P, sections from memory."""

import pytest
from emulated import needs_rig, quirk, run, told, told_at

from jackrail.rehearsal.rig import LET_GO, Chip

pytestmark = needs_rig
D2, D4, A0, A1, A2 = 2, 4, 14, 15, 16


def test_sbi_on_pinx_toggles_one_pin_and_out_all_ones():
    # 14.2.2: writing a one to PINxn toggles PORTxn; SBI can toggle one single bit. PB5-0 start as 0x15.
    with run("pins", "toggle_one") as chip:
        assert [chip.level(8 + bit) for bit in range(6)] == [1, 1, 1, 0, 1, 0]
        assert chip.edges_of(8)[1].tolist() == [0, 1, 0, 1]
        assert chip.edges_of(10)[1].tolist() == [0, 1]


def test_a_change_shows_one_instruction_late():
    # 14.2.4: reading back an assigned value needs a NOP between OUT and IN.
    with run("pins", "synchroniser") as chip:
        assert told(chip) == [0, 1]


def test_pull_ups_hold_a_pin_that_is_let_go():
    # Table 14-1: an input with PORTxn = 1 and PUD = 0 is pulled up. What drives it from outside wins. A floating pin without a
    # pull-up has no certain level on a real chip; the rig reads 0.
    with Chip(quirk("pins", "pull_ups")) as chip:
        chip.drive(A2, 0)
        chip.drive(A1, 1)
        chip.run(cycles=100)
        assert told(chip)[:2] == [0b011, 0b010]
        chip.forget()
        chip.drive(A2, LET_GO)
        chip.drive(A1, LET_GO)
        chip.run(cycles=100)
        assert told(chip)[1:3] in ([0b101, 0], [0, 0b101])


def test_outside_edges_interrupt():
    # 13.2.1: ISC01 alone is the falling edge; 13.2.4: a pin change interrupt comes at both.
    with Chip(quirk("pins", "outside")) as chip:
        for at, pin, level in [(1000, D2, 1), (2000, D2, 0), (3000, D2, 1), (4000, A0, 1), (5000, A0, 0), (6000, A1, 1)]:
            chip.drive(pin, level, at=at)
        chip.run(cycles=10_000)
        marks = chip.marks()
        seen = [(int(mark["cycle"]) // 1000, int(mark["value"])) for mark in marks if mark["value"]]
        assert seen == [(2, 1), (4, 2), (5, 2)]


def test_the_last_byte_sent_stands_in_the_first_register():
    # 74HC595: eight clocks move a byte on to the next register; the last bit in stands at QA. SPI sends bit 7 first (19.5.1).
    with run("pins", "chain", latch_pin=D4) as chip:
        assert [chip.level(32 + bit) for bit in range(16)] == [int(bit) for bit in f"{0x811E:016b}"[::-1]]
        edges, latched = chip.edges(), chip.edges_of(D4)
        changed = edges[(edges["cycle"] > told_at(chip, 1, 1)) & (edges["pin"] >= 32) & (edges["pin"] < 48)]
        assert changed["pin"].tolist() == [32, 36]
        assert set(changed["cycle"].tolist()) == {int(latched[0][latched[1] == 1][1])}


def test_the_chain_can_be_clocked_by_hand_and_outlives_a_reset():
    with run("pins", "chain_by_hand", latch_pin=D4) as chip:
        assert [chip.level(32 + bit) for bit in range(16)] == [int(bit) for bit in f"{0x810F:016b}"[::-1]]
        chip.reset("external")
        assert chip.level(32) == 1  # a 74HC595 has no part in the chip's reset
        assert chip.level(D4) == 2


def test_a_chain_is_unknown_before_its_first_latch():
    with run("pins", "toggle_one", latch_pin=D4) as chip:
        assert chip.level(32) == 2


def test_a_byte_of_the_spi_takes_eight_bits():
    # Table 19-5: SPR1 alone is clock / 64. The count starts two instructions (STS high, STS low: 4 cycles) late, and the loop reads late.
    with run("pins", "spi_time") as chip:
        high, low = told(chip)
        assert high * 256 + low == pytest.approx(8 * 64, abs=12)


def test_a_low_ss_input_ends_master_mode():
    # 19.3.2: SS is D10; as an input it must be held high.
    for level, control in [(0, 0x40), (1, 0x50)]:
        with Chip(quirk("pins", "slave_select")) as chip:
            chip.drive(10, level)
            chip.run(cycles=1000)
            assert told(chip) == [control]
