"""What the terminal says of the trade-off, of what it would take, and of a songbook."""

import json

import pytest
from click.testing import CliRunner

from jackrail.cli import main
from workshop import ROOT

ZITHER = str(ROOT / "machines" / "quay_zither.toml")
LAMPS, GULL = (str(ROOT / "tunes" / name) for name in ("nine_lamps.abc", "gull_steps.abc"))
NO_TUNE = str(ROOT / "tests" / "tune" / "cases" / "bad")


def run(*words):
    return CliRunner().invoke(main, list(words))


def test_the_front_is_a_line_a_point_and_tells_how_to_take_one():
    shown = run("fit", ZITHER, GULL, "--front").output
    assert "* is the setting of least cost" in shown
    assert "--point N takes one" in shown
    told = json.loads(run("fit", ZITHER, GULL, "--front", "--json").output)
    assert [point["point"] for point in told["points"]] == list(range(1, len(told["points"]) + 1))
    assert sum(point["chosen"] for point in told["points"]) == 1
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_a_point_is_taken_by_its_number_and_said_to_be():
    points = json.loads(run("fit", ZITHER, GULL, "--front", "--json").output)["points"]
    shown = run("fit", ZITHER, GULL, "--point", "2")
    assert f"{points[1]['notes_kept']} of {points[1]['notes_total']}" in shown.output
    assert "point 2 of the trade-off, as asked for" in shown.output
    assert run("fit", ZITHER, GULL, "--point", "0").exit_code == 2


@pytest.mark.slow
def test_what_it_would_take_is_told_in_the_makers_words():
    shown = run("fit", ZITHER, GULL, "--changes").output
    assert "acceleration 4500 to 5400 mm/s^2: +" in shown
    assert "The tightest moves" in shown
    told = json.loads(run("fit", ZITHER, GULL, "--front", "--changes", "--json").output)
    assert {"points", "in_all", "changes", "tight_moves"} == set(told)
    assert {"change", "caution", "tempo", "notes", "chords", "cost", "at_least"} == set(told["changes"][0])
    assert {"place", "from", "to", "needs_s", "has_s", "freed"} == set(told["tight_moves"][0])


@pytest.mark.slow
def test_advice_on_two_tunes_and_one_that_cannot_be_read(tmp_path):
    (tmp_path / "bad.mid").write_bytes(b"MThd no")
    words = ("advise", ZITHER, LAMPS, GULL, str(tmp_path / "bad.mid"), "--workers", "1")
    shown = run(*words)
    assert shown.exit_code == 0
    assert "Quay zither with 2 tunes" in shown.output
    for head in ("What each change buys", "Chords for the bars", "Stops for the melody string"):
        assert head in shown.output
    told = json.loads(run(*words, "--json").stdout)
    assert {"machine", "now", "changes", "chords", "stops", "tuning", "faults"} == set(told)
    assert told["now"]["tunes"] == 2
    assert len(told["faults"]) == 1
    assert told["stops"]["proven"]


def test_nothing_that_can_be_read_is_an_error(tmp_path):
    (tmp_path / "bad.mid").write_bytes(b"MThd no")
    assert run("advise", ZITHER, str(tmp_path / "bad.mid")).exit_code == 2
