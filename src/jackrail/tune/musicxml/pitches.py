"""The <pitch> of a MusicXML note as a sounding key (MusicXML 4.0, elements pitch, step, alter, octave)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from jackrail.pitch import STEP_NAMES, STEPS

from .reading import NUMBER, Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_OCTAVES = frozenset("0123456789")
_WHOLE = {"0": 0, "": 0, "1": 1, "-1": -1, "2": 2, "-2": -2, "+1": 1, "+2": 2}
_MOST_ALTERED = 4
_SIGNED = re.compile(rf"[+-]?{NUMBER.pattern}")


def read_pitch(pitch: Element, staff: str, reader: Reading) -> tuple[int, int, int] | None:
    """MIDI key as it sounds, step as written, counted from C0, and alteration in semitones. None, and a fault, when it cannot be read."""
    step, octave, alter = ((pitch.findtext(tag) or default).strip() for tag, default in (("step", ""), ("octave", ""), ("alter", "0")))
    if step not in STEPS or octave not in _OCTAVES:
        reader.fault("a note has no pitch that can be read", repr(f"{step}{octave}"[:20]), "step A to G, octave 0 to 9", "export it again")
        return None
    semitones = _WHOLE.get(alter)
    if semitones is None:
        semitones = _odd_alteration(alter, reader)
        if semitones is None:
            return None
    midi = 12 * (int(octave) + 1) + STEPS[step] + semitones + reader.by_staff.get(staff, reader.by_staff[""])
    if not 0 <= midi <= 127:
        reader.fault("a note lies outside the MIDI range", f"{step}{octave}", "C-1 to G9")
        return None
    return midi, 7 * int(octave) + STEP_NAMES.index(step), semitones


def _odd_alteration(alter: str, reader: Reading) -> int | None:
    if not _SIGNED.fullmatch(alter) or abs(float(alter)) > _MOST_ALTERED:
        reader.fault("a note has an alteration that cannot be read", repr(alter[:20]), "a number of semitones such as -1")
        return None
    if round(float(alter)) != float(alter):
        reader.notes.count("notes between the keys (quarter tones) are played on the nearest key", reader.measure)
    return round(float(alter))
