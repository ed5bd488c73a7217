"""The rig's serial port; datasheet DS40002061 of the ATmega328P, section 20 (numbers seen unless marked)."""

import numpy as np
import pytest
from emulated import needs_rig, quirk, run, told, told_at

from jackrail.rehearsal.rig import CLOCK_HZ, Chip

pytestmark = needs_rig
RXC, FE, DOR, UDRE = 0x80, 0x10, 0x08, 0x20
BIT = CLOCK_HZ // 250_000
FRAME = 10 * BIT


# Table 20-1 (from memory): a bit is 16 (UBRR + 1) cycles, or 8 with U2X; a frame has a start bit, 5-8 data bits, a parity bit or
# none, one or two stop bits (20.4). UCSR0C: 0x06 8N1, 0x26 8E1, 0x0C 7N2, 0x08 5N2.
@pytest.mark.parametrize(
    ("ubrr", "doubled", "form", "cycles"),
    [(3, 0, 0x06, 640), (16, 2, 0x06, 1360), (16, 2, 0x26, 1496), (103, 0, 0x0C, 16640), (3, 0, 0x08, 512), (0, 2, 0x06, 80)],
)
def test_a_byte_takes_its_bits(ubrr, doubled, form, cycles):
    flags = (f"-DUBRR={ubrr}", f"-DUCSRA={doubled}", f"-DUCSRC={form}")
    with run("serial", "sending", *flags, cycles=70_000) as chip:
        assert chip.received() == b"012"
        times = chip.sent()["cycle"].astype(np.int64)
        if cycles > 100:  # else the program, not the line, sets the pace
            assert np.diff(times).tolist() == [cycles, cycles]
            assert 0 <= told_at(chip, 1, 9) - times[2] < 30
        assert 0 <= times[0] - cycles - told_at(chip, 1, 0) < 30


def test_two_bytes_can_wait_and_a_third_not():
    # 20.11.2: UDRE is set when the buffer is empty, so the first byte moves on at once, the second stays a frame.
    with run("serial", "sending", cycles=10_000) as chip:
        asked = [told_at(chip, 1, n) for n in range(3)]
        assert asked[1] - asked[0] < 40
        assert FRAME - 60 < asked[2] - asked[1] < FRAME + 60
        assert told(chip)[-1] == 0  # TXC cleared by writing a one


def test_a_byte_written_while_the_buffer_is_full_is_ignored():
    # 20.11.1
    with run("serial", "ignored") as chip:
        assert chip.received() == b"ab"


def test_u2x_counts_whenever_it_is_set():
    # 20.3.2: bit time is 8 (UBRR + 1) with U2X, also when it is set after UBRR.
    with run("serial", "doubled") as chip:
        assert chip.received() == b"a"
        assert chip.sent()["cycle"][0] < 10 * 64 + 100


def read_after(data, **how):
    """Status and data that a program reads which first looks when all has come."""
    with Chip(quirk("serial", "reading")) as chip:
        chip.run(cycles=200)
        done = chip.send(data, baud=250_000, at=1000, **how)
        chip.drive(8, 1, at=done + 100)
        chip.run_until(done + 1000)
        return list(zip(told(chip), told(chip, 2), strict=True)), chip.line_faults()


def test_two_bytes_wait_in_the_buffer_and_one_in_the_shift_register():
    # 20.11.1: the receive buffer is a two-level FIFO. 20.7.4: overrun when it is full, a third waits in the shift register, and a new
    # start bit comes; then the waiting one is lost, and DOR stands until a frame moves from the shift register to the buffer.
    assert read_after(b"ab") == ([(RXC | UDRE, ord("a")), (RXC | UDRE, ord("b"))], (0, 0))
    assert read_after(b"abc") == ([(RXC | UDRE, n) for n in b"abc"], (0, 0))
    assert read_after(b"abcd") == ([(RXC | UDRE | DOR, ord("a")), (RXC | UDRE, ord("b")), (RXC | UDRE, ord("d"))], (1, 0))
    assert read_after(b"abcdef")[1] == (3, 0)


def test_a_byte_lost_to_a_start_bit_does_not_come_back():
    # as above: the program reads while the fourth byte comes in; the third is gone, the fourth takes its turn
    with Chip(quirk("serial", "reading")) as chip:
        chip.run(cycles=200)
        done = chip.send(b"abcd", baud=250_000, at=1000)
        chip.drive(8, 1, at=done - FRAME // 2)
        chip.run_until(done + 1000)
        assert bytes(told(chip, 2)) == b"abd"


def test_a_broken_stop_bit_is_a_framing_error_of_that_byte():
    # 20.11.2: FE is set when the first stop bit of the next character in the buffer is zero.
    found, faults = read_after(b"a", wrong_stop_bit=True)
    assert found == [(RXC | UDRE | FE, ord("a"))]
    assert faults == (0, 1)


@pytest.mark.parametrize(("share", "well"), [(0.0, True), (0.03, True), (-0.03, True), (0.07, False), (-0.07, False)])
def test_a_sender_may_be_off_by_less_than_half_a_bit_in_a_frame(share, well):
    # 20.8.3, table 20-2 (from memory): 8 data bits at normal speed bear -4.5 to +4.6 %; worked by hand: the stop bit's middle, 9.5
    # bits on, must lie inside the sender's.
    with Chip(quirk("serial", "reading")) as chip:
        chip.drive(8, 1)
        chip.run(cycles=200)
        chip.send(b"\x55\x00\xff\xa5", baud=250_000 * (1 + share), at=1000)
        chip.run(cycles=6000)
        assert (bytes(told(chip, 2)) == b"\x55\x00\xff\xa5" and chip.line_faults() == (0, 0)) is well


def test_a_byte_is_there_in_the_middle_of_its_stop_bit():
    # 20.8.2 (from memory): the stop bit is decided from its middle samples, so RXC rises 9.5 bits behind the start edge.
    with Chip(quirk("serial", "reading")) as chip:
        chip.drive(8, 1)
        chip.run(cycles=200)
        chip.send(b"a", baud=250_000, at=1000)
        chip.run(cycles=2000)
        assert 0 <= told_at(chip, 1, RXC | UDRE) - (1000 + 9.5 * BIT) < 20


def test_the_receive_interrupt_comes_until_the_byte_is_read():
    # 20.7.3 (seen): a new interrupt once the routine ends, as long as RXC is set.
    with Chip(quirk("serial", "again")) as chip:
        chip.run(cycles=200)
        chip.send(b"a", baud=250_000, at=1000)
        chip.run(cycles=5000)
        assert told(chip) == [1, 2, 3]
        assert told(chip, 2) == [ord("a")]


def test_bytes_queue_one_behind_the_other():
    with Chip(quirk("serial", "reading")) as chip:
        chip.drive(8, 1)
        chip.run(cycles=200)
        assert chip.send(b"ab", baud=250_000, at=1000) == 1000 + 2 * FRAME
        assert chip.send(b"c", baud=250_000) == 1000 + 3 * FRAME
        chip.run(cycles=4000)
        assert bytes(told(chip, 2)) == b"abc"
