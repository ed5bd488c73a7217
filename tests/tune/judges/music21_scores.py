"""music21 as a judge of MusicXML: what it makes of a part with repeats expanded, at sounding pitch, ties joined."""

import contextlib
from dataclasses import dataclass
from pathlib import Path

from jackrail.pitch import parse_chord

Heard = list[tuple[float, int]]


@dataclass
class Judged:
    """Onset (quarters) and key of every note; onset and pitch class of every chord symbol's root; whether repeats were expanded."""

    notes: Heard
    roots: Heard
    expanded: bool


def judged(file: Path, index: int = 0) -> Judged:
    """What it makes of one part of a score (a part of two staves is two of its parts)."""
    from music21 import converter, repeat  # noqa: PLC0415 - slow to import

    part = converter.parse(file, forceSource=True, storePickle=False).parts[index]
    expanded = False
    with contextlib.suppress(repeat.ExpanderException):
        part = part.expandRepeats()
        expanded = True
    part = part.toSoundingPitch().stripTies()
    everything = [note for note in part.recurse().notes if not note.duration.isGrace]
    sounding = [note for note in everything if "ChordSymbol" not in note.classes and hasattr(note, "pitches")]
    notes = sorted((float(note.getOffsetInHierarchy(part)), pitch.midi) for note in sounding for pitch in note.pitches)
    symbols = [symbol for symbol in part.recurse().getElementsByClass("ChordSymbol") if "NoChord" not in symbol.classes]
    roots = sorted((float(symbol.getOffsetInHierarchy(part)), symbol.root().pitchClass) for symbol in symbols)
    return Judged(notes, roots, expanded)


def our_roots(chords: list[tuple[float, str]]) -> Heard:
    return sorted((onset_q, parse_chord(symbol).root) for onset_q, symbol in chords)
