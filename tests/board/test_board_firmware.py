"""The firmware that ships is the one its sources make, it keeps its budgets, and no interrupt divides."""

import re
import shutil
import subprocess

import pytest

from jackrail.board.hex_file import read_hex
from jackrail.board.image import built_firmware
from jackrail.roll.format import MACHINE_BLOCK_AT
from workshop import ROOT

MOST_STATIC_B = 1228
"""1.2 KB of the chip's 2 KiB (ATmega328P datasheet DS40002061, check value G62): the rest is for the stack."""
TOOLS = ("avr-gcc", "avr-objcopy", "avr-objdump", "avr-size", "make")
needs_compiler = pytest.mark.skipif(
    any(shutil.which(tool) is None for tool in TOOLS), reason="the firmware is built where gcc-avr and avr-libc are installed"
)
CALLS = ("call", "rcall", "jmp", "rjmp")
DIVISIONS = re.compile(r"__(u?div|u?mod)\w+")
INSTRUCTION = re.compile(r"^\s*[0-9a-f]+:\t[0-9a-f ]+\t(\w+)\t?(.*)$")


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A folder with the sources copied to it and built there."""
    folder = tmp_path_factory.mktemp("elsewhere")
    shutil.copytree(ROOT / "firmware", folder / "firmware")
    subprocess.run(["make", "-s", "-C", folder / "firmware"], check=True, capture_output=True)
    return folder / "out" / "firmware"


@needs_compiler
def test_built_elsewhere_it_is_the_one_that_ships_to_the_byte(built):
    assert read_hex((built / "firmware.hex").read_text(encoding="ascii")) == built_firmware()
    assert (built / "firmware.hex").read_text() == (ROOT / "src" / "jackrail" / "board" / "firmware.hex").read_text()


def test_it_fits_before_the_machine_block():
    assert len(built_firmware()) <= MACHINE_BLOCK_AT


@needs_compiler
def test_what_it_keeps_in_memory_leaves_room_for_the_stack(built):
    told = subprocess.run(["avr-size", built / "firmware.elf"], check=True, capture_output=True, text=True).stdout
    _, data, bss, *_ = (int(word) for word in told.splitlines()[1].split()[:3])
    assert data + bss <= MOST_STATIC_B


def calls_of(elf):
    """Which functions each function calls or jumps to, from the disassembly."""
    text = subprocess.run(["avr-objdump", "-d", elf], check=True, capture_output=True, text=True).stdout
    calls, name = {}, ""
    for line in text.splitlines():
        if head := re.match(r"^[0-9a-f]+ <(.+)>:$", line):
            name = head[1]
            calls.setdefault(name, set())
        elif (found := INSTRUCTION.match(line)) and found[1] in CALLS and (target := re.search(r"<([^+>]+)", found[2])):
            calls[name].add(target[1])
    return calls


def reached(calls, start):
    """All functions that can be reached from one."""
    seen, todo = set(), [start]
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo += calls.get(name, ())
    return seen


@needs_compiler
def test_no_interrupt_can_reach_a_division_in_software(built):
    calls = calls_of(built / "firmware.elf")
    vectors = [name for name in calls if name.startswith("__vector_")]
    assert len(vectors) >= 8  # two steps and what they jump to, overflow, cues, grid, serial line
    assert any(DIVISIONS.fullmatch(name) for name in reached(calls, "main"))  # so that the search is known to find one
    for vector in vectors:
        assert not [name for name in reached(calls, vector) if DIVISIONS.match(name)], vector
