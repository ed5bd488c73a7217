"""The <attributes> of a MusicXML measure: divisions, metre, key, transposition, signs that repeat bars."""

from __future__ import annotations

import re
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING

from jackrail.pitch import TONIC_FIFTHS, moved_signature

from .reading import NUMBER, Reading

if TYPE_CHECKING:
    from collections.abc import Iterator
    from xml.etree.ElementTree import Element

_BEATS = re.compile(r"\d{1,2}(?:\s*\+\s*\d{1,2})*")
MOST_COMMON = 10**15
"""Largest common multiple of all divisions of a part. Real scores stay far below; more would make exact times slow."""


def read_divisions(text: str, reader: Reading) -> Fraction:
    """Divisions of a quarter note; 1 and a fault when they cannot be used."""
    value = Fraction(text.strip()) if NUMBER.fullmatch(text.strip()) else Fraction(0)
    common = lcm(reader.common, value.numerator) if value > 0 else MOST_COMMON + 1
    if common > MOST_COMMON:
        reader.fault("has <divisions> that cannot be used", repr(text[:20]), "a number above 0", "export the score again")
        return Fraction(1)
    reader.common = common
    return value


def of_staff(attributes: Element, tag: str, staff: str) -> Element | None:
    """The first <time> or <key> that is for a staff: one without a number is for all."""
    return next((element for element in attributes.iterfind(tag) if element.get("number", staff) == staff), None)


def read_time(time: Element, reader: Reading) -> tuple[int, int] | None:
    """Metre of a <time>: 3+2/8 is 5/8, 2/4 + 3/8 is 7/8; None for senza misura."""
    if time.find("senza-misura") is not None:
        return None
    pairs = []
    for beats, unit in zip(time.iterfind("beats"), time.iterfind("beat-type"), strict=False):
        above, below = (beats.text or "").strip(), (unit.text or "").strip()
        if not _BEATS.fullmatch(above) or below not in {"1", "2", "4", "8", "16", "32", "64"}:
            reader.fault("a metre cannot be read", repr(f"{above}/{below}"[:20]), hint="3/4, 6/8 and the like are")
            return 4, 4
        pairs.append((sum(int(part) for part in above.split("+")), int(below)))
    if not pairs or not all(beats for beats, _ in pairs):
        reader.fault("a metre has no beats", hint="3/4, 6/8 and the like have")
        return 4, 4
    smallest = max(below for _, below in pairs)
    return sum(beats * smallest // below for beats, below in pairs), smallest


def read_key(key: Element, reader: Reading) -> None:
    """Note the key in force; one that is not of the circle of fifths is left out. A mode that is not known is "none"."""
    fifths = (key.findtext("fifths") or "").strip()
    if not re.fullmatch(r"[+-]?\d{1,2}", fifths) or abs(int(fifths)) > 14:
        reader.notes.count("a key that is not one of the circle of fifths is left out", reader.measure)
        return
    mode = (key.findtext("mode") or "major").strip().lower()
    reader.key_written = True
    reader.written_key = (int(fifths), mode if mode in TONIC_FIFTHS else "none")
    mark_key(reader)


def mark_key(reader: Reading) -> None:
    """Put the sounding key in force into the bar, in the place of one that stands there."""
    sharps, mode = reader.written_key
    keys = reader.bar.keys
    if keys and keys[-1][0] == reader.cursor_q:
        keys.pop()
    keys.append((reader.cursor_q, (moved_signature(sharps, reader.semitones()), mode)))


def read_transpose(transpose: Element, reader: Reading) -> None:
    """From written to sounding, for one staff or all. The key in force sounds moved from here on, too."""
    chromatic = (transpose.findtext("chromatic") or "0").strip()
    octaves = (transpose.findtext("octave-change") or "0").strip()
    if not re.fullmatch(r"[+-]?\d{1,2}(?:\.0+)?", chromatic) or not re.fullmatch(r"[+-]?\d", octaves):
        reader.fault("a <transpose> cannot be read", repr(f"{chromatic} {octaves}"[:20]), "whole semitones and octaves")
        return
    staff, before = transpose.get("number", "").strip(), reader.semitones()
    if not staff:
        reader.by_staff.clear()
    reader.by_staff[staff] = int(float(chromatic)) + 12 * int(octaves)
    if transpose.find("double") is not None:
        reader.notes.say("the part is written to be doubled an octave away: the doubling is left out")
    if reader.key_written and reader.semitones() != before:
        mark_key(reader)


def repeated_bars(style: Element, before: int, reader: Reading) -> int:
    """How many bars back the bars from here on are a repeat of, 0 for none. before: what held so far."""
    if style.get("number", reader.staff) != reader.staff:
        return before
    for name in _started(style):
        what = {"beat-repeat": "signs that repeat a beat", "slash": "slashes for a rhythm"}[name]
        reader.notes.count(f"{what} are not played out, notes that the file has for them are", reader.measure)
    sign = style.find("measure-repeat")
    if sign is None:
        return before
    text = (sign.text or "").strip() or sign.get("slashes", "1")
    return (int(text) if re.fullmatch(r"[1-8]", text) else 1) if sign.get("type") == "start" else 0


def _started(style: Element) -> Iterator[str]:
    for name in ("beat-repeat", "slash"):
        sign = style.find(name)
        if sign is not None and sign.get("type") == "start":
            yield name
