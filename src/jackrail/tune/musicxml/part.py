"""One part of a MusicXML score, measure by measure, as written bars."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from jackrail.faults import BadInput
from jackrail.tune.model import Quarters
from jackrail.tune.score.written import Notes, WrittenBar, WrittenNote

from .marks import read_barline, read_direction, read_harmony, read_key, read_sound, read_time
from .reading import Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NUMBER = re.compile(r"\d{1,9}(?:\.\d{1,6})?")
MAX_FAULTS = 20
MAX_MEASURE_Q = 1000
"""Longest measure, in quarters; a longer one is a slip."""


class PartReader(Reading):
    """Reads the measures of a part. place: its name for messages."""

    def __init__(self, measures: list[Element], place: str, notes: Notes) -> None:
        super().__init__(place, notes)
        self.measures = measures
        self.metre: tuple[int, int] | None = (4, 4)
        self.metre_written = False
        self.onset_q = Fraction(0)
        self.quarters: dict[str, Quarters] = {}
        self._on: dict[str, Callable[[Element], None]] = {
            "note": self._note, "attributes": self._attributes, "backup": self._backup, "forward": self._forward,
            "barline": self._barline, "direction": self._direction, "sound": self._sound, "harmony": self._harmony,
        }  # fmt: skip

    def read(self) -> list[WrittenBar]:
        """The bars of the part. Raises BadInput with all its faults, each with its measure."""
        bars: list[WrittenBar] = []
        for measure in self.measures:
            bars.append(self._measure(measure, bars[-1].number if bars else 0))
            if len(self.faults) >= MAX_FAULTS:
                break
        if self.faults:
            raise BadInput(self.faults[:MAX_FAULTS])
        if not self.metre_written:
            self.notes.say("no metre is written: beats are counted in 4/4")
        return bars

    def _measure(self, measure: Element, before: int) -> WrittenBar:
        self.bar_name = measure.get("number", "?")[:12]
        written = re.match(r"\d{1,6}", self.bar_name)
        implicit = measure.get("implicit") == "yes"
        number = int(written[0]) if written else before
        self.bar = bar = WrittenBar(number, *(self.metre or (4, 4)), free=self.metre is None, implicit=implicit, ending=self.ending)
        self.cursor_q = self.onset_q = Fraction(0)
        length_q = Fraction(0)
        for element in measure:
            act = self._on.get(element.tag)
            if act is not None:
                act(element)
                length_q = max(length_q, self.cursor_q)
        if length_q > MAX_MEASURE_Q:
            self.fault("the measure is far too long", f"{float(length_q):.0f} quarters", f"at most {MAX_MEASURE_Q}")
        bar.length_q = length_q or bar.metre_q
        bar.settle_chords(self.notes, f"measure {self.bar_name}")
        for marks in (bar.tempo, bar.keys):
            marks.sort(key=lambda mark: mark[0])
        return bar

    def _length(self, element: Element) -> Quarters | None:
        """Its <duration> in quarters; None, and a fault, when there is none to use."""
        text = (element.findtext("duration") or "").strip()
        if self.divisions is None:
            self.fault("a length stands before any <divisions>", hint="export the score again: lengths have no unit")
            self.divisions = Fraction(1)  # so that it is said once
        known = self.quarters.get(text)
        if known is not None:
            return known
        value = Fraction(text) if _NUMBER.fullmatch(text) else Fraction(-1)
        if value < 0 or (not value and element.tag == "note"):
            self.fault(
                f"a <{element.tag}> has no usable duration", repr(text[:20]), "a number above 0", "the file is damaged; export it again"
            )
            return None
        self.quarters[text] = value / self.divisions
        return self.quarters[text]

    def _note(self, note: Element) -> None:
        if note.find("grace") is not None:
            self.notes.count("grace notes are left out", f"measure {self.bar_name}")
            return
        length_q = self._length(note)
        if length_q is None:
            return
        if note.find("chord") is None:
            self.onset_q = self.cursor_q
            self.cursor_q += length_q
        if note.find("cue") is not None:
            self.notes.count("cue notes are left out", f"measure {self.bar_name}")
            return
        if (note.findtext("staff") or "1").strip() != "1":
            self.notes.say("only the upper staff of the part is read")
            return
        self._notations(note)
        if note.find("unpitched") is not None:
            self.notes.count("notes without pitch are left out", f"measure {self.bar_name}")
        pitch = note.find("pitch")
        if pitch is None:
            return
        midi = self._midi(pitch)
        if midi is not None:
            voice = (note.findtext("voice") or "1").strip()
            self.bar.notes.append(WrittenNote(self.onset_q, length_q, midi, tied=_starts_tie(note), voice=voice))

    def _midi(self, pitch: Element) -> int | None:
        step, octave, alter = ((pitch.findtext(tag) or default).strip() for tag, default in (("step", ""), ("octave", ""), ("alter", "0")))
        if step not in _STEPS or not re.fullmatch(r"\d", octave):
            self.fault(
                "a note has no pitch that can be read", repr(f"{step}{octave}"[:20]), "step A to G, octave 0 to 9", "export it again"
            )
            return None
        if not re.fullmatch(r"[+-]?\d{1,2}(?:\.\d{1,6})?", alter) or abs(float(alter)) > 4:
            self.fault("a note has an alteration that cannot be read", repr(alter[:20]), "a number of semitones such as -1")
            return None
        semitones = round(float(alter))
        if semitones != float(alter):
            self.notes.count("notes between the keys (quarter tones) are played on the nearest key", f"measure {self.bar_name}")
        midi = 12 * (int(octave) + 1) + _STEPS[step] + semitones + self.semitones
        if not 0 <= midi <= 127:
            self.fault("a note lies outside the MIDI range", f"{step}{octave}", "C-1 to G9")
            return None
        return midi

    def _notations(self, note: Element) -> None:
        where = f"measure {self.bar_name}"
        for notations in note.iterfind("notations"):
            if notations.find("ornaments") is not None:
                self.notes.count("ornaments are not played, their main notes are", where)
            if notations.find("fermata") is not None:
                self.notes.count("fermatas are not held", where)
            if notations.find("glissando") is not None or notations.find("slide") is not None:
                self.notes.count("glides are not played, their end notes are", where)

    def _backup(self, element: Element) -> None:
        length_q = self._length(element)
        if length_q is not None:
            if length_q > self.cursor_q:
                self.fault("a <backup> goes back beyond the start of the measure", hint="the file is damaged; export it again")
            self.cursor_q = max(Fraction(0), self.cursor_q - length_q)

    def _forward(self, element: Element) -> None:
        self.cursor_q += self._length(element) or 0

    def _attributes(self, attributes: Element) -> None:
        divisions = attributes.findtext("divisions")
        if divisions is not None:
            value = Fraction(divisions.strip()) if _NUMBER.fullmatch(divisions.strip()) else Fraction(0)
            if value <= 0:
                self.fault("has <divisions> that cannot be used", repr(divisions[:20]), "a number above 0", "export the score again")
            self.divisions, self.quarters = value if value > 0 else Fraction(1), {}
        for time in attributes.iterfind("time"):
            self.metre, self.metre_written = read_time(time, self), True
            self.bar.beats, self.bar.beat_unit = self.metre or (4, 4)
            self.bar.free = self.metre is None or self.bar.free
            break
        for transpose in attributes.iterfind("transpose"):
            self._transpose(transpose)
        for key in attributes.iterfind("key"):
            if (mark := read_key(key, self)) is not None:
                self.bar.keys.append((self.cursor_q, mark))
            break
        for style in attributes.iterfind("measure-style"):
            if any(sign.get("type") == "start" for sign in (*style.iterfind("measure-repeat"), *style.iterfind("slash"))):
                self.notes.count("signs that repeat a bar or a beat are not played out", f"measure {self.bar_name}")

    def _transpose(self, transpose: Element) -> None:
        chromatic = (transpose.findtext("chromatic") or "0").strip()
        octaves = (transpose.findtext("octave-change") or "0").strip()
        if not re.fullmatch(r"[+-]?\d{1,2}(?:\.0+)?", chromatic) or not re.fullmatch(r"[+-]?\d", octaves):
            self.fault("a <transpose> cannot be read", repr(f"{chromatic} {octaves}"[:20]), "whole semitones and octaves")
            return
        self.semitones = int(float(chromatic)) + 12 * int(octaves)
        if transpose.find("double") is not None:
            self.notes.say("the part is written to be doubled an octave away: the doubling is left out")

    def _barline(self, barline: Element) -> None:
        read_barline(barline, self)

    def _direction(self, direction: Element) -> None:
        read_direction(direction, self)

    def _sound(self, sound: Element) -> None:
        read_sound(sound, self)

    def _harmony(self, harmony: Element) -> None:
        read_harmony(harmony, self)


def _starts_tie(note: Element) -> bool:
    """Whether a note is tied to the next: by its <tie>, or by the drawn <tied> of files that leave that out."""
    ties = note.findall("tie") or note.findall("notations/tied")
    return any(tie.get("type") == "start" for tie in ties)
