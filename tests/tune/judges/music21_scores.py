"""music21 as a judge of MusicXML: what it makes of a part with repeats expanded, at sounding pitch, ties joined."""

import contextlib
import warnings
from dataclasses import dataclass
from pathlib import Path

Heard = list[tuple[float, int]]


@dataclass
class Judged:
    """Onset (quarters) and key of every note; onset and pitch class of the root of every chord symbol."""

    notes: Heard
    roots: Heard


def judged(file: Path, index: int = 0) -> Judged:
    """What it makes of one part of a score (a part of two staves is two of its parts)."""
    from music21 import converter, repeat  # noqa: PLC0415 - slow to import

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, about bars that are too full
        part = converter.parse(file, forceSource=True, storePickle=False).parts[index]
    with contextlib.suppress(repeat.ExpanderException):
        part = part.expandRepeats()
    part = part.toSoundingPitch().stripTies()
    everything = [note for note in part.recurse().notes if not note.duration.isGrace]
    sounding = [note for note in everything if "ChordSymbol" not in note.classes and hasattr(note, "pitches")]
    notes = sorted({(float(note.getOffsetInHierarchy(part)), pitch.midi) for note in sounding for pitch in note.pitches})
    symbols = [symbol for symbol in part.recurse().getElementsByClass("ChordSymbol") if "NoChord" not in symbol.classes]
    return Judged(notes, sorted((float(symbol.getOffsetInHierarchy(part)), symbol.root().pitchClass) for symbol in symbols))
