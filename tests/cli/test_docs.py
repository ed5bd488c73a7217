"""The documents that repeat what the program knows agree with it."""

import dataclasses
import re
import subprocess
import sys

from jackrail.motion.ramp import Ramp
from jackrail.roll.due import Timing, commands_of
from jackrail.roll.format import ROLL_HEAD, ROLL_KIND, Op, unwrap
from jackrail.roll.queue import queue_of
from jackrail.roll.records import RollRecord, read_records
from jackrail.setting.taste import Taste
from workshop import ROOT


def test_the_tables_of_the_format_document_and_the_header_of_the_firmware_come_from_the_format_table():
    done = subprocess.run([sys.executable, ROOT / "tools" / "write_spec_tables.py", "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_weights_of_the_fitting_document_are_those_of_the_program():
    text = (ROOT / "docs" / "fitting.md").read_text(encoding="utf-8")
    told = {name: float(value) for name, value in re.findall(r"^\| `(\w+)` \| ([\d.]+) \|", text, re.MULTILINE)}
    assert told == dataclasses.asdict(Taste())


def worked_machine():
    """The machine of the worked examples of docs/SPEC-roll.md."""
    ramp = Ramp(((6667, 1), (2761, 1), (2119, 1)), 112)
    return Timing(
        stops=((0, 1), (0, 2), (0, 3), (0, 5), (0, 10)),
        ramps=(ramp, ramp),
        axis_leads_us=(25_500, 80_000),
        picks=(False, True),
        strikers=(1, 255),
        coil_leads_us=(0, 0, 22_000),
        pulses_us=(0, 0, 60_000),
    )


def test_the_worked_example_of_the_format_document_reads_as_it_says():
    text = (ROOT / "docs" / "SPEC-roll.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `((?:[0-9A-F]{2} ?)+)` \| (\w+)", text[text.index("## Worked examples") :], re.MULTILINE)
    assert [name for _, name in rows] == ["MOVE", "NOTE", "PULSE", "NOTE", "REPEAT", "END"]
    table = [int.from_bytes(bytes.fromhex(entry), "little") for entry in re.findall(r"`((?:[0-9A-F]{2} ){2}[0-9A-F]{2})` \(", text)[:2]]
    *records, end = read_records(b"".join(bytes.fromhex(row) for row, _ in rows), table)
    assert (len(records), end.at_us) == (6, 1_750_000)
    commands = tuple(commands_of(records, worked_machine()))
    assert [[cue.tick for cue in due] for due in commands] == [
        [0],
        [840_000],
        [956_000],
        [1_428_025, 1_340_000],
        [2_428_025, 2_340_000],
        [2_456_000],
    ]
    assert queue_of(records, commands, worked_machine()).horizon_ms == 80


def test_the_whole_block_of_the_format_document_has_a_right_header_and_holds_the_worked_records():
    text = (ROOT / "docs" / "SPEC-roll.md").read_text(encoding="utf-8")
    rows = re.findall(r"^((?:[0-9A-F]{2} ?)+)(?:  .*)?$", text[text.index("The whole block") :].split("```")[1], re.MULTILINE)
    payload = unwrap(b"".join(map(bytes.fromhex, rows)), ROLL_KIND)
    head, offset = ROLL_HEAD.unpack(payload, 0)
    told = {"machine_id": 0xCAFE0001, "cues": 6, "length_us": 1_750_000, "horizon_ms": 80, "waits": 2, "title_bytes": 4}
    assert head == told
    assert payload[offset : offset + 4] == b"Bell"
    assert read_records(payload[offset + 10 :], [500_000, 0])[-1] == RollRecord(1_750_000, Op.END, 0)


def test_the_extended_argument_of_the_format_document_reads_as_it_says():
    assert read_records(bytes.fromhex("9F 28 01 00 01"), [500_000, 0])[0] == RollRecord(0, Op.PULSE, 40)
