"""The rig's core, resets, watchdog and EEPROM against the datasheet of the ATmega328P (DS40002061); sections from memory unless
marked seen."""

import pytest
from emulated import compiled, needs_rig, quirk, run, told, told_at

from jackrail.rehearsal.rig import CLOCK_HZ, Chip, ChipTrouble

pytestmark = needs_rig

# Cycles of each instruction: the instruction set summary (section 31; also DS40002198, device core AVRe+). A row is the text,
# its cycles, and words that must stand before it.
INSTRUCTIONS = [
    ("nop", 1),
    ("add r24, r25", 1),
    ("adiw r24, 1", 2),
    ("sbiw r24, 1", 2),
    ("subi r24, 1", 1),
    ("com r24", 1),
    ("mul r24, r25", 2),
    ("muls r24, r25", 2),
    ("mulsu r20, r21", 2),
    ("fmul r20, r21", 2),
    ("mov r24, r25", 1),
    ("movw r24, r22", 1),
    ("ldi r24, 1", 1),
    ("lds r24, 0x0110", 2),
    ("sts 0x0110, r24", 2),
    ("ld r24, X", 2),
    ("ld r24, X+", 2),
    ("ld r24, -X", 2),
    ("ld r24, Y+", 2),
    ("ldd r24, Y+3", 2),
    ("ldd r24, Z+3", 2),
    ("st X, r24", 2),
    ("st X+, r24", 2),
    ("st -Y, r24", 2),
    ("std Z+3, r24", 2),
    ("lpm r24, Z", 3),
    ("lpm r24, Z+", 3),
    ("lpm", 3),
    ("push r24", 2),
    ("pop r24", 2),
    ("in r24, 0x1e", 1),
    ("out 0x1e, r24", 1),
    ("sbi 0x1e, 1", 2),
    ("cbi 0x1e, 1", 2),
    ("bset 6", 1),
    ("bld r24, 3", 1),
    ("bst r24, 3", 1),
    ("swap r24", 1),
    ("lsr r24", 1),
    ("asr r24", 1),
    ("ror r24", 1),
    ("wdr", 1),
    ("rjmp .+0", 2),
    ("jmp 1f\n1:", 3),
    ("rcall 1f\n1:", 3),
    ("call 1f\n1:", 4),
    ("sez\n brne 1f\n1:", 1 + 1),  # not taken
    ("clz\n brne 1f\n1:", 1 + 2),  # taken
    ("ldi r24, 0\n sbrc r24, 0\n nop", 1 + 2),  # skips one word
    ("ldi r24, 0\n sbrs r24, 0\n nop", 1 + 1 + 1),  # skips nothing
    ("ldi r24, 0\n sbrc r24, 0\n jmp 0", 1 + 3),  # skips two words
    ("cpse r24, r24\n nop", 2),
    ("cpse r24, r24\n jmp 0", 3),
    ("sbi 0x1e, 0\n sbic 0x1e, 0\n nop", 2 + 1 + 1),
    ("sbi 0x1e, 0\n sbis 0x1e, 0\n nop", 2 + 2),
    ("rcall 2f\n rjmp 1f\n2: ret\n1:", 3 + 4 + 2),
    ("rcall 2f\n rjmp 1f\n2: reti\n1:", 3 + 4 + 2),
    ("ldi r30, lo8(pm(1f))\n ldi r31, hi8(pm(1f))\n ijmp\n1:", 1 + 1 + 2),
    ("ldi r30, lo8(pm(1f))\n ldi r31, hi8(pm(1f))\n icall\n1:", 1 + 1 + 3),
]
TIMED = """
#define __SFR_OFFSET 0
#include <avr/io.h>
.global main
main:
    ldi r16, 1
    out TCCR0B, r16
{body}
1:  rjmp 1b
"""
# Pointers to SRAM, then: the counter at /1 read before and after. Reading it takes a cycle of its own.
ONE = """
    ldi r26, 0x20
    ldi r27, 1
    ldi r28, 0x30
    ldi r29, 1
    ldi r30, 0x40
    ldi r31, 1
    in r17, TCNT0
    {text}
    in r18, TCNT0
    sub r18, r17
    out GPIOR2, r18
"""


