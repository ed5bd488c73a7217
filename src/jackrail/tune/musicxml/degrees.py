"""Degrees of a MusicXML chord symbol: tones added to its kind, altered or taken away (MusicXML 4.0, degree, degree-type-value)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from jackrail.faults import BadInput
from jackrail.pitch import ACCIDENTALS, NATURAL_DEGREES, parse_chord
from jackrail.tune.chord_names import KINDS

from .reading import Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

# Degrees of the tones of a kind that is no stack of thirds.
_DEGREES = {"sus4": (1, 4, 5), "sus2": (1, 2, 5), "5": (1, 5), "6": (1, 3, 5, 6), "m6": (1, 3, 5, 6)}
_PLAIN = {
    frozenset(parse_chord("C" + quality).intervals): quality
    for quality in ("9sus4", "7sus4", "7b9", "69", "add9", *(kind for kind in KINDS.values() if kind not in {None, "ped"}))
}
"""Tones of a chord -> the quality that musicians write for them, whatever degrees spell them out: E(no5,add5) is E, Dsus4(add7) D7sus4."""
_STACKED = (1, 3, 5, 7, 9, 11, 13)
_ADDED = (
    "", "addb9", "add9", "add#9", "add3", "add11", "add#11", "add5", "addb13", "add13", "add7", "addmaj7",
)  # fmt: skip
_MOST_DEGREES = 12


def tones_of(quality: str) -> list[tuple[int, int]]:
    """(degree, semitones above the root) of a kind's tones."""
    return list(zip(_DEGREES.get(quality, _STACKED), parse_chord("C" + quality).intervals, strict=False))


def with_degrees(harmony: Element, quality: str, tones: list[tuple[int, int]], reader: Reading) -> str:
    """`quality` with the degrees of a <harmony>; the kind alone, with a warning, when they make no sense. Changes `tones`."""
    wanted, short, gone = list(tones), "", set()
    degrees = harmony.findall("degree")
    if len(degrees) > _MOST_DEGREES:
        reader.notes.count(f"of more than {_MOST_DEGREES} degrees of a chord symbol the first are read", reader.measure)
    for degree in degrees[:_MOST_DEGREES]:
        value, alter = small(degree.findtext("degree-value")), whole(degree.findtext("degree-alter"))
        what = (degree.findtext("degree-type") or "").strip()
        changed = _changed(wanted, value, alter, what)
        if changed is None:
            reader.notes.count("degrees of chord symbols that cannot be used are left out", reader.measure)
            continue
        gone |= {tone for tone in wanted if tone not in changed}
        if what == "alter" and not any(one == value for one, _ in wanted):
            reader.notes.count("altered degrees that the chord has not are added to it", reader.measure)
        short += _short(quality, value, alter, what, changed)
        wanted = changed
    classes = {semitones for _, semitones in wanted}
    added = [semitones for degree, semitones in wanted if (degree, semitones) not in tones]
    full = "".join(f"no{degree}" for degree, _ in sorted(gone & set(tones))) + "".join(_ADDED[semitones] for semitones in added)
    tones[:] = wanted
    plain = _PLAIN.get(frozenset(classes))
    if plain is not None:
        return plain
    for text in (quality + short, quality + full):
        if _means(text, classes):
            return text
    reader.notes.count("added or altered degrees of chord symbols are left out", reader.measure)
    return quality


def _changed(tones: list[tuple[int, int]], degree: int, alter: int, what: str) -> list[tuple[int, int]] | None:
    """Tones after one <degree>: an added one counts from a dominant chord, an altered one from the chord itself."""
    if degree not in NATURAL_DEGREES or (abs(alter) > 2 and what != "subtract"):
        return None
    new = (degree, (NATURAL_DEGREES[degree] + alter) % 12)
    there = [tone for tone in tones if tone[0] == degree]
    if what == "subtract":
        return [tone for tone in tones if tone[0] != degree] if there and degree != 1 else None
    if what == "alter" and there:
        return [(one, (semitones + alter) % 12 if one == degree else semitones) for one, semitones in tones]
    return [*tones, new] if what in {"add", "alter"} else None


def _short(quality: str, degree: int, alter: int, what: str, changed: list[tuple[int, int]]) -> str:
    """One change as musicians write it; `with_degrees` looks whether it means what it should."""
    if what == "subtract":
        return f"no{degree}"
    sign = ACCIDENTALS.get(alter, "")
    if what == "alter":
        now = next((semitones for one, semitones in changed if one == degree), 0)
        sign = {1: "#", 11: "b", 0: ""}.get((now - NATURAL_DEGREES[degree]) % 12, "?")
    bare = quality and sign and degree in {5, 9, 11, 13} and (what == "alter" or degree != 5)
    return f"{sign}{degree}" if bare else f"add{sign}{degree}"


def _means(text: str, classes: set[int]) -> bool:
    try:
        return set(parse_chord("C" + text).intervals) == classes
    except BadInput:
        return False


def small(text: str | None) -> int:
    """A number of one or two figures; 0 for what is none."""
    found = re.fullmatch(r"\d{1,2}", (text or "").strip())
    return int(found[0]) if found else 0


def whole(text: str | None) -> int:
    """A number of semitones; 0 for none, 99 for what is none."""
    found = re.fullmatch(r"([+-]?\d)(?:\.0+)?", (text or "0").strip())
    return int(found[1]) if found else 99
