"""Judge: mido 1.3, an independent reader of Standard MIDI Files, on the files inside the music21 package (read here, not copied)."""

from pathlib import Path

import mido
import music21
import pytest
from midi_files import struck

from jackrail.tune.choice import Choice
from jackrail.tune.read import list_tunes, read_tune

OURS = Path(__file__).parent / "cases" / "good"
THEIRS = sorted(Path(music21.__file__).parent.rglob("*.mid"))
DRUMS = 9
NOT_JUDGED = {
    "m27_drop_frame.mid": "mido gives negative times for SMPTE division",
    "m3_smpte.mid": "the same",
    "m2b_controllers.mid": "mido hands on controller 123, all notes off, without acting on it",
    "m2c_sysex_packets.mid": "mido refuses status bytes in an escape event, which RP-001 is there for",
}
OWN = [path for path in sorted(OURS.glob("*.mid")) if path.name not in NOT_JUDGED]


LENGTHLESS = {"test16.mid"}
"""Files with notes of no length, which mido hands on and we leave out."""


def by_key(rows: list[tuple[float, int]]) -> list[tuple[int, float]]:
    """Key and second in order, strikes of one key at one moment once: they are one note."""
    out: list[tuple[int, float]] = []
    for second, midi in sorted(rows, key=lambda row: (row[1], row[0])):
        if not out or out[-1][0] != midi or second - out[-1][1] > 2e-6:
            out.append((midi, second))
    return out


def notes_of(path: Path) -> dict[tuple[int, int], list[tuple[int, int, int]]]:
    """Track and channel, both from 1 -> (on, length, key) in ticks, as mido reads them."""
    found = {}
    for number, track in enumerate(mido.MidiFile(path).tracks, 1):
        for channel, notes in struck(track).items():
            if channel != DRUMS:
                found[number, channel + 1] = sorted(notes)
    return found


def test_there_are_files_to_judge_by():
    assert len(THEIRS) > 20


@pytest.mark.slow
@pytest.mark.parametrize("path", [*THEIRS, *OWN], ids=lambda path: path.name)
def test_all_notes_of_all_channels_agree_with_mido(path):
    wanted = notes_of(path)
    ticks = mido.MidiFile(path).ticks_per_beat
    assert len([offer for offer in list_tunes(path) if offer.options]) == len(wanted)
    for (track, channel), notes in wanted.items():
        tune = read_tune(path, Choice(track=track, channel=channel, line="all"))
        assert sorted((note.onset_q * ticks, note.duration_q * ticks, note.midi) for note in tune.notes) == notes


@pytest.mark.slow
@pytest.mark.parametrize("path", [*THEIRS, OURS / "m26_tempo_map.mid"], ids=lambda path: path.name)
def test_moments_in_seconds_agree_with_mido(path):
    """mido plays a file with all its tempo marks; strikes of all notes but drums are compared as one heap."""
    now, wanted = 0.0, []
    for message in mido.MidiFile(path):
        now += message.time
        if message.type == "note_on" and message.velocity and message.channel != DRUMS:
            wanted.append((now, message.note))
    got = []
    for track, channel in notes_of(path):
        tune = read_tune(path, Choice(track=track, channel=channel, line="all"))
        got += [(tune.seconds_at(note.onset_q), note.midi) for note in tune.notes]
    ours, theirs = by_key(got), by_key(wanted)
    if path.name in LENGTHLESS:
        assert len(ours) == 2
        theirs = [row for row in theirs if any(row == (midi, pytest.approx(second, abs=2e-6)) for midi, second in ours)]
    assert ours == [(midi, pytest.approx(second, abs=2e-6)) for midi, second in theirs]