def test_every_instruction_takes_its_cycles():
    # each label is local to its snippet: 1f and 2f mean the next, so snippets can follow each other
    with Chip(compiled(TIMED.format(body="".join(ONE.format(text=text) for text, _ in INSTRUCTIONS)))) as chip:
        chip.run(cycles=5000)
        found = [value - 1 for value in told(chip, 2)]
    assert dict(zip([text for text, _ in INSTRUCTIONS], found, strict=True)) == dict(INSTRUCTIONS)


@pytest.mark.parametrize(("name", "entry"), [("entry_awake", 4), ("entry_asleep", 8)])
def test_an_interrupt_takes_four_cycles_and_four_more_from_sleep(name, entry):
    # 7.7.1 (seen): four cycles at least, then the jump of the vector takes three; four more from sleep. The program runs
    # instructions of one cycle, so none has to be finished first; its mark is an SBI of two cycles.
    with run("core", name) as chip:
        assert told_at(chip, 0, 1) - int(chip.edges_of(9)[0][1]) == entry + 3 + 2
        assert chip.interrupts()[11].longest_cycles == entry + 3 + 2 + 4  # RETI: four


def test_sleep_needs_its_enable_bit_and_only_idle_is_modelled():
    # 10.11.1: SE must be one to enter sleep. The rig refuses modes it does not know rather than run them wrongly.
    with run("core", "no_sleep") as chip:
        assert told(chip) == [1, 2]
        assert chip.asleep_cycles == 0
    with pytest.raises(ChipTrouble, match="idle sleep only"):
        run("core", "deep_sleep")


def test_one_instruction_runs_after_sei_and_one_between_two_interrupts():
    # 7.7: the instruction after SEI runs before any interrupt; after RETI one more instruction of the program runs.
    with run("core", "one_instruction") as chip:
        marks = [(int(mark["place"]), int(mark["value"])) for mark in chip.marks()]
        assert marks == [(1, 1), (0, 1), (1, 2), (0, 3), (1, 3)]


def test_a_write_of_the_eeprom_takes_3_4_ms():
    # Table 8-1 (EEPM1:0 = 00): 3.4 ms. 8.6.3: EEPE works only within four cycles after EEMPE. Section 8.4: unwritten cells are 0xFF.
    with run("core", "eeprom", cycles=70_000) as chip:
        took_s = (told_at(chip, 1, 2) - told_at(chip, 1, 1)) / CLOCK_HZ
        assert took_s == pytest.approx(3.4e-3, abs=2e-6)
        assert told(chip, 2) == [0x5A, 0]
        assert chip.eeprom()[4:8] == b"\xff\x5a\xff\xff"


def test_a_hang_ends_in_a_reset_with_all_pins_let_go():
    # Table 11-2: WDP 0 is 16 ms (2K cycles of 128 kHz). 11.9.1: MCUSR tells PORF 1, then WDRF 8; SRAM is kept. Section 14: a reset
    # makes every pin an input in the same cycle, clock or not. 16.11: TCNT1 is 0.
    with run("core", "hang", cycles=300_000) as chip:
        begun = told_at(chip, 1, 0xAA)
        at, levels = chip.edges_of(9)
        assert levels.tolist() == [0, 1, 2]
        assert (at[2] - begun) / CLOCK_HZ == pytest.approx(16e-3, abs=1e-6)
        assert chip.edges_of(8)[0][-1] == at[2]
        assert told(chip) == [1, 0xAA, 8, 0]
        assert told(chip, 2) == [0, 1, 0, 2]


def test_after_its_reset_the_watchdog_runs_on_at_16_ms():
    # 11.9.2: WDRF overrides WDE: it cannot be cleared before WDRF. First 64K cycles of 128 kHz (table 11-2), then 2K each.
    with run("core", "hang_again", cycles=int(0.6 * CLOCK_HZ)) as chip:
        starts = chip.marks()["cycle"][chip.marks()["place"] == 1]
        assert told(chip)[:4] == [1, 8, 8, 8]  # the second life leaves the watchdog alone, the third writes WDTCSR
        assert (starts[1] - starts[0]) / CLOCK_HZ == pytest.approx(0.512, abs=1e-5)
        assert ((starts[2:] - starts[1:-1]) / CLOCK_HZ).tolist() == pytest.approx([0.016] * (len(starts) - 2), abs=1e-5)


