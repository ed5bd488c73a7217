"""Other readers as judges, on the tunes inside the music21 package (read from there, never copied).

abc2midi judges ABC, music21 MusicXML: onsets, keys and chord roots after repeats are played out, on a random sample that is the same in
each run. Each tune must agree or stand in judges/differences.toml with the reason; each that stands there must still differ.
"""

import re
import shutil
from collections.abc import Sequence

import pytest
from judges.abc2midi import INSTALL, heard, plain
from judges.corpus import abc_tunes, explained, scores
from judges.music21_scores import judged

from jackrail.faults import BadInput
from jackrail.pitch import parse_chord
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import split_tunes
from jackrail.tune.choice import Choice
from jackrail.tune.model import Tune
from jackrail.tune.read import read_tune

pytestmark = pytest.mark.slow
NEAR_Q = 0.03  # quarters: the judges put tuplets on ticks


def agree(ours: Sequence[tuple[float, int]], theirs: Sequence[tuple[float, int]]) -> bool:
    pairs = zip(sorted(ours), sorted(theirs), strict=False)
    return len(ours) == len(theirs) and all(abs(a[0] - b[0]) < NEAR_Q and a[1] == b[1] for a, b in pairs)


def onsets(tune: Tune) -> list[tuple[float, int]]:
    return [(float(note.onset_q), note.midi) for note in tune.notes]


def roots(tune: Tune) -> list[tuple[float, int]]:
    return [(float(chord.onset_q), parse_chord(chord.symbol).root) for chord in tune.chords if not chord.silent]


def check(differing: set[str], asked: set[str], listed: set[str]) -> None:
    assert sorted(differing - listed) == [], "new differences: find out whose fault each is"
    assert sorted(listed & asked - differing) == [], "these agree now: take them out of the table"
    assert sorted(listed - asked) == [], "these are not in the sample: take them out of the table"


def test_abc_agrees_with_abc2midi(tmp_path):
    if shutil.which("abc2midi") is None:
        pytest.skip(INSTALL)
    differing, asked = set(), set()
    for name, tune in abc_tunes(800, 1):
        asked.add(name)
        text = plain(tune)
        try:
            ours = onsets(read_abc(split_tunes(text)[0]))
        except BadInput:
            differing.add(name)
            continue
        theirs = heard(text, tmp_path)
        if theirs is None or not agree(ours, theirs):
            differing.add(name)
    assert len(asked) >= 500
    check(differing, asked, explained("abc2midi"))


def test_musicxml_agrees_with_music21():
    differing, asked, chords = set(), set(), 0
    for name, file in scores(220, 1):
        asked.add(name)
        theirs = judged(file)
        tune = read_tune(file, Choice(part="1"))
        chords += len(theirs.roots)
        lent = any("chord symbols were taken from part" in said for said in tune.remarks)  # the judge is asked about one part
        if not agree(onsets(tune), theirs.notes) or not (lent or agree(roots(tune), theirs.roots)):
            differing.add(name)
    assert len(asked) >= 150
    assert chords >= 100
    check(differing, asked, explained("music21"))


def test_nearly_all_real_tunes_are_read():
    refused = 0
    for _, tune in abc_tunes(400, 2):
        try:
            assert read_abc(tune).notes
        except BadInput:
            refused += 1
    assert refused <= 3  # measured over all 12,762: 18 refused, each for a fault in the file


def test_written_pitches_agree_with_music21():
    from music21 import converter  # noqa: PLC0415 - slow to import

    asked = same = 0
    for _, text in abc_tunes(240, 3):
        written = plain(text)
        music = "".join(re.findall(r"^(?![A-Za-z]:|%).*", written, re.MULTILINE))
        if ":" in music or "V:" in written or re.search(r"[\^_=]|[\"H-Wh-w~]", music):
            continue  # music21 plays no repeats out, forgets accidentals within a bar, and loses notes after texts and decorations
        try:
            tune = read_abc(text)
        except BadInput:
            continue
        if "sign they stand for" in " ".join(tune.warnings) or any(bar.time > 1 for bar in tune.bars):
            continue
        asked += 1
        score = converter.parse(written, format="abc").stripTies()
        theirs = [pitch.midi for note in score.recurse().notes if "ChordSymbol" not in note.classes for pitch in note.pitches]
        same += sorted(theirs) == sorted(note.midi for note in tune.notes)
    assert asked >= 40
    assert same / asked >= 0.95
