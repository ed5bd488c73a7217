"""The flash image: parts in, the same parts out; one clear fault for each thing that does not fit."""

import hashlib
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from jackrail import api
from jackrail.board.hex_file import read_hex, write_hex
from jackrail.board.image import MACHINE_BLOCK_AT, Image, assemble, read_image, take_apart
from jackrail.board.memory import memory_of
from jackrail.roll.format import FLASH_END, ROLL_KIND, wrap
from workshop import ROOT, examples, fault_codes, faults_of, machine, tune

MACHINE = machine("quay_zither")
WORKS = [api.do_work(MACHINE, tune(*[(67 + n % 5, "1") for n in range(count)], title=f"Of {count}")) for count in (3, 9)]
BLOCK, ROLLS = WORKS[0].machine_block, tuple(work.roll_block for work in WORKS)
FIRMWARE = bytes(range(255)) * 20
ROOM = 0x7E00 - MACHINE_BLOCK_AT
OTHER = api.do_work(machine("tower_chimes"), tune((74, "1")))


def roll_of(length):
    """A sound roll block of this length for the machine; what it says is of no interest here."""
    return wrap(ROLL_KIND, (ROLLS[0][8:12] + bytes(length))[: length - 8])


def test_what_is_assembled_lies_where_the_board_looks_for_it():
    flash = assemble(FIRMWARE, BLOCK, ROLLS, MACHINE.board).flash
    assert flash[: len(FIRMWARE)] == FIRMWARE
    assert set(flash[len(FIRMWARE) : MACHINE_BLOCK_AT]) == {0xFF}  # erased flash, from memory: the chip's datasheet
    assert flash[MACHINE_BLOCK_AT:] == BLOCK + ROLLS[0] + ROLLS[1]


def test_an_image_read_back_from_its_hex_file_is_itself(tmp_path):
    image = assemble(FIRMWARE, BLOCK, ROLLS, MACHINE.board)
    path = tmp_path / "image.hex"
    path.write_text(image.to_hex(), encoding="ascii")
    assert read_image(path) == image
    assert read_image(path).digest == hashlib.sha256(image.flash).hexdigest()


def test_an_image_may_be_without_tunes():
    image = assemble(FIRMWARE + b"\xff" * 9, BLOCK, (), MACHINE.board)
    assert image.firmware == FIRMWARE
    assert take_apart(image.flash + b"\xff" * 100) == image


@pytest.mark.parametrize("place", [0, MACHINE_BLOCK_AT, MACHINE_BLOCK_AT + len(BLOCK) + 9])
def test_the_digest_tells_any_two_images_apart(place):
    image = assemble(FIRMWARE, BLOCK, ROLLS, MACHINE.board)
    parts = bytearray(image.flash)
    parts[place] ^= 1
    cut = MACHINE_BLOCK_AT + len(BLOCK)
    other = Image(bytes(parts[: len(FIRMWARE)]), bytes(parts[MACHINE_BLOCK_AT:cut]), (bytes(parts[cut:]),))
    assert other.digest != image.digest


def test_the_firmware_may_fill_its_room_and_not_one_byte_more():
    assert assemble(bytes(MACHINE_BLOCK_AT), BLOCK, (), MACHINE.board)
    (fault,) = faults_of(assemble, bytes(MACHINE_BLOCK_AT + 3), BLOCK, (), MACHINE.board)
    assert (fault.code, fault.where) == ("range", "firmware")
    assert "3 bytes over" in fault.what


def test_rolls_may_fill_the_flash_to_the_boot_loader_and_the_one_that_goes_beyond_is_named():
    left = ROOM - len(BLOCK) - len(ROLLS[0])
    assert len(assemble(FIRMWARE, BLOCK, (ROLLS[0], roll_of(left)), MACHINE.board).flash) == 0x7E00
    (fault,) = faults_of(assemble, FIRMWARE, BLOCK, (ROLLS[0], roll_of(left + 7)), MACHINE.board)
    assert (fault.code, fault.where, fault.limit) == ("range", "tune 2", f"{left} bytes left")
    assert "7 bytes over" in fault.what


def test_a_larger_boot_loader_leaves_less_room():
    board = MACHINE.board.model_copy(update={"boot_loader_b": 2048})
    roll = roll_of(0x7800 - MACHINE_BLOCK_AT - len(BLOCK))
    assert fault_codes(assemble, FIRMWARE, BLOCK, (roll,), board) == []
    assert fault_codes(assemble, FIRMWARE, BLOCK, (roll_of(len(roll) + 1),), board) == ["range"]


@pytest.mark.parametrize("flash_b, boot_loader_b", [(32768, 0), (32768, 512), (32768, 2048), (65536, 512), (65536, 2048), (24576, 512)])
def test_what_the_memory_says_is_what_the_image_takes(flash_b, boot_loader_b):
    board = MACHINE.board.model_copy(update={"flash_b": flash_b, "boot_loader_b": boot_loader_b})
    free_b = memory_of(board, BLOCK, b"").free_b
    assert free_b <= 0x7E00 - MACHINE_BLOCK_AT - len(BLOCK)  # docs/SPEC-roll.md: it looks no further
    assert memory_of(board, BLOCK, roll_of(free_b)).free_b == 0
    assemble(FIRMWARE, BLOCK, [roll_of(free_b)], board)
    assert fault_codes(assemble, FIRMWARE, BLOCK, [roll_of(free_b + 1)], board) == ["range"]


def test_without_a_boot_loader_the_firmware_still_looks_no_further():
    board = MACHINE.board.model_copy(update={"boot_loader_b": 0})
    assert fault_codes(assemble, FIRMWARE, BLOCK, (roll_of(ROOM - len(BLOCK) + 1),), board) == ["range"]


