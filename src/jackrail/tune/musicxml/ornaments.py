"""Grace notes and the signs of ornaments in a MusicXML measure, kept apart from its notes (MusicXML 4.0, elements grace, ornaments).

The neighbours of a note with a sign are those of the signature and of the accidentals before it in its measure, on its staff and in
their own octave alone, as accidentals hold (common practice, no source). A note tied over from the measure before has none.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from jackrail.pitch import neighbours, signature
from jackrail.tune.model import OrnamentKind, Quarters
from jackrail.tune.score.written import WrittenNote, WrittenOrnament

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from .reading import Reading

# Element -> kind. A MusicXML <mordent> is the one with the vertical line, which goes down; <inverted-mordent>, without it, goes up.
SIGNS: dict[str, OrnamentKind] = {
    "trill-mark": "trill", "shake": "trill", "turn": "turn", "delayed-turn": "turn", "vertical-turn": "turn",
    "inverted-turn": "inverted-turn", "delayed-inverted-turn": "inverted-turn", "inverted-vertical-turn": "inverted-turn",
    "mordent": "lower-mordent", "inverted-mordent": "upper-mordent", "schleifer": "slide",
}  # fmt: skip
_MARKS = {
    "sharp": 1, "natural": 0, "flat": -1, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2, "double-flat": -2, "natural-sharp": 1,
    "natural-flat": -1,
}  # fmt: skip
MOST_GRACE_NOTES = 32
"""Most grace notes in a row that are kept."""


Accidental = tuple[Quarters, str, int, int]
"""From an onset on, on a staff, a step (counted from C0) sounds altered by so many semitones."""


@dataclass(slots=True)
class Head:
    """A note as written beside the note as read: position counts steps from C0, semitones lead from written to sounding."""

    note: WrittenNote
    line: tuple[str, str]
    position: int
    semitones: int


@dataclass(slots=True)
class _Sign:
    line: tuple[str, str]
    onset_q: Quarters
    kind: OrnamentKind
    sharps: int
    below: int | None = None
    above: int | None = None


@dataclass(slots=True)
class _Grace:
    """Small notes before a main note (after is False) or after one. onset_q: of the main note."""

    line: tuple[str, str]
    onset_q: Quarters
    keys: list[int]
    after: bool


class Ornaments:
    """The ornaments of one measure, until all its notes are known. line: (staff, voice)."""

    def __init__(self, reader: Reading) -> None:
        self.reader = reader
        self.signs: list[_Sign] = []
        self.graces: list[_Grace] = []
        self.accidentals: list[Accidental] = []
        self.waiting: dict[tuple[str, str], list[int]] = {}
        self.last_q: dict[tuple[str, str], Quarters] = {}

    def grace(self, line: tuple[str, str], midi: int, *, steals_before: bool, in_chord: bool) -> None:
        """One grace note. Of several at once the highest is meant."""
        if steals_before and line in self.last_q and line not in self.waiting:
            last = self.graces[-1] if self.graces else None
            if last is None or not last.after or last.line != line or last.onset_q != self.last_q[line]:
                self.graces.append(last := _Grace(line, self.last_q[line], [], after=True))
            self._add(last.keys, midi, in_chord=in_chord)
        else:
            self._add(self.waiting.setdefault(line, []), midi, in_chord=in_chord)

    def _add(self, keys: list[int], midi: int, *, in_chord: bool) -> None:
        if in_chord and keys:
            self._count("of grace notes that sound together only the highest is kept")
            keys[-1] = max(keys[-1], midi)
        elif len(keys) < MOST_GRACE_NOTES:
            keys.append(midi)
        else:
            self._count(f"of more than {MOST_GRACE_NOTES} grace notes in a row the first are kept")

    def _count(self, what: str) -> None:
        self.reader.notes.count(what, self.reader.measure)

    def main(self, line: tuple[str, str], onset_q: Quarters) -> None:
        """A main note begins: the grace notes that wait are its own."""
        if line in self.waiting:
            self.graces.append(_Grace(line, onset_q, self.waiting.pop(line), after=False))
        self.last_q[line] = onset_q

    def rest(self, line: tuple[str, str]) -> None:
        """A rest begins: grace notes that wait end the note before."""
        keys = self.waiting.pop(line, None)
        if keys is None:
            return
        if line in self.last_q:
            self.graces.append(_Grace(line, self.last_q[line], keys, after=True))
        else:
            self._count("grace notes without a main note in their bar are left out")

    def left_out(self, line: tuple[str, str]) -> None:
        """A note begins that is left out, and with it the grace notes that wait."""
        if self.waiting.pop(line, None) is not None:
            self._say_left_out()

    def _say_left_out(self) -> None:
        self._count("grace notes and ornaments at notes that are left out are left out, too")

    def sign(self, line: tuple[str, str], onset_q: Quarters, ornaments: Element) -> None:
        """The signs of an <ornaments>; an <accidental-mark> belongs to the sign before it."""
        signs: list[_Sign] = []
        sharps = self.reader.written_key[0]
        for element in ornaments:
            kind = SIGNS.get(element.tag)
            if kind is not None:
                signs.append(_Sign(line, onset_q, kind, sharps))
            elif element.tag == "accidental-mark" and signs:
                self._mark(element, signs[-1])
            elif element.tag != "wavy-line":
                self._count(f"{element.tag[:20]} signs are not played, notes keep their written lengths")
        wavy = ornaments.find("wavy-line")
        if wavy is not None and wavy.get("type") == "start" and not signs:
            signs.append(_Sign(line, onset_q, "trill", sharps))
        self.signs += signs

    def _mark(self, mark: Element, sign: _Sign) -> None:
        """An <accidental-mark>: for the neighbour on its side, without a placement the one that the sign goes to first."""
        alter = _MARKS.get((mark.text or "").strip())
        if alter is None:
            self._count("accidentals at ornaments that cannot be read are left out")
        elif mark.get("placement", "below" if sign.kind == "lower-mordent" else "above") == "below":
            sign.below = alter
        else:
            sign.above = alter

    def settle(self, heads: list[Head]) -> None:
        """Put all ornaments into the bar that ends; `heads`: its notes."""
        for line in list(self.waiting):
            self.rest(line)
        if not self.signs and not self.graces:
            return
        highest: dict[tuple[tuple[str, str], Quarters], Head] = {}  # the note that an ornament there is for: of a chord the highest
        for head in sorted(heads, key=lambda head: head.note.midi):
            highest[head.line, head.note.onset_q] = head
        graces = [_grace(grace, highest.get((grace.line, grace.onset_q))) for grace in self.graces]
        out = [ornament for ornament in (*graces, *self._signs(highest)) if ornament is not None]
        if len(out) < len(self.graces) + len(self.signs):
            self._say_left_out()
        self.reader.bar.ornaments += out
        if out:
            kept = "grace notes and ornaments are kept apart and not played unless asked for (--ornaments)"
            self.reader.notes.count(kept, self.reader.measure, remark=True)

    def _signs(self, mains: dict[tuple[tuple[str, str], Quarters], Head]) -> Iterator[WrittenOrnament | None]:
        """Each sign at its main note, in time order, with the accidentals up to there; None where the note is not read."""
        coming = deque(sorted(self.accidentals))
        altered: dict[tuple[str, int], int] = {}
        for sign in sorted(self.signs, key=lambda sign: sign.onset_q):
            while coming and coming[0][0] <= sign.onset_q:
                _, staff, position, alter = coming.popleft()
                altered[staff, position] = alter
            main = mains.get((sign.line, sign.onset_q))
            yield None if main is None else WrittenOrnament(sign.onset_q, main.note.midi, sign.kind, _neighbours(main, sign, altered))


def _grace(grace: _Grace, main: Head | None) -> WrittenOrnament | None:
    kind: OrnamentKind = "after-grace" if grace.after else "grace"
    return None if main is None else WrittenOrnament(grace.onset_q, main.note.midi, kind, tuple(grace.keys))


def _neighbours(main: Head, sign: _Sign, altered: dict[tuple[str, int], int]) -> tuple[int, ...]:
    """MIDI keys of the steps below and above a note with a sign: by its own marks, else as altered by (staff, step), else in the key."""
    here: dict[int, int] = {}
    for position, own in ((main.position - 1, sign.below), (main.position + 1, sign.above)):
        alter = altered.get((main.line[0], position)) if own is None else own
        if alter is not None:
            here[position] = alter
    return tuple(min(127, max(0, key + main.semitones)) for key in neighbours(main.position, signature(sign.sharps), here))
