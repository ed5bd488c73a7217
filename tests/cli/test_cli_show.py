"""The terminal's words: what is shown where, without repeating itself, in good grammar."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from click.testing import CliRunner

from jackrail.api import Wishes, arrange_tune, check, do_work
from jackrail.checks.heard import rehearsal_findings
from jackrail.cli import main
from jackrail.cli.show import show_findings, show_setting, show_tune, show_work
from jackrail.findings import Finding, count
from jackrail.tune.model import Bar
from made_rehearsals import a_rehearsal, sound
from workshop import ROOT, machine, tune

STAY = Wishes(transpose=0, tempo="100%")
ZITHER = ROOT / "machines" / "quay_zither.toml"
DUET = "X:1\nT:Two\nM:4/4\nL:1/4\nQ:1/4=60\n%%score (S B)\nV:S\nV:B octave=-1\nK:G\n[V:S] G A B c|\n[V:B] G,2 D2|\n"


def shown(capsys):
    return " ".join(capsys.readouterr().out.split())


def a_file(folder, text):
    path = folder / "made.abc"
    path.write_text(text, encoding="utf-8")
    return path


def test_repeats_are_spoken_of_only_where_a_bar_is_played_again(capsys):
    made = tune((67, "4"), (69, "4"), tempo=60.0, bars=2)
    show_tune(made)
    assert "notes 2, 8 s range" in shown(capsys)
    show_tune(replace(made, bars=(made.bars[0], replace(made.bars[1], number=1, time=2))))
    assert "notes 2, 8 s with repeats played out range" in shown(capsys)


def test_a_tempo_that_is_not_stated_and_a_free_metre_are_said(capsys):
    """120 quarters a minute is the default of Standard MIDI Files (RP-001, Set Tempo)."""
    free = Bar(Fraction(0), Fraction(7), 1, 4, 4, free=True)
    show_tune(replace(tune((67, "7")), tempo=(), bars=(free,)))
    said = shown(capsys)
    assert "tempo not stated, 120 quarter notes a minute taken" in said
    assert "metre free" in said
    show_tune(tune((67, "3"), tempo=90.0, bars=1))
    assert "metre 4/4 key G major tempo 90 quarter notes a minute" in shown(capsys)


def test_accompaniment_left_out_is_told_in_the_head_with_what_helps(tmp_path, capsys):
    done = CliRunner().invoke(main, ["fit", str(ZITHER), str(a_file(tmp_path, DUET)), "--transpose", "0"], env={"COLUMNS": "200"})
    assert "4 of 6, the whole melody among them" in " ".join(done.output.split())
    assert "; 2 left out: --line top reads the melody alone" in " ".join(done.output.split())


def test_names_in_the_losses_are_explained_where_the_tune_is_moved(capsys):
    made = tune((63, "1"), (62, "1"), tempo=60.0, bars=1)
    named = "Given up, named as written; what is played and why, as it sounds, 2 semitones higher bar"
    for shift, words in ((0, "Given up bar 1"), (2, named)):
        show_setting(*reversed(arrange_tune(machine("quay_zither"), made, replace(STAY, transpose=shift))))
        assert words in shown(capsys)


def test_one_tune_is_not_named_at_each_line_and_remarks_are_left_to_read(tmp_path, capsys):
    made = replace(tune((67, "1"), tempo=60.0, warnings=["bar 3 is short"], title="Long Name"), remarks=("a macro is played out",))
    work = do_work(machine("tower_chimes"), made, STAY)
    show_work(work, [tmp_path / "a", tmp_path / "b"], None, work.findings)
    said = shown(capsys)
    assert "warning: bar 3 is short Made in" in said
    assert said.count("Long Name") == 1
    assert "macro" not in said
    show_findings("Chimes", {"": [], "long.abc": work.findings})
    assert "long.abc: warning: bar 3 is short" in shown(capsys)
    quiet = Finding("tune.reading", "note", "the tune", "a macro is played out")
    show_findings("Chimes", {"": [], "long.abc": [quiet]})
    assert "long.abc: nothing found" in shown(capsys)


def test_a_finding_about_a_place_keeps_it_and_its_code(capsys):
    show_findings("Zither", {"": [Finding("stop.off-pitch", "warning", "mechanism.voices[0].stops", "it is off", advice="move it")]})
    assert "warning: mechanism.voices[0].stops: it is off; move it (stop.off-pitch)" in shown(capsys)


def test_what_check_finds_about_a_tune_names_no_title():
    found, faults = check(machine("quay_zither"), [ROOT / "tunes" / "nine_lamps.abc"])
    assert not faults
    assert not any("Nine Lamps" in finding.place for finding in found[str(ROOT / "tunes" / "nine_lamps.abc")])


def test_fit_tells_warnings_and_remarks_in_json(tmp_path):
    path = a_file(tmp_path, DUET)
    told = json.loads(CliRunner().invoke(main, ["fit", str(ZITHER), str(path), "--json"]).stdout)
    read = json.loads(CliRunner().invoke(main, ["read", str(path), "--json"]).stdout)
    assert told["warnings"] == read["warnings"] != []
    assert told["remarks"] == read["remarks"]


@pytest.mark.parametrize(
    "text",
    [
        "1 of 1 sound was not heard",
        "1 sound was heard that nobody asked for",
        "1 of 3 sounds was not heard",
        "2 of 2 sounds were not heard",
    ],
)
def test_one_is_one_and_two_are_two(text):
    lost, whole = sound(late_s=None), sound()
    some = [rehearsal_findings(a_rehearsal(*sounds, extra=[(1.5, "melody")])) for sounds in ((lost,), (lost, whole, whole), (lost, lost))]
    assert any(finding.message.startswith(text) for found in some for finding in found)
    assert [count(n, "chord") for n in (0, 1, 2)] == ["0 chords", "1 chord", "2 chords"]


def test_one_note_and_one_chord_are_told_in_the_singular():
    made = tune((50, "1"), (62, "3"), chords=[(0, "D7")], tempo=60.0, bars=1)
    said = {finding.code: finding.message for finding in do_work(machine("quay_zither"), made, STAY).findings}
    assert said["fit.notes-folded"].startswith("1 note played in another octave")
    assert said["fit.chords-changed"].startswith("1 chord played as its plain triad")


def test_the_terminal_says_why_this_tempo_and_this_key_within_eighty_columns():
    out = CliRunner().invoke(main, ["fit", str(ZITHER), str(ROOT / "tunes" / "gull_steps.abc")], env={"COLUMNS": "80"}).output
    assert max(map(len, out.splitlines())) <= 80
    flat = " ".join(out.split())
    assert "why Tempo: " in flat
    assert " Key: as written; no other gives up less." in flat
