"""Small MIDI files read for tests: a high and a low line, chords, and what the reader says of them."""

from midi_files import Q, chord, file, key, metre, tempo

from jackrail.tune.choice import Choice
from jackrail.tune.midi.reader import read_midi
from jackrail.tune.model import Tune

START = [tempo(0, 120), metre(0, 4, 4), key(0, 0)]
HIGH = [(Q, 72), (Q, 74), (2 * Q, 76), (Q, 77), (Q, 76), (2 * Q, 74)]
LOW = [(2 * Q, 48), (2 * Q, 43), (2 * Q, 41), (2 * Q, 43)]
CHORDS = [*chord(0, 4 * Q, (60, 64, 67), 2), *chord(4 * Q, 8 * Q, (59, 62, 67), 2)]


def read(*tracks: bytes, kind: int | None = None, division: int = Q, **asked: object) -> Tune:
    return read_midi(file(*tracks, kind=kind, division=division), "t", Choice(**asked))


def keys_of(tune: Tune) -> list[int]:
    return [note.midi for note in tune.notes]


def said(tune: Tune, words: str) -> str:
    """The one warning or remark with these words."""
    found = [told for told in (*tune.warnings, *tune.remarks) if words in told]
    assert len(found) == 1, (tune.warnings, tune.remarks)
    return found[0]