def test_the_firmware_looks_for_its_blocks_where_the_image_has_them():
    header = (ROOT / "firmware" / "format.h").read_text(encoding="utf-8")
    found = {name: int(value, 16) for name, value in re.findall(r"^#define (MACHINE_BLOCK_AT|FLASH_END) (\w+)", header, re.MULTILINE)}
    assert found == {"MACHINE_BLOCK_AT": MACHINE_BLOCK_AT, "FLASH_END": FLASH_END}


def test_all_faults_come_at_once_each_with_its_part():
    long = roll_of(ROOM)
    found = faults_of(assemble, bytes(MACHINE_BLOCK_AT + 9), BLOCK, (ROLLS[0][:-1], long, OTHER.roll_block), MACHINE.board)
    assert [fault.where.split(":")[0] for fault in found] == ["firmware", "tune 1", "tune 3", "tune 2", "tune 3"]
    assert "another machine" in str(found[2])
    assert f"{len(OTHER.roll_block)} bytes over" in str(found[4])


def test_a_damaged_machine_block_is_one_fault_and_not_one_more_for_each_tune():
    assert fault_codes(assemble, FIRMWARE, BLOCK[:-1], ROLLS, MACHINE.board) == ["block"]


@pytest.mark.parametrize("change", [lambda f: f[:MACHINE_BLOCK_AT], lambda f: f[:100], lambda f: f[:0], lambda f: f[:-1]])
def test_a_flash_that_holds_no_whole_image_is_refused(change):
    assert set(fault_codes(take_apart, change(assemble(FIRMWARE, BLOCK, ROLLS, MACHINE.board).flash))) == {"block"}


@examples(100)
@given(st.integers(MACHINE_BLOCK_AT, MACHINE_BLOCK_AT + len(BLOCK + ROLLS[0] + ROLLS[1]) - 1), st.integers(1, 255))
def test_a_byte_changed_in_any_block_is_noticed_or_ends_the_tunes_before_it(place, change):
    """The board, too, takes what does not begin with our letters for the end of its tunes."""
    flash = bytearray(assemble(FIRMWARE, BLOCK, ROLLS, MACHINE.board).flash)
    flash[place] ^= change
    if not fault_codes(take_apart, bytes(flash)):
        assert len(take_apart(bytes(flash)).rolls) < 2
        assert flash[place - 1 : place + 1] != b"JR"


@examples(60)
@given(st.dictionaries(st.sampled_from([0, 256, 4096, MACHINE_BLOCK_AT, 0x7000]), st.binary(min_size=1, max_size=256)))
def test_hex_files_are_those_of_a_library_and_read_back(parts):
    text = write_hex(parts)
    if not parts:
        assert fault_codes(read_hex, text) == ["format"]
        return
    last = max(address + len(data) for address, data in parts.items())
    flash = bytearray(b"\xff" * last)
    for address, data in parts.items():
        flash[address : address + len(data)] = data
    assert read_hex(text) == bytes(flash)
    assert read_hex(text.replace("\n", "\r\n").lower()) == bytes(flash)


HEX = write_hex({0: bytes(40)})


@pytest.mark.parametrize(
    "text, code, word",
    [
        ("Dear friend,\n", "format", "not an Intel HEX"),
        ("", "format", "not an Intel HEX"),
        (HEX.replace("10000000", "10000001"), "syntax", "damaged"),
        (HEX.replace(":10001000", ":10000000").replace("E0", "F0"), "syntax", "damaged"),
        (HEX[: HEX.index(":00000001FF")], "syntax", "cut short"),
        (":0100000000FF\n:0100000000FF\n:00000001FF\n", "syntax", "damaged"),
        (":020000040800F2\n:0100000000FF\n:00000001FF\n", "range", "beyond the flash"),
        (":00000001FF\n", "format", "without any data"),
    ],
)
def test_each_way_of_being_no_hex_file_is_told_apart(text, code, word):
    (fault,) = faults_of(read_hex, text)
    assert (fault.code, word in str(fault)) == (code, True), str(fault)


def test_the_last_byte_of_the_flash_is_taken_and_the_one_behind_it_is_not():
    assert len(read_hex(write_hex({32767: b"\x01"}))) == 32768
    assert fault_codes(read_hex, write_hex({32768: b"\x01"})) == ["range"]


def test_a_file_that_is_not_there_or_not_text_is_a_fault_with_its_name(tmp_path):
    assert fault_codes(read_image, tmp_path / "none.hex") == ["file"]
    path = tmp_path / "odd.hex"
    path.write_bytes(b":\xff\xfe")
    (fault,) = faults_of(read_image, path)
    assert (fault.code, fault.where) == ("format", str(path))


def test_the_api_makes_writes_and_reads_an_image(tmp_path):
    image = api.make_image(MACHINE, WORKS, FIRMWARE)
    assert (image.machine_block, image.rolls) == (BLOCK, ROLLS)
    path = api.write_image(image, tmp_path / "made" / "image.hex")
    assert api.read_image(path) == image
    reader = IntelHex(str(path))
    assert bytes(reader.tobinarray(start=MACHINE_BLOCK_AT, size=len(BLOCK))) == BLOCK
    assert fault_codes(api.write_image, image, tmp_path) == ["file"]
    assert fault_codes(api.write_image, image, path / "below a file.hex") == ["file"]
    assert [each.name for each in path.parent.iterdir()] == ["image.hex"]  # nothing half made is left


def test_the_api_refuses_works_of_another_machine():
    (fault,) = faults_of(api.make_image, MACHINE, [OTHER], FIRMWARE)
    assert (fault.code, fault.where) == ("block", "tune 1")
