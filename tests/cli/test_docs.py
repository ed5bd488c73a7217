"""The documents that repeat what the program knows agree with it."""

import dataclasses
import re
import subprocess
import sys

from jackrail.roll.format import Op
from jackrail.roll.roll import RollCue, pack_roll, unpack_roll
from jackrail.setting.taste import Taste
from workshop import ROOT


def test_the_tables_of_the_format_document_come_from_the_format_table():
    done = subprocess.run([sys.executable, ROOT / "tools" / "write_spec_tables.py", "--check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_weights_of_the_fitting_document_are_those_of_the_program():
    text = (ROOT / "docs" / "fitting.md").read_text(encoding="utf-8")
    told = {name: float(value) for name, value in re.findall(r"^\| `(\w+)` \| ([\d.]+) \|", text, re.MULTILINE)}
    assert told == dataclasses.asdict(Taste())


def test_the_worked_cue_examples_of_the_format_document_read_as_it_says():
    """`22 90 03` is MOVE to stop 2 after 400 ticks; `7F 28 05` is PULSE of coil 40 after 5 ticks."""
    block = pack_roll((RollCue(400, Op.MOVE, 2), RollCue(405, Op.PULSE, 40)), "", 405, 0)
    assert block[-8:-2] == bytes.fromhex("22 90 03 7F 28 05")
    assert [cue.tick for cue in unpack_roll(block).cues] == [400, 405]
