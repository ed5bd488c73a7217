"""Notation files with answers worked out by hand: cases/good with expected.json, and cases/bad that must end in one clear message.

The files and answers were written for this project from ABC 2.1, MusicXML 4.0 and Standard MIDI Files 1.0 (RP-001).
"""

import json
import tracemalloc
from pathlib import Path

import pytest

from jackrail.faults import BadInput
from jackrail.pitch import parse_chord
from jackrail.tune.read import list_tunes, read_tune

CASES = Path(__file__).parent / "cases"
EXPECTED = json.loads((CASES / "expected.json").read_text("utf-8"))
TOLERANCE_Q = 1e-4  # the answers are written with four decimals


@pytest.mark.parametrize("name", [name for name in EXPECTED if "notes" in EXPECTED[name] and "sec" not in EXPECTED[name]])
def test_a_good_file_reads_as_worked_out_by_hand(name):
    tune = read_tune(CASES / "good" / name)
    wanted = EXPECTED[name]
    got = sorted((float(note.onset_q), float(note.duration_q), note.midi) for note in tune.notes)
    assert len(got) == len(wanted["notes"])
    for note, answer in zip(got, sorted(wanted["notes"]), strict=True):
        assert note == pytest.approx(answer, abs=TOLERANCE_Q)
    assert [[float(chord.onset_q), chord.symbol] for chord in tune.chords] == wanted["chords"]
    assert all(parse_chord(chord.symbol) == chord.chord for chord in tune.chords)
    if "pickup" in wanted:
        assert float(tune.pickup_q) == wanted["pickup"]
    if "tempos" in wanted:
        assert [[float(mark.onset_q), mark.quarters_per_minute] for mark in tune.tempo] == wanted["tempos"]


def test_seconds_of_a_file_with_smpte_division():
    tune = read_tune(CASES / "good" / "m3_smpte.mid")
    got = [[tune.seconds_at(n.onset_q), tune.seconds_at(n.onset_q + n.duration_q) - tune.seconds_at(n.onset_q)] for n in tune.notes]
    assert got == EXPECTED["m3_smpte.mid"]["sec"]
    assert tune.bars == ()
    assert any("SMPTE" in warning for warning in tune.warnings)


def test_a_tune_of_a_file_with_several():
    path = CASES / "good" / "a5_multi.abc"
    assert [(offer.number, offer.title) for offer in list_tunes(path)] == [(1, "One"), (2, "Two"), (7, "Three")]
    assert len(list_tunes(path)) == EXPECTED["a5_multi.abc"]["tunes"]
    third = read_tune(path, 7)
    assert [[float(n.onset_q), float(n.duration_q), n.midi] for n in third.notes] == EXPECTED["a5_multi.abc"]["notes3"]
    assert any("the file holds 2 others: this is X:1, the first" in remark for remark in read_tune(path).remarks)
    with pytest.raises(BadInput, match="no tune with that number") as caught:
        read_tune(path, 3)
    assert (caught.value.faults[0].code, caught.value.faults[0].limit) == ("option", "1, 2, 7")


def test_the_stuck_key_is_named():
    tune = read_tune(CASES / "good" / "m6_stuck.mid")
    assert "track 1: key 60, struck at tick 0, is never released and is left out" in tune.warnings


def test_every_file_is_expected_somewhere():
    """The tables are those of test_tune_own_cases.py, shared.json the one of the bad files that came with expected.json."""
    tables = [json.loads((CASES / f"{name}.json").read_text("utf-8")) for name in ("abc", "musicxml", "midi", "shared")]
    bad = {name for table in tables for name in (*table["refused"], *table["warned"])}
    assert {path.name for path in (CASES / "bad").iterdir()} == bad
    good = {name.partition("#")[0].partition("?")[0] for table in (*(table["good"] for table in tables), EXPECTED) for name in table}
    assert {path.name for path in (CASES / "good").iterdir()} == good


def test_all_faults_of_a_file_come_at_once():
    with pytest.raises(BadInput) as caught:
        read_tune(CASES / "bad" / "b_badlen.abc")
    places = [fault.where for fault in caught.value.faults]
    assert [place.split(": ")[1] for place in places] == ["line 3", "line 5 column 1", "line 5 column 15"]


def test_the_bomb_is_not_unpacked():
    tracemalloc.start()
    with pytest.raises(BadInput, match="unpacks to far too much"):
        read_tune(CASES / "bad" / "b_bomb.mxl")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8 * 2**20  # bytes; the score in it is 200 MiB


def test_a_missing_file_and_a_huge_one(tmp_path):
    with pytest.raises(BadInput, match="cannot be read") as caught:
        read_tune(tmp_path / "none.abc")
    assert caught.value.faults[0].code == "file"
    huge = tmp_path / "huge.abc"
    with huge.open("wb") as file:
        file.truncate(9 * 2**20)
    with pytest.raises(BadInput, match="too large"):
        read_tune(huge)


@pytest.mark.parametrize("name", ["m0_type0.mid", "x1_pickup_repeat.musicxml", "x1_pickup_repeat.mxl", "x1_utf16.musicxml"])
def test_a_file_is_told_by_what_it_holds(tmp_path, name):
    path = tmp_path / "tune.abc"
    path.write_bytes((CASES / "good" / name).read_bytes())
    assert read_tune(path).notes == read_tune(CASES / "good" / name).notes


def test_a_folder_is_no_tune(tmp_path):
    with pytest.raises(BadInput, match="is no plain file"):
        read_tune(tmp_path)
