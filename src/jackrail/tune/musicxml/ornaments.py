"""Grace notes and the signs of ornaments in a MusicXML measure, kept apart from its notes (MusicXML 4.0, elements grace, ornaments)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

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
_ACCIDENTALS = {"sharp": 1, "natural": 0, "flat": -1, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2, "double-flat": -2}
_STEPS = (0, 2, 4, 5, 7, 9, 11)
_CIRCLE = (3, 0, 4, 1, 5, 2, 6)
"""Steps C D E F G A B as 0 to 6, in the order in which sharps come."""
_MOST_GRACE = 64


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
    below: int | None
    above: int | None
    key: int


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
        self.waiting: dict[tuple[str, str], list[int]] = {}
        self.last_q: dict[tuple[str, str], Quarters] = {}

    def grace(self, line: tuple[str, str], midi: int, *, steals_before: bool, in_chord: bool) -> None:
        """One grace note. Of several at once the highest is meant."""
        if steals_before and line in self.last_q and line not in self.waiting:
            last = self.graces[-1] if self.graces else None
            if last is None or not last.after or last.line != line or last.onset_q != self.last_q[line]:
                self.graces.append(last := _Grace(line, self.last_q[line], [], after=True))
            _add(last.keys, midi, in_chord=in_chord)
        else:
            _add(self.waiting.setdefault(line, []), midi, in_chord=in_chord)

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
            self.reader.notes.count("grace notes without a main note in their bar are left out", self.reader.measure)

    def sign(self, line: tuple[str, str], onset_q: Quarters, ornaments: Element) -> None:
        """The signs of an <ornaments>; an <accidental-mark> belongs to the sign before it."""
        signs: list[_Sign] = []
        for element in ornaments:
            kind = SIGNS.get(element.tag)
            if kind is not None:
                signs.append(_Sign(line, onset_q, kind, None, None, self.reader.written_key[0]))
            elif element.tag == "accidental-mark" and signs:
                alter = _ACCIDENTALS.get((element.text or "").strip())
                lower = signs[-1].kind == "lower-mordent"
                if element.get("placement", "below" if lower else "above") == "below":
                    signs[-1].below = alter
                else:
                    signs[-1].above = alter
            elif element.tag != "wavy-line":
                self.reader.notes.count(f"{element.tag[:20]} signs are not played, notes keep their written lengths", self.reader.measure)
        wavy = ornaments.find("wavy-line")
        if wavy is not None and wavy.get("type") == "start" and not signs:
            signs.append(_Sign(line, onset_q, "trill", None, None, self.reader.written_key[0]))
        self.signs += signs

    def settle(self, heads: list[Head]) -> None:
        """Put all ornaments into the bar that ends; `heads`: its notes."""
        for line in list(self.waiting):
            self.rest(line)
        if not self.signs and not self.graces:
            return
        highest: dict[tuple[tuple[str, str], Quarters], Head] = {}  # the note that an ornament there is for: of a chord the highest
        for head in sorted(heads, key=lambda head: head.note.midi):
            highest[head.line, head.note.onset_q] = head
        out = self.reader.bar.ornaments
        for grace in self.graces:
            main = highest.get((grace.line, grace.onset_q))
            if main is not None:
                kind: OrnamentKind = "after-grace" if grace.after else "grace"
                out.append(WrittenOrnament(grace.onset_q, main.note.midi, kind, tuple(grace.keys[:_MOST_GRACE])))
        for sign in self.signs:
            main = highest.get((sign.line, sign.onset_q))
            if main is not None:
                below = _neighbour(main, -1, sign.key, sign.below)
                above = _neighbour(main, 1, sign.key, sign.above)
                out.append(WrittenOrnament(sign.onset_q, main.note.midi, sign.kind, (below, above)))
        if out:
            kept = "grace notes and ornaments are kept apart and not played unless asked for (--ornaments)"
            self.reader.notes.count(kept, self.reader.measure, remark=True)


def _add(keys: list[int], midi: int, *, in_chord: bool) -> None:
    if in_chord and keys:
        keys[-1] = max(keys[-1], midi)
    else:
        keys.append(midi)


def _neighbour(head: Head, step: int, sharps: int, alter: int | None) -> int:
    """MIDI key of the next step in the signature, or with an accidental of its own."""
    octave, name = divmod(head.position + step, 7)
    change = _in_signature(name, sharps) if alter is None else alter
    return min(127, max(0, 12 * (octave + 1) + _STEPS[name] + change + head.semitones))


def _in_signature(name: int, sharps: int) -> int:
    """Semitones by which a signature alters a step: the first sharp is F, the first flat B."""
    place = _CIRCLE.index(name)
    return (sharps - place + 6) // 7
