"""The words that choose what is read of a file, as a person types them."""

import json

import pytest
from click.testing import CliRunner

from jackrail.cli import main
from workshop import ROOT

CASES = ROOT / "tests" / "tune" / "cases" / "good"
BELLS = str(ROOT / "tunes" / "tide_table.mid")


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.mark.parametrize(
    "share, ok", [("0", True), ("100%", True), ("0.5", True), (" 50% ", True), ("700%", False), ("x", False), ("nan", False)]
)
def test_a_share_is_a_number_or_per_cent_from_0_to_1(share, ok):
    done = run("read", BELLS, "--quantise", share)
    assert done.exit_code == (0 if ok else 2)
    assert ok or "--quantise" in done.output


@pytest.mark.parametrize(
    "file, option, other",
    [
        (BELLS, "--number", "--track"),
        (BELLS, "--part", "--track"),
        (CASES / "a10_voices.abc", "--track", "--voice"),
        (CASES / "x6_two_voices.musicxml", "--number", "--part"),
        (CASES / "x6_two_voices.musicxml", "--channel", "--voice"),
    ],
)
def test_a_word_that_a_format_does_not_have_is_refused_with_those_it_has(file, option, other):
    done = run("read", file, option, "1")
    assert done.exit_code == 2
    assert option in done.output
    assert other in done.output


def test_every_offer_of_a_listing_can_be_asked_for():
    for file in (*sorted(CASES.iterdir()), BELLS):
        for offer in json.loads(run("read", file, "--list", "--json").stdout)["tunes"]:
            done = run("read", file, *offer["options"], "--json")
            assert done.exit_code == 0 or not offer["options"] or "cannot be read" in offer["about"], (file, offer)


@pytest.mark.parametrize("words", [["fit", "tunes/nine_lamps.abc", "machines/quay_zither.toml"], ["read", "machines/quay_zither.toml"]])
def test_a_machine_and_a_tune_that_changed_places_are_told_so(words):
    done = run(words[0], *(ROOT / word for word in words[1:]))
    assert done.exit_code == 2
    assert "MACHINE comes first" in done.output


def test_a_file_under_another_kind_of_name_is_read_and_told(tmp_path):
    path = tmp_path / "steps.mid"
    path.write_bytes((ROOT / "tunes" / "gull_steps.abc").read_bytes())
    done = run("read", path)
    assert done.exit_code == 0
    assert "an ABC file, although its name ends in .mid" in " ".join(done.output.split())


@pytest.mark.parametrize("words", [["--track", "2"], ["--quantise", "1"], ["--number", "1"]])
def test_what_chooses_nothing_in_a_listing_is_refused(words):
    done = run("read", BELLS, "--list", *words)
    assert done.exit_code == 2
    assert words[0] in done.output


def test_every_tune_of_a_book_is_checked(tmp_path):
    book = tmp_path / "book.abc"
    heads = ["X:1\nT:One\nM:4/4\nL:1/4\nK:G\n", "X:4\nT:Two\nM:4/4\nL:1/4\nK:G\n", "X:9\nT:Three\nM:4/4\nL:1/4\nK:G\n"]
    book.write_text("\n".join(head + body + "\n" for head, body in zip(heads, ["GABd|]", "GA[Bd|]", "GABd|GAB|dBAG|d4|]"], strict=True)))
    done = run("check", ROOT / "machines" / "quay_zither.toml", book, "--json")
    assert done.exit_code == 2
    told = json.loads(done.stdout)
    assert [fault["where"] for fault in told["faults"]] == [f"{book}: line 13 column 3"]
    assert {row["tune"] for row in told["findings"]} <= {"", f"{book} X:1", f"{book} X:9"}
    assert any(row["tune"] == f"{book} X:9" and "holds 3 quarters" in row["message"] for row in told["findings"])
