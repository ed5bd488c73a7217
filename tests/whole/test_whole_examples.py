"""Every shipped tune on every shipped machine, from file to roll."""

import json

import pytest

from jackrail.roll.listing import list_roll
from jackrail.roll.roll import unpack_roll
from jackrail.tune.read import read_tune
from jackrail.work import do_work
from workshop import MACHINE_NAMES, ROOT, ensemble, machine

TUNES = sorted(path for path in (ROOT / "tunes").iterdir() if path.suffix in {".abc", ".mid", ".musicxml", ".mxl", ".xml"})
BOTH = [pytest.param(name, path, id=f"{path.stem} on {name}") for name in MACHINE_NAMES for path in TUNES]


def test_there_are_machines_and_tunes():
    assert len(MACHINE_NAMES) >= 3
    assert len(TUNES) >= 2


@pytest.mark.parametrize("name, path", BOTH)
def test_an_example_is_played_whole_and_on_its_beat(name, path):
    work = do_work(machine(name), read_tune(path))
    assert [finding for finding in work.findings if finding.severity == "error"] == []
    assert work.setting.optimal
    assert work.comparison.worst_late_s < 0.0002
    assert work.comparison.missing == work.comparison.extra == ()
    assert work.setting.notes_kept >= 0.8 * work.setting.notes_total
    assert unpack_roll(work.roll_block, work.machine_block) == work.roll
    assert len(list_roll(work.roll, work.numbering).splitlines()) == len(work.roll.records) + 6


@pytest.mark.parametrize("name, path", BOTH)
def test_an_example_gives_the_same_bytes_each_time(name, path):
    first, second = (do_work(machine(name), read_tune(path)) for _ in range(2))
    assert (first.roll_block, first.machine_block) == (second.roll_block, second.machine_block)


@pytest.mark.parametrize("name, path", BOTH)
def test_what_is_written_down_of_an_example_is_plain_json(name, path):
    work = do_work(machine(name), read_tune(path))
    made = ensemble(name)
    setting = json.loads(json.dumps(work.setting.to_json(made.voice_ids, made.place_names), allow_nan=False))
    performance = json.loads(json.dumps(work.performance.to_json(), allow_nan=False))
    assert len(setting["notes"]) == len(performance["notes"]) == work.setting.notes_kept
    assert len(setting["losses"]) == len(work.setting.losses)
    assert len(performance["strokes"]) == len(work.setting.strokes) + len(work.setting.beats)
    memory = work.memory.to_json()
    assert memory["free_b"] == memory["flash_b"] - sum(memory[key] for key in ("boot_loader_b", "firmware_b", "machine_block_b", "roll_b"))
    assert [json.loads(json.dumps(finding.to_json()))["code"] for finding in work.findings] == [finding.code for finding in work.findings]
