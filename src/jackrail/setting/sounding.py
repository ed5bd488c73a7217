"""The notes of an arrangement in seconds, and for how much of their length they ring at their pitch."""

from __future__ import annotations

from collections.abc import Sequence

from .model import SetNote
from .parts import Parts
from .search import Found


def chosen_notes(parts: Parts, found: Found) -> list[SetNote]:
    """The notes that were chosen, in time order, in seconds from the tune's first moment; nothing leaves yet."""
    lengths_s = parts.lengths.kept_s({index for index, option in enumerate(found.notes.options) if option is not None})
    return [
        SetNote(
            index=index,
            onset_s=parts.onsets_s[index] * found.slowdown,
            written_s=lengths_s[index] * found.slowdown,
            midi=parts.tune.notes[index].midi + found.transpose + 12 * option.octaves,
            octaves=option.octaves,
            voice=option.voice,
            place=option.place,
            ornamental=parts.tune.notes[index].ornamental,
            slid=option.slid,
        )
        for index, option in enumerate(found.notes.options)
        if option is not None
    ]


def sustained(notes: Sequence[SetNote]) -> float:
    """Share of their written length for which notes ring at their pitch before their bar or finger leaves; 1 without notes.

    notes: with the moments at which their voices leave. Small notes of ornaments do not count.
    """
    main = [note for note in notes if not note.ornamental]
    written_s = sum(note.written_s for note in main)
    rings_s = sum(note.written_s if note.leave_s is None else min(note.written_s, note.leave_s - note.onset_s) for note in main)
    return rings_s / written_s if written_s else 1.0
