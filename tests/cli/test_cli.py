"""The command line as a person and as a script use it: words, JSON, exit codes, and no traceback whatever comes."""

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from intelhex import IntelHex

from jackrail.cli import main, options
from jackrail.setting.wishes import Wishes
from rehearsing import missing, needs_rehearsal
from workshop import ROOT, machine_text

ZITHER = str(ROOT / "machines" / "quay_zither.toml")
LAMPS = str(ROOT / "tunes" / "nine_lamps.abc")
JACKRAIL = [sys.executable, "-c", "from jackrail.cli import main; main()"]
MADE = {
    "report.html",
    "sound.wav",
    "before.wav",
    "setting.json",
    "performance.json",
    "findings.json",
    "cues.csv",
    "roll.bin",
    "roll.txt",
    "machine.bin",
    "image.hex",
} | (set() if missing() else {"rehearsal.json"})


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words], env={"COLUMNS": "80"})


def abc(folder, *, title="A", key="G", body="GABc d2|", head=""):
    path = folder / "made.abc"
    path.write_text(f"X:1\nT:{title}\n{head}M:4/4\nL:1/4\nQ:1/4=90\nK:{key}\n{body}\n", encoding="utf-8")
    return path


@pytest.mark.slow
def test_perform_makes_every_file_and_says_what_to_open_on_one_screen(tmp_path, monkeypatch):
    """A terminal has 24 lines of 80 columns unless it is told otherwise (that of 1978, from memory)."""
    done = run("perform", ZITHER, LAMPS, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert {path.name for path in (tmp_path / "out").iterdir()} == MADE
    assert str(tmp_path / "out" / "report.html") in done.output.replace("\n", "")
    assert "Given up" in done.output
    monkeypatch.chdir(tmp_path)
    assert len(run("perform", ZITHER, LAMPS, "--out", "o").output.splitlines()) <= 24


@pytest.mark.slow
@needs_rehearsal
def test_the_image_that_is_written_is_the_one_that_was_rehearsed(tmp_path):
    run("perform", ZITHER, LAMPS, "--out", tmp_path)
    told = json.loads((tmp_path / "rehearsal.json").read_text(encoding="utf-8"))["image_sha256"]
    flash = bytes(IntelHex(str(tmp_path / "image.hex")).tobinarray(start=0))  # intelhex 2.3: erased places read 0xFF
    assert hashlib.sha256(flash).hexdigest() == told


@pytest.mark.slow
def test_perform_twice_gives_the_same_bytes_and_leaves_other_files_alone(tmp_path):
    run("perform", ZITHER, LAMPS, "--out", tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    (tmp_path / "mine.txt").write_text("mine")
    run("perform", ZITHER, LAMPS, "--out", tmp_path)
    assert {name: (tmp_path / name).read_bytes() for name in before} == before
    assert (tmp_path / "mine.txt").read_text() == "mine"


@pytest.mark.slow
def test_a_folder_in_the_way_leaves_everything_as_it_was(tmp_path):
    run("perform", ZITHER, LAMPS, "--out", tmp_path)
    (tmp_path / "cues.csv").unlink()
    (tmp_path / "cues.csv").mkdir()
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    done = run("perform", ZITHER, ROOT / "tunes" / "gull_steps.abc", "--out", tmp_path)
    assert done.exit_code == 2
    assert "cues.csv is a folder there" in done.output
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()} == before
    assert (tmp_path / "cues.csv").is_dir()


@pytest.mark.slow
@pytest.mark.parametrize("after_s", [0.3, 0.6, 0.8, 1.0])
def test_a_run_killed_at_any_moment_leaves_whole_files_only(tmp_path, after_s):
    words = ["perform", ZITHER, LAMPS, "--out", str(tmp_path), "--no-rehearsal"]  # so that it is soon at its files
    run(*words)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    child = subprocess.Popen([*JACKRAIL, *words], stdout=subprocess.DEVNULL)
    time.sleep(after_s)
    child.send_signal(signal.SIGKILL)
    child.wait()
    assert {name: (tmp_path / name).read_bytes() for name in before} == before


@pytest.mark.parametrize(
    "words, keys",
    [
        (["perform", ZITHER, LAMPS, "--out", "{out}"], {"out", "files", "setting", "memory", "rehearsal", "findings"}),
        (["check", ZITHER, LAMPS], {"machine", "findings", "faults"}),
        (["read", LAMPS, "--list"], {"tunes"}),
        (
            ["read", LAMPS],
            {"title", "notes", "chords", "pickup_q", "tempo", "keys", "bars", "warnings"}
            | {"ornaments", "harmony", "key_estimated", "remarks"},
        ),
        (
            ["fit", ZITHER, LAMPS],
            {"title", "machine", "transpose_semitones", "tempo_factor", "quarters_per_minute", "notes_total", "notes_kept", "notes_folded"}
            | {
                "chords_total",
                "chords_kept",
                "optimal",
                "cost",
                "bound",
                "search_s",
                "point",
                "lead_in_s",
                "losses",
                "notes",
                "strokes",
                "beats",
            }
            | {"small_total", "small_kept", "harmony", "warnings", "remarks", "why"},
        ),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_json_is_valid_alone_on_the_output_and_has_the_documented_keys(words, keys, tmp_path):
    done = run(*[word.format(out=tmp_path) for word in words], "--json")
    assert done.exit_code == 0
    assert set(json.loads(done.stdout)) == keys
    described = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    assert all(f"`{key}`" in described for key in keys)


@pytest.mark.slow
def test_the_written_settings_and_performances_are_what_the_program_says(tmp_path):
    done = run("perform", ZITHER, LAMPS, "--out", tmp_path, "--json")
    told = json.loads(done.stdout)["setting"]
    assert told.pop("search_s") >= 0  # how long it took is told, and not written: the files are the same each time
    assert json.loads((tmp_path / "setting.json").read_text()) == told
    performance = json.loads((tmp_path / "performance.json").read_text())
    assert len(performance["notes"]) == json.loads(done.stdout)["setting"]["notes_kept"]
    assert set(performance["notes"][0]) >= {"onset_s", "duration_s", "midi", "cents", "voice"}


def test_what_new_writes_passes_check_and_plays_whole(tmp_path):
    assert run("new", tmp_path / "my machine").exit_code == 0
    machine, tune = tmp_path / "my machine" / "machine.toml", tmp_path / "my machine" / "tune.abc"
    assert run("check", machine, tune).exit_code == 0
    fitted = json.loads(run("fit", machine, tune, "--json").stdout)
    assert fitted["notes_kept"] == fitted["notes_total"]
    assert [loss for loss in fitted["losses"] if loss["kind"] != "note-cut"] == []
    again = run("new", tmp_path / "my machine")
    assert again.exit_code == 2
    assert again.output.count("is not overwritten") == 2


@pytest.mark.parametrize(
    "words, said",
    [
        (["read", "gone.abc"], "gone.abc"),
        (["read", str(ROOT)], ""),
        (["fit", "gone.toml", LAMPS], "gone.toml"),
        (["fit", ZITHER, LAMPS, "--tempo", "fast"], "--tempo"),
        (["fit", ZITHER, LAMPS, "--key", "X"], "--key"),
        (["fit", ZITHER, LAMPS, "--key", "D7"], "--key"),
        (["fit", ZITHER, LAMPS, "--key", "C/E"], "--key"),
        (["fit", ZITHER, LAMPS, "--key", "Em"], "major"),
        (["fit", ZITHER, LAMPS, "--key", "G", "--transpose", "2"], "not both"),
        (["fit", ZITHER, LAMPS, "--transpose", "99"], "--transpose"),
        (["read", LAMPS, "--number", "99"], "99"),
        (["perform", ZITHER, LAMPS, "--out", LAMPS], "another folder"),
        (["perform", ZITHER, LAMPS, "--out", ""], "--out"),
        (["fit", LAMPS, ZITHER], "TOML"),
    ],
)
def test_bad_input_ends_with_one_clear_message_and_exit_code_2(words, said):
    done = run(*words)
    assert done.exit_code == 2
    assert said in done.output.replace("\n", " ")
    assert "Traceback" not in done.output
    told = run(*words, "--json")
    assert told.exit_code == 2
    assert json.loads(told.stdout)["faults"][0]["what"]


@pytest.mark.parametrize("key", ["G", "g", "G major", "Gmaj"])
def test_a_key_is_understood_as_people_write_it(key):
    assert json.loads(run("fit", ZITHER, LAMPS, "--key", key, "--json").stdout)["transpose_semitones"] % 12 == 0


@pytest.mark.parametrize("title", ["[bold]red[/bold] [/b]", ":smile: <script>alert(1)</script>", "é" * 300, "Čardáš ♯"])
def test_titles_and_names_are_shown_as_they_are(title, tmp_path):
    named = tmp_path / "named.toml"
    name = "Zither [/mk2] :bell:"
    named.write_text(machine_text("quay_zither", ('name = "Quay zither"', f'name = "{name}"')), encoding="utf-8")
    tune = abc(tmp_path, title=title)
    for words in (
        ["read", tune],
        ["read", tune, "--list"],
        ["fit", named, tune],
        ["check", named, tune],
        ["perform", named, tune, "--out", tmp_path / "o"],
    ):
        done = run(*words)
        assert done.exit_code == 0, done.output
        assert "\x1b" not in done.output
    assert name in run("fit", named, tune).output
    assert "<script>" not in (tmp_path / "o" / "report.html").read_text(encoding="utf-8")


def test_nothing_playable_exits_1_and_says_why(tmp_path):
    done = run("perform", ZITHER, abc(tmp_path, body="^C^C^C^C|"), "--transpose", "0", "--out", tmp_path / "o")
    assert done.exit_code == 1
    assert "fit.nothing-left" in done.output


def test_nothing_playable_and_no_chord_either_still_gives_a_page(tmp_path):
    """Nothing is left of notes and chords, and the page is made all the same (it once ran for ever)."""
    done = run("perform", ZITHER, LAMPS, "--transpose", "47", "--out", tmp_path)
    assert done.exit_code == 1
    assert "Nothing is left" in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_check_tells_of_each_file_by_its_path_and_of_unreadable_ones_last(tmp_path):
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        abc(tmp_path / folder, body='"Bdim"GABc d2|')  # no bar has this chord in any key
    (tmp_path / "bad.abc").write_text("Dear friend,\n")
    done = run("check", ZITHER, tmp_path / "b" / "made.abc", tmp_path / "bad.abc", tmp_path / "a" / "made.abc", "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 2
    assert {finding["tune"] for finding in told["findings"]} == {str(tmp_path / folder / "made.abc") for folder in ("a", "b")}
    assert len(told["faults"]) == 1


def test_a_driver_that_gets_too_little_is_found_without_a_tune(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(machine_text("quay_zither", ('driver_minimum = "9 V"', 'driver_minimum = "24 V"')), encoding="utf-8")
    done = run("check", path)
    assert done.exit_code == 1
    assert "power.driver-low" in done.output


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_output_that_cannot_be_written_is_said_without_a_traceback():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*JACKRAIL, "read", LAMPS, "--json"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_plain_terminal_does_not_end_a_command(tmp_path):
    tune = abc(tmp_path, title="Čardáš ♯")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run([*JACKRAIL, "read", str(tune)], capture_output=True, env=environment, check=False)
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr


def test_every_command_has_help_with_an_example_that_fits_80_columns():
    for name in main.commands:
        shown = run(name, "--help").output
        assert f"jackrail {name}" in shown
        assert max(map(len, shown.splitlines())) <= 80


def test_the_readme_names_every_command_and_no_other():
    table = [line for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines() if line.startswith("| `jackrail ")]
    assert {line.split()[2].rstrip("`") for line in table} == set(main.commands)


def test_options_that_are_not_given_ask_for_what_wishes_ask_for_unasked():
    for name, unasked in options._UNASKED.items():
        assert getattr(Wishes(), name.removeprefix("--")) == unasked


def test_the_tune_as_written_is_left_out_when_it_lasts_too_long_and_an_earlier_one_is_taken_away(tmp_path, monkeypatch):
    """An hour is the limit; here a second stands for it."""
    done = run("perform", ZITHER, LAMPS, "--out", tmp_path, "--no-rehearsal")
    assert done.exit_code == 0
    assert (tmp_path / "before.wav").exists()
    assert 'src="before.wav"' in (tmp_path / "report.html").read_text(encoding="utf-8")
    monkeypatch.setattr("jackrail.api.LONGEST_S", 1.0)
    monkeypatch.setattr("jackrail.report.words.LONGEST_S", 1.0)
    assert run("perform", ZITHER, LAMPS, "--out", tmp_path, "--no-rehearsal").exit_code == 0
    assert not (tmp_path / "before.wav").exists()
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert 'src="sound.wav"' in text
    assert "before.wav" not in text
