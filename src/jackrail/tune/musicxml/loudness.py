"""Loudness in a MusicXML part: <dynamics> over the music, the dynamics of <sound>, which count before what is drawn, and of <note>."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from jackrail.tune.loudness import VELOCITIES, velocity_of_share
from jackrail.tune.model import Quarters
from jackrail.tune.score.written import WrittenNote

from .reading import NUMBER, Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

Mark = tuple[Quarters, int]
"""From where in the measure on, and the velocity."""


def read_loudness(element: Element, reader: Reading) -> None:
    """What a <direction> or a <sound> says of how loud the part is from there on; hairpins are said in a remark."""
    sound = element if element.tag == "sound" else element.find("sound")
    written = None if sound is None else share_of(sound)
    if element.tag == "direction":
        if written is None:
            drawn = [VELOCITIES[sign.tag] for sign in element.iterfind("direction-type/dynamics/*") if sign.tag in VELOCITIES]
            written = drawn[-1] if drawn else None
        if any(wedge.get("type") != "stop" for wedge in element.iterfind("direction-type/wedge")):
            reader.notes.count("hairpins are not played: notes are as loud as the last mark says", reader.measure, remark=True)
    if written is not None:
        reader.loudness.append((reader.cursor_q, written))


def share_of(element: Element) -> int | None:
    """The velocity that the dynamics of a <note> or <sound> give in per cent of forte, None without or where it is no number."""
    text = element.get("dynamics", "").strip()
    return velocity_of_share(float(text)) if NUMBER.fullmatch(text) else None


def set_loudness(notes: Sequence[WrittenNote], before: int | None, marks: Sequence[Mark]) -> int | None:
    """Give each note of a measure that has none the velocity in force where it begins; that in force at its end.

    before: in force at its beginning. marks: those of the measure; of several at one place the last.
    """
    ordered = sorted(marks, key=lambda mark: mark[0])
    for note in notes:
        if note.velocity is None:
            note.velocity = next((velocity for onset_q, velocity in reversed(ordered) if onset_q <= note.onset_q), before)
    return ordered[-1][1] if ordered else before
