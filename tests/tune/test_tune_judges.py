"""Other readers as judges, on the tunes inside the music21 package (read from there, never copied).

music21 reads ABC without carrying accidentals reliably, and lytk neither follows D.C. nor restarts at a double bar (design/readers.md).
So each is asked only about what it does, and the agreement demanded is what was measured, less one tune or two.
"""

import contextlib
import io
import random
import re
import warnings
from pathlib import Path

import pytest

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import read_abc
from jackrail.tune.abc.text import TuneText, split_tunes
from jackrail.tune.model import Tune
from jackrail.tune.read import read_tune

pytestmark = pytest.mark.slow
FOLDERS = ("ryansMammoth", "airdsAirs", "oneills1850", "essenFolksong")
NEAR_Q = 0.03  # quarters: the judges put tuplets on ticks


@pytest.fixture(scope="module")
def corpus() -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        music21 = pytest.importorskip("music21")
    return Path(music21.__file__).parent / "corpus"


def tunes_of(corpus: Path, count: int, seed: int) -> list[TuneText]:
    draw = random.Random(seed)  # noqa: S311 - a sample, not a secret
    out = []
    for folder in FOLDERS:
        files = sorted((corpus / folder).glob("*.abc"))
        tunes = [tune for file in files for tune in split_tunes(file.read_bytes().decode("latin-1"))]
        out += draw.sample(tunes, count // len(FOLDERS))
    return out


def without_grace(tune: TuneText) -> str:
    """The tune as text; the judges give grace notes time."""
    return re.sub(r"\{[^}]*\}", "", "\n".join(line for _, line in tune.lines)) + "\n"


def agree(tune: Tune, theirs: list[tuple[float, int]]) -> bool:
    ours = sorted((float(note.onset_q), note.midi) for note in tune.notes)
    pairs = zip(ours, sorted(theirs), strict=False)
    return len(ours) == len(theirs) and all(abs(a[0] - b[0]) < NEAR_Q and a[1] == b[1] for a, b in pairs)


def test_nearly_all_real_tunes_are_read(corpus):
    refused = 0
    tunes = tunes_of(corpus, 400, 1)
    for tune in tunes:
        try:
            assert read_abc(tune).notes
        except BadInput:
            refused += 1
    assert refused <= 3  # measured over all 12,762: 19 refused, each for a fault in the file


def test_playing_out_agrees_with_lytk(corpus):
    lytk = pytest.importorskip("lytk")
    mido = pytest.importorskip("mido")
    asked = same = 0
    for text in tunes_of(corpus, 200, 2):
        try:
            tune = read_abc(text)
        except BadInput:
            continue
        plain = without_grace(text)
        said = " ".join(tune.warnings)
        restarts_at_double_bar = re.search(r"\|\||\[\||\|\]", plain) and ":|" in plain
        if (
            "repeats are not taken again" in said
            or "another octave" in said
            or "the words" in said
            or restarts_at_double_bar
            or "{" in plain
        ):
            continue
        asked += 1
        midi = mido.MidiFile(file=io.BytesIO(lytk.to_midi_bytes(lytk.from_abc_string(plain))))
        theirs = []
        for track in midi.tracks:
            now = 0
            for message in track:
                now += message.time
                if message.type == "note_on" and message.velocity:
                    theirs.append((now / midi.ticks_per_beat, message.note))
        same += agree(tune, theirs)
    assert asked >= 60
    assert same / asked >= 0.95


def test_written_pitches_agree_with_music21(corpus):
    from music21 import converter  # noqa: PLC0415 - slow to import

    asked = same = 0
    for text in tunes_of(corpus, 240, 3):
        plain = without_grace(text)
        music = "".join(re.findall(r"^(?![A-Za-z]:).*", plain, re.MULTILINE))
        if ":" in music or "V:" in plain or re.search(r"[\^_=]|[\"H-Wh-w~]", music):
            continue  # music21 plays no repeats out, forgets accidentals within a bar, and loses notes after texts and decorations
        try:
            tune = read_abc(text)
        except BadInput:
            continue
        if "sign they stand for" in " ".join(tune.warnings) or any(bar.time > 1 for bar in tune.bars):
            continue
        asked += 1
        score = converter.parse(plain, format="abc").stripTies()
        theirs = [pitch.midi for note in score.recurse().notes if "ChordSymbol" not in note.classes for pitch in note.pitches]
        same += sorted(theirs) == sorted(note.midi for note in tune.notes)
    assert asked >= 40
    assert same / asked >= 0.95


def test_musicxml_agrees_with_music21(corpus):
    from music21 import converter, repeat  # noqa: PLC0415 - slow to import

    files = sorted((corpus / "bach").glob("bwv2*.mxl"))[:40] + sorted((corpus / "leadSheet").glob("*.mxl"))
    asked = same = 0
    for file in files:
        part = converter.parse(file, forceSource=True).parts[0]
        with contextlib.suppress(repeat.ExpanderException):
            part = part.expandRepeats()
        part = part.toSoundingPitch().stripTies()
        sounding = [note for note in part.recurse().notes if "ChordSymbol" not in note.classes and not note.duration.isGrace]
        theirs = [(float(note.getOffsetInHierarchy(part)), pitch.midi) for note in sounding for pitch in note.pitches]
        asked += 1
        same += agree(read_tune(file), theirs)
    assert asked >= 40
    assert same / asked >= 0.9
