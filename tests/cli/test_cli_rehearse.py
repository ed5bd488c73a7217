"""`rehearse` and the rehearsal in `perform`, as a person and as a script use them; and what becomes of both without an emulator."""

import json

import pytest
import soundfile
from click.testing import CliRunner

from jackrail.cli import main
from jackrail.rehearsal import build
from jackrail.rehearsal.mishaps import CATALOGUE
from jackrail.rehearsal.missing import RigMissing
from rehearsing import needs_rehearsal
from workshop import ROOT, machine_text

ZITHER, CHIMES, LUTE = (str(ROOT / "machines" / f"{name}.toml") for name in ("quay_zither", "tower_chimes", "twin_lute"))
KEYS = {
    "ended",
    "finished",
    "injected",
    "notices",
    "unsafe",
    "slips",
    "expected",
    "missing",
    "extra",
    "worst_late_s",
    "worst_cents",
    "counters",
} | {
    "rails",
    "ran_s",
    "stack_free_b",
    "image_sha256",
    "heard",
}
ABSENT = "the rehearsal needs packages that are not installed: sudo apt-get install libsimavr-dev"


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words], env={"COLUMNS": "80"})


def plain(done):
    """What was shown, with its lines joined."""
    return " ".join(done.output.split())


@pytest.fixture
def tune(tmp_path):
    path = tmp_path / "made.abc"
    path.write_text('X:1\nT:Made\nM:4/4\nL:1/4\nQ:1/4=120\nK:G\n"G"GABd|"C"e2"D"dB|\n', encoding="utf-8")
    return path


@pytest.fixture
def no_emulator(monkeypatch):
    """As on a computer where libsimavr is not installed."""

    def refuse():
        raise RigMissing(ABSENT)

    monkeypatch.setattr(build, "build", refuse)
    build.library.cache_clear()
    yield
    build.library.cache_clear()


@needs_rehearsal
def test_a_rehearsal_is_told_on_one_screen(tune):
    done = run("rehearse", ZITHER, tune)
    assert done.exit_code == 0, done.output
    assert "10 of 10 sounds heard, within 0." in plain(done)  # seven notes, three chords
    assert "cents; finished" in plain(done)
    assert "everything off and still" in done.output
    assert "main 12.00 V at least" in plain(done)
    assert len(done.output.splitlines()) <= 24
    assert "\x1b" not in done.output


@needs_rehearsal
@pytest.mark.parametrize("name", [ZITHER, CHIMES, LUTE])
def test_its_json_stands_alone_and_keeps_its_keys(name, tune):
    done = run("rehearse", name, tune, "--json")
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert set(told) == KEYS | {"findings"}
    assert (told["ended"], told["finished"], told["missing"], told["extra"], told["unsafe"]) == ("finished", True, 0, 0, [])
    assert told["expected"] == len(told["heard"]["notes"]) + len(told["heard"]["strokes"]) >= 9
    assert set(told["counters"]) == {"late", "index_missed", "detent_missed", "rehomed", "bad_frames", "overruns"}
    assert all(set(rail) == {"rail", "lowest_v", "highest_a", "needed_v", "limit_a"} for rail in told["rails"])
    assert all(set(notice) == {"what", "device", "at_s"} for notice in told["notices"])
    assert len(told["image_sha256"]) == 64


@needs_rehearsal
def test_a_fault_that_is_made_to_happen_is_told_and_ends_with_1(tune):
    done = run("rehearse", ZITHER, tune, "--fault", "detent-open", "--fault", "home-bounces")
    assert done.exit_code == 1
    assert "made to fail detent-open, home-bounces" in plain(done)
    assert "stopped: detent missed" in plain(done)
    assert "(heard.stopped)" in plain(done)
    told = json.loads(run("rehearse", ZITHER, tune, "--fault", "detent-open", "--json").stdout)
    assert told["injected"] == ["detent-open"]
    assert {"heard.stopped", "heard.missing", "heard.missed"} == {finding["code"] for finding in told["findings"]}


@needs_rehearsal
@pytest.mark.parametrize("fault", ["home-bounces", "noise-30", "overrun"])
def test_a_fault_that_is_borne_ends_with_0(fault, tune):
    assert run("rehearse", ZITHER, tune, "--fault", fault).exit_code == 0


