"""The rig's timers against the datasheet of the ATmega328P (DS40002061); its sections are named from memory."""

import numpy as np
import pytest
from emulated import needs_rig, run, told, told_at

pytestmark = needs_rig
TOV, OCFA, OCFB = 1, 2, 4


def test_a_flag_is_cleared_alone():
    # 16.11.9: a flag is cleared by writing a one to its bit. 14 and the I/O chapter's note: SBI writes one bit of a flag register.
    with run("timers", "flags", cycles=200_000) as chip:
        assert told(chip) == [TOV | OCFA | OCFB, TOV | OCFB, TOV]


def test_enabling_an_interrupt_whose_flag_is_up_fires_it():
    # 7.7: a flag remembers its condition until its interrupt is enabled. One instruction, the write itself, comes before.
    with run("timers", "late_enable") as chip:
        enabled, fired, after = told_at(chip, 1, 1), told_at(chip, 0, 1), told_at(chip, 1, 2)
        assert enabled < fired < after
        assert fired - enabled <= 20


def test_edges_by_compare_stand_at_the_exact_cycle():
    # 16.8 and figure 16-10: at /1 the pin toggles in the cycle after the count equals OCR1A, so each OCR1A += 1000 is 1000 cycles.
    # The count passes 0xFFFF in the same rhythm, 65536 cycles: no match moves into the overflow.
    with run("timers", "toggle", cycles=400_000) as chip:
        a, b = chip.edges_of(9)[0][1:], chip.edges_of(10)[0][1:]
        assert set(np.diff(a).tolist()) == {1000}
        assert len(a) > 390
        assert np.diff(b).tolist() == [65536] * (len(b) - 1)
        assert len(b) > 5
        assert (b[0] - a[0]) == 0xFFFF - 1000


def test_set_and_clear_on_compare_make_one_edge_each():
    # Table 16-1, non-PWM: 3 sets and 2 clears on a match; a write of OCR1x or an overflow is no match.
    with run("timers", "set_and_clear", cycles=300_000) as chip:
        (a_at, a), (b_at, b) = chip.edges_of(9), chip.edges_of(10)
        assert a.tolist() == [0, 1]
        assert b.tolist() == [0, 1, 0]
        assert b_at[2] - a_at[1] == 10_000


def test_a_forced_compare_moves_the_pin_and_no_flag():
    # 16.11.3: FOC1x strobes the waveform generator by COM1x1:0; it sets no OCF1x.
    with run("timers", "force") as chip:
        assert chip.edges_of(9)[1].tolist() == [0, 1, 0]
        assert chip.edges_of(5)[1].tolist() == [0, 1]
        assert told(chip) == [0]


def test_a_connected_compare_pin_ignores_the_port_until_it_is_let_go():
    # 16.8: OC1x overrides the normal port function; the DDR bit still decides on output. The OC1x register keeps its state, 0 here.
    with run("timers", "port_write") as chip:
        at, levels = chip.edges_of(9)
        assert levels.tolist() == [0, 1, 0]
        assert told_at(chip, 1, 1) < at[1] < told_at(chip, 1, 2) < at[2]


def test_timers_0_and_1_share_a_prescaler_that_never_stops():
    # 17.1: one prescaler, running whatever the timers' clock selects say: their edges fall on the same cycle modulo 64,
    # counted from power-on.
    with run("timers", "prescaler", cycles=2000) as chip:
        first = {int(chip.edges_of(6)[0][1]) % 64, int(chip.edges_of(9)[0][1]) % 64}
        assert first == {0}


def test_tsm_holds_the_prescalers_and_lets_them_go_together():
    # 17.4.1: with TSM the prescaler resets stay asserted; all start together. Flags rise a tick after the match: 3 ticks of 64.
    with run("timers", "synchronised", cycles=5000) as chip:
        firsts = [int(chip.edges_of(pin)[0][1]) for pin in (6, 9, 11)]
        assert len(set(firsts)) == 1
        released = told_at(chip, 1, 1) + 2  # `out GTCCR` comes at most two instructions behind the mark
        assert 0 <= firsts[0] - 192 - (released - 1) <= 2


def test_ctc_counts_from_0_to_its_top():
    # 15.7.2: f = clock / (2 N (1 + OCR)): OCR2A 9 at /32; 16.9.2 with ICR1 999 at /8.
    with run("timers", "ctc", cycles=100_000) as chip:
        assert set(np.diff(chip.edges_of(11)[0][1:]).tolist()) == {32 * 10}
        assert set(np.diff(chip.edges_of(9)[0][1:]).tolist()) == {8 * 1000}


def test_a_top_set_below_the_count_is_missed():
    # 16.9.2: the counter then runs to 0xFFFF and starts anew at 0 before the match. First match at 65536 + 101 ticks, then each 101.
    with run("timers", "ctc_missed", cycles=150_000) as chip:
        at = chip.edges_of(9)[0]
        assert 65_536 <= at[1] - at[0] <= 65_536 + 300
        assert set(np.diff(at[1:]).tolist()) == {101}


def test_writing_the_count_blocks_the_next_match():
    # 16.7.2: a write of TCNT1 blocks a match in the next timer clock, also while stopped: the match comes a round later.
    with run("timers", "blocked", cycles=20_000_000) as chip:
        at = chip.edges_of(9)[0]
        assert at[1] - at[0] > 65_000 * 256
        assert (at[1] - at[0]) // 256 in (65_535, 65_536, 65_537)


def test_sixteen_bits_are_read_in_one_moment():
    # 16.3: reading the low byte keeps the high byte in TEMP.
    with run("timers", "wide") as chip:
        high, low = told(chip)
        assert (high, low) in {(0x12, low), (0x11, 0xFF)}
        assert low <= 20


def test_the_lowest_vector_comes_first():
    # Table 12-6: TIMER2_OVF 10, TIMER1_COMPA 12, TIMER1_COMPB 13, TIMER0_COMPA 15, counted from 1 for RESET.
    with run("timers", "order") as chip:
        assert told(chip, 0) == [16, 16 | 1, 16 | 1 | 2, 16 | 1 | 2 | 8]
        assert sorted(chip.interrupts()) == [9, 11, 12, 14]


def test_a_match_at_the_last_count_is_no_overflow_but_falls_with_it():
    # Figures 16-10 and 16-12: OCF1A rises as the count leaves OCR1A, TOV1 as it leaves MAX: here the same cycle.
    with run("timers", "last_count", cycles=2000) as chip:
        edge = int(chip.edges_of(9)[0][1])
        assert told(chip, 0) == [1, 1 | 4]
        assert told_at(chip, 0, 1) - edge in (9, 10, 11)
        waited = chip.interrupts()
        assert waited[11].count == waited[13].count == 1


@pytest.mark.parametrize("name", ["toggle", "set_and_clear", "ctc", "order"])
def test_two_runs_are_the_same_to_the_cycle(name):
    with run("timers", name, cycles=300_000) as one, run("timers", name, cycles=300_000) as two:
        assert one.edges().tobytes() == two.edges().tobytes()
        assert one.marks().tobytes() == two.marks().tobytes()
        assert one.cycle == two.cycle


def test_a_run_in_slices_is_the_same_run():
    with run("timers", "toggle", cycles=1) as one, run("timers", "toggle", cycles=100_000) as two:
        while one.cycle < 100_000:
            one.run_until(min(one.cycle + 137, 100_000))
        assert one.edges().tobytes() == two.edges().tobytes()