def test_the_watchdog_is_not_switched_off_by_chance():
    # 11.9.2: WDE falls only within four cycles after WDCE and WDE were written together.
    with run("core", "stubborn", cycles=300_000) as chip:
        assert told(chip)[:2] == [1, 8]
        assert told(chip)[2] == 8  # the reset it makes all the same


def test_the_watchdog_can_interrupt_instead():
    # Table 11-1: WDIE alone: interrupt and no reset, again and again; WDP 2 is 64 ms, 8K cycles of 128 kHz.
    with run("core", "watched", cycles=3_200_000) as chip:
        assert chip.interrupts()[6].count == 3
        assert told(chip, 0) == [4, 4, 4]


@pytest.mark.parametrize(("cause", "bit"), [("power-on", 1), ("external", 2), ("brown-out", 4), ("watchdog", 8)])
def test_each_reset_tells_its_cause_and_lets_go_of_all_pins_at_once(cause, bit):
    # 11.9.1: PORF, EXTRF, BORF, WDRF are bits 0-3; they add up until cleared, a power-on reset clears the others.
    with run("core", "resets") as chip:
        chip.forget()
        chip.reset(cause)
        now = chip.cycle
        assert [(int(e["cycle"]), int(e["pin"]), int(e["level"])) for e in chip.edges()] == [(now, 8, 2), (now, 9, 2)]
        chip.run(cycles=10_000)
        assert told(chip) == [bit if cause == "power-on" else 1 | bit]
        assert told(chip, 2)[0] == 0  # timer 1 stands at 0


def test_the_lowest_stack_pointer_is_seen():
    # Two bytes for the call of main, two for that of the program, a hundred pushed: 0x8FF - 104 + 1 is the lowest written.
    with run("core", "deep") as chip:
        assert chip.stack_low == 0x8FF - 104 + 1
        assert chip.stack_free_b == 0x8FF - 104 + 1 - 0x100  # the program has no variables


def test_what_the_rig_does_not_know_stops_it():
    with pytest.raises(ChipTrouble, match="left the memory"):
        run("core", "wild")
    with pytest.raises(ValueError, match="32769 bytes"):
        Chip(b"\0" * 32_769)


# Registers and bits of sections 9, 15-18, 20, 22, 24, 27; their names are those of avr-libc.
@pytest.mark.parametrize(
    ("register", "bits", "what"),
    [
        ("ADCSRA", "_BV(ADEN) | _BV(ADSC)", "analogue"),
        ("TWCR", "_BV(TWEN)", "two-wire"),
        ("CLKPR", "_BV(CLKPS1)", "clock divider"),
        ("SPMCSR", "_BV(SPMEN)", "flash"),
        ("TCCR1B", "_BV(CS12) | _BV(CS11)", "external clock"),
        ("TCCR0B", "_BV(WGM02) | _BV(CS00)", "normal and CTC"),
        ("UCSR0B", "_BV(UCSZ02)", "nine bits"),
        ("UCSR0C", "_BV(UMSEL00)", "asynchronous"),
        ("EIMSK", "_BV(INT0)", "level-triggered"),
    ],
)
def test_what_is_not_modelled_does_not_seem_to_work(register, bits, what):
    with pytest.raises(ChipTrouble, match=what):
        run("core", "unknown", f"-DREGISTER={register}", f"-DBITS={bits}")


def test_an_empty_flash_runs_off_its_end():
    with Chip(b"") as chip, pytest.raises(ChipTrouble):
        chip.run(cycles=40_000)


def test_chips_come_quickly_and_leave_nothing_behind():
    import resource  # noqa: PLC0415
    import time  # noqa: PLC0415

    flash = quirk("core", "busy")

    def make(count):
        for _ in range(count):
            with Chip(flash) as chip:
                chip.send(b"x" * 100, baud=250_000)
                chip.run(cycles=1000)

    make(1000)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.perf_counter()
    make(20_000)
    assert (time.perf_counter() - begun) / 20_000 < 2e-3
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 300  # KiB: 15 bytes a chip, of about 60,000
