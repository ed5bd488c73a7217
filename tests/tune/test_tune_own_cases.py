"""Our own notation files, one or more for each row of docs/notation.md, with answers worked out by hand.

cases/abc.json, musicxml.json, midi.json hold the answers; shared.json those to the bad files that came with expected.json.
"good": file name, or name#X for the tune numbered X, with
  notes     [onset, duration, MIDI key] in quarter notes, repeats played out (required)
  chords    [onset, symbol];  pickup  in quarters;  tempos  [onset, quarter notes a minute];  keys  [onset, sharps, mode]
  ornaments [onset, main key, kind, [keys]];  numbers  bar numbers as played out
  sec       [onset, duration] in seconds, beside notes
  choice    what is asked for, see `Choice`;  says  words that must stand in a warning or remark;  quiet  true: there is no warning at all
"refused": file name -> [fault code, part of its place, part of what it says]. "warned": file name -> words of its warning.
Every file of good/ and bad/ stands in one of these tables or in expected.json: test_tune_cases.py sees to it.
"""

import json
import time
from pathlib import Path

import pytest

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.model import Tune
from jackrail.tune.read import read_tune

CASES = Path(__file__).parent / "cases"
FORMATS = ("abc", "musicxml", "midi", "shared")
TABLES = {name: json.loads((CASES / f"{name}.json").read_text("utf-8")) for name in FORMATS}
GOOD = {name: wanted for table in TABLES.values() for name, wanted in table["good"].items()}
REFUSED = {name: wanted for table in TABLES.values() for name, wanted in table["refused"].items()}
WARNED = {name: wanted for table in TABLES.values() for name, wanted in table["warned"].items()}
KNOWN = {"notes", "chords", "pickup", "tempos", "keys", "ornaments", "numbers", "sec", "choice", "says", "quiet", "why"}
TOLERANCE = 1e-4  # the answers are written with four decimals


def near(wanted: list[list[object]]) -> list[list[object]]:
    return [[pytest.approx(value, abs=TOLERANCE) if isinstance(value, float) else value for value in row] for row in wanted]


def shown(tune: Tune) -> dict[str, object]:
    return {
        "notes": sorted([float(note.onset_q), float(note.duration_q), note.midi] for note in tune.notes),
        "chords": [[float(chord.onset_q), chord.symbol] for chord in tune.chords],
        "pickup": float(tune.pickup_q),
        "tempos": [[float(mark.onset_q), mark.quarters_per_minute] for mark in tune.tempo],
        "keys": [[float(mark.onset_q), mark.sharps, mark.mode] for mark in tune.keys],
        "ornaments": [[float(one.onset_q), one.midi, one.kind, list(one.keys)] for one in tune.ornaments],
        "numbers": [bar.number for bar in tune.bars],
        "sec": [
            [tune.seconds_at(note.onset_q), tune.seconds_at(note.onset_q + note.duration_q) - tune.seconds_at(note.onset_q)]
            for note in tune.notes
        ],
    }


@pytest.mark.parametrize("name", GOOD)
def test_a_file_reads_as_worked_out_by_hand(name):
    wanted = GOOD[name]
    assert set(wanted) <= KNOWN
    assert "notes" in wanted
    file, _, number = name.partition("#")
    file = file.partition("?")[0]  # a second answer for one file, for another choice: name?word
    tune = read_tune(CASES / "good" / file, Choice(**{**({"number": int(number)} if number else {}), **wanted.get("choice", {})}))
    got = shown(tune)
    for key in set(wanted) - {"choice", "says", "quiet", "why", "pickup"}:
        answer = sorted(wanted[key]) if key == "notes" else wanted[key]
        if key == "numbers":
            assert got[key] == answer
        else:
            assert got[key] == near([[float(value) if isinstance(value, int | float) else value for value in row] for row in answer])
    assert got["pickup"] == pytest.approx(wanted.get("pickup", got["pickup"]))
    for words in wanted.get("says", []):
        assert any(words in told for told in (*tune.warnings, *tune.remarks)), tune.warnings
    if wanted.get("quiet"):
        assert tune.warnings == ()


@pytest.mark.parametrize("name", REFUSED)
def test_a_bad_file_ends_in_one_clear_message(name):
    code, place, words = REFUSED[name]
    start = time.perf_counter()
    with pytest.raises(BadInput) as caught:
        read_tune(CASES / "bad" / name)
    assert time.perf_counter() - start < 1.0
    first = caught.value.faults[0]
    assert first.code == code
    assert first.where.startswith(str(CASES / "bad" / name))
    assert place in first.where
    assert words in first.what
    assert first.hint or first.limit


@pytest.mark.parametrize("name", WARNED)
def test_a_bad_file_with_a_sensible_reading_warns(name):
    start = time.perf_counter()
    tune = read_tune(CASES / "bad" / name)
    assert time.perf_counter() - start < 1.0
    assert tune.notes
    assert any(WARNED[name] in warning for warning in tune.warnings), tune.warnings
