"""The highest line of notes that sound together: the skyline, which is heard as the melody."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.model import TuneNote


def top_line(notes: Sequence[TuneNote]) -> tuple[TuneNote, ...]:
    """The highest of the notes that begin together."""
    top: dict[object, TuneNote] = {}
    for note in notes:
        if note.onset_q not in top or note.midi > top[note.onset_q].midi:
            top[note.onset_q] = note
    return tuple(top.values())
