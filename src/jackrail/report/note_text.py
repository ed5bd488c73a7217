"""The notes of one line of a bar as MusicXML 4.0: pitches, values, ties, tuplets, beams, accidentals and signs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from xml.sax.saxutils import escape

from jackrail.pitch import signature

from .heads import COLOURS, Head
from .note_values import Value
from .staves import Sound, StaffBar, metre_of

_TYPES = {
    Fraction(8): "breve", Fraction(4): "whole", Fraction(2): "half", Fraction(1): "quarter", Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th", Fraction(1, 8): "32nd", Fraction(1, 16): "64th", Fraction(1, 32): "128th",
}  # fmt: skip
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}

Signed = set[tuple[int, int, int]]
"""Where an accidental is written: line of the bar, place of the value in it, note by its index in the tune."""


@dataclass(frozen=True)
class NoteWriter:
    """Writes the lines of one bar. heads: of each note of the tune; divisions: parts of a quarter that MusicXML counts in."""

    bar: StaffBar
    heads: Sequence[Head]
    divisions: int
    signed: Signed

    def line(self, number: int) -> str:
        """All values of a line. Rests of lines under the first are not shown."""
        line = self.bar.lines[number]
        bar = self.bar.bar
        if all(value.item is None for value in line) and bar.length_q == Fraction(4 * bar.beats, bar.beat_unit):
            return f'<note><rest measure="yes"/>{self._duration(bar.length_q)}<voice>{number + 1}</voice></note>'
        beams = _beams(line, metre_of(bar).beat_q)
        return "".join(part for place, value in enumerate(line) for part in self._value(number, place, value, beams[place]))

    def _value(self, number: int, place: int, value: Value[Sound], beam: str) -> Iterator[str]:
        sound = value.item
        if sound is None:
            hidden = ' print-object="no"' if number else ""
            yield f"<note{hidden}><rest/>{self._duration(value.length_q)}{_shape(value, number)}{_notations(_bracket(value))}</note>"
            return
        begins, ends = self._edges(value, sound)
        if begins:
            yield from (self._small(number, place, small) for small in sound.graces)
            yield from _directions([self.heads[note] for note in sound.notes])
        ties = ("stop",) * (not begins) + ("start",) * (not ends)
        whole = begins and all(self.heads[small].fate == "" for small in sound.signed)
        for order, note in enumerate(sound.notes):
            marks = "".join(f'<tied type="{kind}"/>' for kind in ties)
            if not order:
                marks += _bracket(value) + (f"<ornaments><{sound.sign}/></ornaments>" if sound.sign and whole else "")
            head, accidental = self.heads[note], self._accidental(number, place, note)
            opening = f"<note{_colour(head)}>{'<chord/>' if order else ''}{_pitch(head)}{self._duration(value.length_q)}"
            opening += "".join(f'<tie type="{kind}"/>' for kind in ties)
            yield f"{opening}{_shape(value, number, accidental, _ghost(head))}{'' if order else beam}{_notations(marks)}</note>"
        if ends:
            yield from (self._small(number, place, small) for small in sound.after)

    def _edges(self, value: Value[Sound], sound: Sound) -> tuple[bool, bool]:
        """Whether a sound begins, and whether it ends, with this value."""
        starts_q = value.starts_q - self.bar.bar.starts_q + self.bar.bar.onset_q
        return sound.starts_q == starts_q, sound.ends_q == starts_q + value.length_q

    def _small(self, number: int, place: int, small: int) -> str:
        head = self.heads[small]
        accidental = self._accidental(number, place, small)
        return f"<note{_colour(head)}><grace/>{_pitch(head)}<voice>{number + 1}</voice><type>eighth</type>{accidental}{_ghost(head)}</note>"

    def _accidental(self, number: int, place: int, note: int) -> str:
        return f"<accidental>{_ACCIDENTALS[self.heads[note].alter]}</accidental>" if (number, place, note) in self.signed else ""

    def _duration(self, length_q: Fraction) -> str:
        return f"<duration>{int(length_q * self.divisions)}</duration>"


def signed(bar: StaffBar, heads: Sequence[Head], sharps: int) -> Signed:
    """Where accidentals are needed: each holds for its place on the staff until the end of the bar, a tie needs none."""
    found: Signed = set()
    in_key, holding = signature(sharps), dict[tuple[str, int], int]()
    for _, _, number, place, notes in sorted(_in_time(bar)):
        for note in notes:
            head = heads[note]
            if head.alter != holding.get((head.step, head.octave), in_key.get(head.step, 0)):
                found.add((number, place, note))
                holding[head.step, head.octave] = head.alter
    return found


def _in_time(bar: StaffBar) -> Iterator[tuple[Fraction, int, int, int, tuple[int, ...]]]:
    """What begins in a bar: when, behind (0) or with (1) a note, line, place in it, notes with their small notes."""
    for number, line in enumerate(bar.lines):
        for place, value in enumerate(line):
            starts_q = value.starts_q - bar.bar.starts_q + bar.bar.onset_q
            if value.item is not None and value.item.starts_q == starts_q:
                yield starts_q, 1, number, place, (*value.item.graces, *value.item.notes)
            if value.item is not None and value.item.ends_q == starts_q + value.length_q:
                yield value.item.ends_q, 0, number, place, value.item.after


def _beams(line: Sequence[Value[Sound]], beat_q: Fraction) -> list[str]:
    """The beam of each value: those under a quarter are joined within a beat or a tuplet, rests part them."""
    groups, tuplet = [], 0
    for place, value in enumerate(line):
        tuplet += value.opens
        joined = value.item is not None and value.base_q < 1
        where = ("tuplet", tuplet) if value.tuplet else ("beat", value.starts_q // beat_q)
        groups.append((*where, joined, 0 if joined else place))
    beams = [""] * len(line)
    for _, run in groupby(range(len(line)), key=lambda place: groups[place]):
        places = list(run)
        if len(places) > 1:
            for place in places:
                kind = "begin" if place == places[0] else "end" if place == places[-1] else "continue"
                beams[place] = f'<beam number="1">{kind}</beam>'
    return beams


def _pitch(head: Head) -> str:
    alter = f"<alter>{head.alter}</alter>" if head.alter else ""
    return f"<pitch><step>{head.step}</step>{alter}<octave>{head.octave}</octave></pitch>"


def _shape(value: Value[Sound], number: int, accidental: str = "", ghost: str = "") -> str:
    """Voice, type, dots, accidental, tuplet and notehead, in the order of the standard."""
    tuplet = ""
    if value.tuplet:
        many, fewer = value.tuplet
        tuplet = f"<time-modification><actual-notes>{many}</actual-notes><normal-notes>{fewer}</normal-notes></time-modification>"
    return f"<voice>{number + 1}</voice><type>{_TYPES[value.base_q]}</type>{'<dot/>' * value.dots}{accidental}{tuplet}{ghost}"


def _bracket(value: Value[Sound]) -> str:
    kinds = ("start",) * value.opens + ("stop",) * value.closes
    return "".join(f'<tuplet type="{kind}" number="1"/>' for kind in kinds)


def _notations(marks: str) -> str:
    return f"<notations>{marks}</notations>" if marks else ""


def _colour(head: Head) -> str:
    return f' color="{COLOURS[head.fate]}"' if head.fate else ""


def _ghost(head: Head) -> str:
    return '<notehead parentheses="yes">normal</notehead>' if head.fate == "lost" else ""


def _directions(heads: Sequence[Head]) -> Iterator[str]:
    """What is written under the staff where notes begin, once."""
    for words, colour in dict.fromkeys((head.words, COLOURS[head.fate]) for head in heads if head.words):
        inside = f'<words color="{colour}">{escape(words)}</words>'
        yield f'<direction placement="below"><direction-type>{inside}</direction-type></direction>'
