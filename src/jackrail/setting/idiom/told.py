"""How notes are played, in words."""

from __future__ import annotations

from jackrail.findings import count
from jackrail.setting.model import Setting


def manner_of(setting: Setting) -> str:
    """What is played otherwise than by one stroke on the beat: "2 notes slid into, 5 further strokes"; "" for nothing."""
    notes = setting.notes
    slid, again = sum(note.slid for note in notes), sum(len(note.again_s) for note in notes)
    sway, ahead = sum(note.vibrato is not None for note in notes), sum(note.ahead_s > 0 for note in notes)
    soft = sum(note.touch > 0 for note in notes)
    told = [
        f"{count(slid, 'note')} slid into" if slid else "",
        count(again, "further stroke") if again else "",
        f"{count(soft, 'note')} struck softly" if soft else "",
        f"{count(sway, 'note')} with vibrato" if sway else "",
        f"{count(ahead, 'note')} before the beat in rolled chords" if ahead else "",
    ]
    return ", ".join(filter(None, told))