@pytest.mark.parametrize("name, nearest", [("lost-step", "lost-steps"), ("noise30", "noise-30"), ("reset-brownout", "reset-brown-out")])
def test_an_unknown_fault_is_named_with_the_nearest(name, nearest, tune):
    done = run("rehearse", ZITHER, tune, "--fault", name)
    assert done.exit_code == 2
    assert name in done.output
    assert nearest in done.output
    (fault,) = json.loads(run("rehearse", ZITHER, tune, "--fault", name, "--json").stdout)["faults"]
    assert (fault["where"], fault["value"]) == ("--fault", name)


@needs_rehearsal
def test_a_fault_that_cannot_befall_the_machine_is_bad_input(tune):
    done = run("rehearse", CHIMES, tune, "--fault", "lost-steps")
    assert done.exit_code == 2
    assert "this machine has no carriage" in plain(done)


def test_all_faults_are_listed_without_a_machine_or_a_tune():
    done = run("rehearse", "--faults")
    assert done.exit_code == 0
    assert {line.split()[0] for line in done.output.splitlines() if not line.startswith(" ")} == set(CATALOGUE)
    assert all(" ".join(mishap.text.split()) in plain(done) for mishap in CATALOGUE.values() if len(mishap.text) < 50)


@needs_rehearsal
def test_a_packed_roll_is_rehearsed_as_the_tune_it_was_made_from(tune, tmp_path):
    run("perform", ZITHER, tune, "--out", tmp_path / "out", "--no-rehearsal")
    from_roll = json.loads(run("rehearse", ZITHER, tmp_path / "out" / "roll.bin", "--json").stdout)
    from_tune = json.loads(run("rehearse", ZITHER, tune, "--json").stdout)
    assert from_roll["image_sha256"] == from_tune["image_sha256"]
    assert from_roll["heard"] == from_tune["heard"]
    assert from_roll["missing"] == from_roll["extra"] == 0


def test_a_roll_that_is_damaged_or_another_machines_is_bad_input(tune, tmp_path):
    run("perform", ZITHER, tune, "--out", tmp_path / "out", "--no-rehearsal")
    roll = tmp_path / "out" / "roll.bin"
    other = run("rehearse", LUTE, roll)
    assert other.exit_code == 2
    assert "another machine" in plain(other)
    data = roll.read_bytes()
    (tmp_path / "bad.bin").write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    damaged = run("rehearse", ZITHER, tmp_path / "bad.bin")
    assert damaged.exit_code == 2
    assert "Traceback" not in damaged.output
    (fault,) = json.loads(run("rehearse", ZITHER, tmp_path / "bad.bin", "--json").stdout)["faults"]
    assert (fault["code"], fault["where"]) == ("block", "roll: bytes 6-7")


def test_a_packed_roll_cannot_be_fitted_again(tune, tmp_path):
    run("perform", ZITHER, tune, "--out", tmp_path / "out", "--no-rehearsal")
    roll = tmp_path / "out" / "roll.bin"
    for words in (["--number", "1"], ["--key", "G"], ["--transpose", "2"], ["--tempo", "90%"], ["--leave", "early"]):
        done = run("rehearse", ZITHER, roll, *words, "--json")
        assert done.exit_code == 2
        (fault,) = json.loads(done.stdout)["faults"]
        assert (fault["code"], fault["where"]) == ("option", words[0])


@pytest.mark.parametrize("words", [["gone.toml", "made.abc"], [ZITHER, "gone.abc"], [ZITHER, str(ROOT)]])
def test_what_cannot_be_read_is_bad_input(words):
    done = run("rehearse", *words)
    assert done.exit_code == 2
    assert json.loads(run("rehearse", *words, "--json").stdout)["faults"][0]["what"]


@needs_rehearsal
def test_what_was_heard_is_written_whole(tune, tmp_path):
    out = tmp_path / "out"
    done = run("rehearse", ZITHER, tune, "--out", out, "--json")
    assert {path.name for path in out.iterdir()} == {"report.html", "heard.wav", "rehearsal.json", "trace.vcd"}
    told = json.loads(done.stdout)
    assert json.loads((out / "rehearsal.json").read_text()) == {key: value for key, value in told.items() if key != "findings"}
    sound = soundfile.info(out / "heard.wav")
    assert sound.samplerate == 44100
    assert sound.duration >= 4.5  # eight quarters at 120 after half a second of lead
    trace = (out / "trace.vcd").read_text()
    assert trace.startswith("$version")
    assert all(f" {name} " in trace for name in ("carriage_step", "pick_step", "coil_g", "home", "detent"))
    assert "made" in run("rehearse", ZITHER, tune, "--out", out).output


