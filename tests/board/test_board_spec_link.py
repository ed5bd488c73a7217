"""SPEC-link.md and the firmware's header agree with the one table, and the worked examples with the arithmetic."""

import re
import shutil
import struct
import subprocess
import sys

import pytest

from jackrail.board import link_format, reasons
from jackrail.board.frames import Packet, to_line
from jackrail.board.link import KNOCK
from jackrail.board.link_format import ACK, NEWS, STREAM, Frame, Verb
from jackrail.board.messages import verb_payload
from workshop import ROOT

SPEC = (ROOT / "docs" / "SPEC-link.md").read_text(encoding="utf-8")
HEADER = (ROOT / "firmware" / "link_format.h").read_text(encoding="utf-8")
EXAMPLES = dict(re.findall(r"^\| (\w+)[^|]*\| `([0-9A-F ]+)` \|$", SPEC, re.MULTILINE))
WORKED = {
    "HELLO": Packet(Frame.HELLO, 0, b""),
    "DO": Packet(Frame.DO, 1, verb_payload(Verb.JOG, 1, -300)),
    "STREAM": Packet(Frame.STREAM, 2, STREAM.pack(machine_id=0x1234ABCD, horizon_ms=1500)),
    "CUES": Packet(Frame.CUES, 3, bytes([1 << 5 | 3, 255]) + (500_000).to_bytes(3, "little")),
    "ACK": Packet(Frame.ACK, 7, ACK.pack(next=4, credit=187, state=3, reason=0)),
    "NEWS": Packet(Frame.NEWS, 8, NEWS.pack(kind=2, reason=1, where=0, time_ms=61_000)),
}


def by_hand(body):
    """A frame as the document tells it, in the slowest way: the CRC bit by bit, the pieces between zeros one after the other."""
    crc = 0xFFFF
    for byte in body:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    coded, piece = [], []
    for byte in [*body, crc & 0xFF, crc >> 8, 0]:
        if byte:
            piece.append(byte)
        else:
            coded += [len(piece) + 1, *piece]
            piece = []
    return bytes([0, *coded, 0])


def test_the_tables_of_the_document_and_the_header_come_from_the_one_table():
    done = subprocess.run([sys.executable, ROOT / "tools" / "write_link_tables.py", "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_every_worked_example_is_looked_at():
    assert set(EXAMPLES) == set(WORKED)


@pytest.mark.parametrize("name", WORKED)
def test_a_worked_example_is_right_by_hand_and_by_the_program(name):
    packet = WORKED[name]
    assert bytes.fromhex(EXAMPLES[name]) == by_hand(bytes([packet.kind, packet.sequence]) + packet.payload)
    assert bytes.fromhex(EXAMPLES[name]) == to_line(packet)


def test_the_header_compiles_and_gives_every_macro_one_value(tmp_path):
    names = re.findall(r"^#define (\w+)", HEADER, re.MULTILINE)
    assert len(set(names)) == len(names)
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("no C compiler here")
    source = tmp_path / "words.c"
    source.write_text(
        '#include <stdio.h>\n#include "link_format.h"\n#define LINE(code, word) printf("%d %s\\n", code, word);\n'
        "int main(void) { REASON_WORDS(LINE) STATE_WORDS(LINE) return 0; }\n"
    )
    command = [compiler, "-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-I", ROOT / "firmware", source, "-o", tmp_path / "words"]
    subprocess.run(command, check=True)
    said = subprocess.run([tmp_path / "words"], capture_output=True, text=True, check=True).stdout.splitlines()
    wanted = [f"{reason.code} {reason.word}" for reason in reasons.REASONS]
    assert said[: len(wanted)] == wanted
    assert said[len(wanted) :] == ["0 not homed", "1 homing", "2 ready", "3 playing", "4 stopping", "5 refused"]


def test_byte_offsets_of_the_header_are_those_of_c_structs():
    """Worked by hand from the layouts: credit behind next, machine_id behind link and build, time behind three bytes."""
    for name, value in {
        "ACK_CREDIT": 1,
        "ACK_SIZE": 5,
        "INFO_MACHINE_ID": 5,
        "INFO_SIZE": 17,
        "STATUS_SIZE": 11,
        "NEWS_TIME_MS": 3,
    }.items():
        assert re.search(rf"^#define {name} {value}$", HEADER, re.MULTILINE), name


def test_codes_have_no_gap_and_every_reason_says_what_to_do():
    assert [reason.code for reason in reasons.REASONS] == list(range(24))
    for reason in reasons.REASONS:
        assert reasons.explain(reason.code) == f"{reason.word}: {reason.meaning}; {reason.advice}"
        assert f"| {reason.code} | {reason.word} |" in SPEC
    assert "24" in reasons.explain(24)


def test_limits_of_the_document_follow_from_the_table():
    longest = len(to_line(Packet(5, 0, bytes(range(1, 65)))))
    assert f"{longest} bytes, {longest * 10e3 / link_format.BAUD:.2f} ms" in SPEC
    assert f"| frames unanswered | {link_format.WINDOW} |" in SPEC
    assert f"| lost, either side | {link_format.LINK_LOST_MS} ms |" in SPEC
    assert f"| keep-alive of the host | {link_format.KEEP_ALIVE_MS} ms |" in SPEC
    assert f"| the host sends again after | {link_format.RESEND_MS} ms |" in SPEC
    assert struct.calcsize("<BB64sH") == link_format.LONGEST_FRAME


def stop_bits(sent_baud, heard_baud, count):
    """The stop bits (true: right) that a receiver at another rate sees when it hears bytes 0x00 without pause.

    A receiver begins at a falling edge and looks at the middle of each bit (datasheet, section on asynchronous reception).
    """
    bit_s, look_s = 1 / sent_baud, 1 / heard_baud
    seen, begin = [], 0
    while begin < count:
        at_s = begin * 10 * bit_s + 9.5 * look_s
        byte, bit = divmod(at_s / bit_s, 10)
        seen.append(byte >= count or bit >= 9)
        begin = int(byte) + 1  # the next falling edge is that of the next byte's start bit
    return seen


def test_knocking_makes_three_wrong_stop_bits_in_a_row_at_the_other_rate_and_none_at_the_same():
    fast_fallback = 16e6 / 8 / 17
    for sent, heard in ((115_200, 250_000), (250_000, fast_fallback)):
        assert stop_bits(sent, heard, len(KNOCK))[:3] == [False] * 3
    assert stop_bits(115_200, fast_fallback, len(KNOCK)) == [True] * len(KNOCK)
    assert set(KNOCK) == {0}