@needs_rehearsal
def test_a_folder_in_the_way_of_what_was_heard_leaves_all_as_it_was(tune, tmp_path):
    (tmp_path / "out" / "trace.vcd").mkdir(parents=True)
    done = run("rehearse", ZITHER, tune, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["trace.vcd"]


@needs_rehearsal
def test_a_tune_is_streamed_and_fitted_as_asked(tune):
    slow = json.loads(run("rehearse", ZITHER, tune, "--stream", "--tempo", "50%", "--json").stdout)
    quick = json.loads(run("rehearse", ZITHER, tune, "--json").stdout)
    assert slow["finished"]
    between = [rehearsal["heard"]["notes"][-1]["onset_s"] - rehearsal["heard"]["notes"][0]["onset_s"] for rehearsal in (slow, quick)]
    assert between[0] == pytest.approx(2 * between[1], rel=1e-3)


@needs_rehearsal
def test_perform_rehearses_and_writes_what_it_heard(tune, tmp_path):
    done = run("perform", ZITHER, tune, "--out", tmp_path)
    assert done.exit_code == 0
    assert "rehearsal 10 of 10 sounds heard" in plain(done)
    written = json.loads((tmp_path / "rehearsal.json").read_text())
    assert set(written) == KEYS
    told = json.loads(run("perform", ZITHER, tune, "--out", tmp_path, "--json").stdout)
    assert told["rehearsal"] == {key: value for key, value in written.items() if key != "heard"}


def test_perform_leaves_the_rehearsal_out_when_asked(tune, tmp_path):
    done = run("perform", ZITHER, tune, "--out", tmp_path, "--no-rehearsal", "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 0
    assert told["rehearsal"] is None
    assert "rehearsal.json" not in told["files"]
    assert "heard.skipped" not in {finding["code"] for finding in told["findings"]}
    assert "rehears" not in run("perform", ZITHER, tune, "--out", tmp_path, "--no-rehearsal").output


def test_an_image_and_a_rehearsal_of_an_earlier_tune_do_not_stay_beside_another_roll(tune, tmp_path):
    out, small = tmp_path / "out", tmp_path / "small.toml"
    small.write_text(machine_text("quay_zither", ('flash = "32 KiB"', 'flash = "9 KiB"')), encoding="utf-8")
    run("perform", ZITHER, tune, "--out", out, "--no-rehearsal")
    for name in ("rehearsal.json", "mine.txt"):
        (out / name).write_text("from before", encoding="utf-8")
    assert (out / "image.hex").exists()
    assert run("perform", small, tune, "--out", out, "--no-rehearsal").exit_code == 1
    assert not (out / "image.hex").exists()
    assert not (out / "rehearsal.json").exists()
    assert (out / "mine.txt").read_text(encoding="utf-8") == "from before"


@pytest.mark.usefixtures("no_emulator")
def test_without_the_emulator_perform_says_so_and_makes_all_else(tune, tmp_path):
    done = run("perform", ZITHER, tune, "--out", tmp_path / "o")
    assert done.exit_code == 0, done.output
    assert f"there was no rehearsal: {ABSENT}" in plain(done)
    made = {path.name for path in (tmp_path / "o").iterdir()}
    assert "rehearsal.json" not in made
    assert {"report.html", "sound.wav", "roll.bin"} <= made
    told = json.loads(run("perform", ZITHER, tune, "--out", tmp_path / "o", "--json").stdout)
    assert told["rehearsal"] is None
    (skipped,) = [finding for finding in told["findings"] if finding["code"] == "heard.skipped"]
    assert (skipped["severity"], ABSENT in skipped["message"]) == ("note", True)


@pytest.mark.usefixtures("no_emulator")
def test_without_the_emulator_rehearse_says_what_to_install(tune):
    done = run("rehearse", ZITHER, tune)
    assert done.exit_code == 2
    assert "sudo apt-get install libsimavr-dev" in plain(done)
    assert "everything else works without" in plain(done)
    assert ABSENT in json.loads(run("rehearse", ZITHER, tune, "--json").stdout)["faults"][0]["what"]


def test_a_tune_that_does_not_fit_the_flash_is_still_performed_and_says_why_it_was_not_rehearsed(tune, tmp_path):
    """Flash of 9 KiB: not even room for the firmware, 512 B for the boot loader, and too little for the rest: an error, but all is made."""
    small = tmp_path / "small.toml"
    small.write_text(machine_text("quay_zither", ('flash = "32 KiB"', 'flash = "9 KiB"')), encoding="utf-8")
    done = run("perform", small, tune, "--out", tmp_path / "o", "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 1
    codes = {finding["code"] for finding in told["findings"]}
    assert {"memory.full", "heard.skipped"} <= codes
    assert "report.html" in told["files"]
