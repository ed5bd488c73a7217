"""One part of a MusicXML score, measure by measure, as written bars."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from jackrail.faults import BadInput
from jackrail.tune.model import Quarters
from jackrail.tune.score.limits import MAX_FAULTS
from jackrail.tune.score.written import Notes, WrittenBar, WrittenNote

from .attributes import of_staff, read_divisions, read_key, read_time, read_transpose, repeated_bars
from .chord_offsets import ChordOffsets
from .harmony import read_harmony
from .loudness import read_loudness, set_loudness, share_of
from .ornaments import Head, Ornaments
from .pitches import read_pitch
from .reading import NUMBER, Line, Reading, Reads
from .signs import read_barline, read_direction, read_sound, set_mark, settle_marks

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MAX_MEASURE_Q = 1000
"""Longest measure, in quarters; a longer one is a slip."""
MAX_COPIED = 20_000
"""Most notes that signs for a repeated bar may stand for."""
_EVERYTHING = Line()
_FORM = ("barline", "direction", "sound")
_NOT_READ: dict[Reads, tuple[str, ...]] = {"all": (), "music": ("barline",), "form": ("harmony",), "chords": _FORM}


class PartReader(Reading):
    """Reads the measures of a part. place: its name for messages; line: which of its notes.

    survey: when asked for, the notes of each (staff, voice) as onset, end and MIDI key. reads: what of the part. rates: the tempo at
    the end of each measure, by its index, as told by the parts read before; this one puts in what it has to tell.
    """

    def __init__(  # noqa: PLR0913 - the last two are for parts that are read for the sake of another
        self,
        measures: list[Element],
        place: str,
        notes: Notes,
        line: Line = _EVERYTHING,
        *,
        reads: Reads = "all",
        rates: dict[int, float] | None = None,
    ) -> None:
        super().__init__(place, notes, line)
        self.measures = measures
        self.silent = reads in {"form", "chords"}
        self.reads = reads
        self.rates = {} if rates is None else rates
        self.survey: dict[tuple[str, str], list[tuple[Quarters, Quarters, int]]] | None = None
        self.onset_q = self.bar_q = Fraction(0)
        self.quarters: dict[str, Quarters] = {}
        self.heads: list[Head] = []
        self.hidden: list[WrittenNote] = []
        self.ornaments = Ornaments(self)
        self.open_ties: dict[tuple[int, Quarters], str] = {}
        self.back = self.copied = 0
        self.late_metre_q = Fraction(0)
        self.chord_offsets = ChordOffsets(self)
        self._on: dict[str, Callable[[Element], object]] = {
            "note": self._note, "attributes": self._attributes, "backup": self._backup, "forward": self._forward,
            "barline": lambda element: read_barline(element, self), "direction": self._direction,
            "sound": self._sound, "harmony": lambda element: read_harmony(element, self),
        }  # fmt: skip
        for tag in _NOT_READ[reads]:
            del self._on[tag]

    def read(self) -> list[WrittenBar]:
        """The bars of the part. Raises BadInput with all its faults, each with its measure."""
        handed_on: list[tuple[str, str]] = []
        for measure in self.measures:
            handed_on = self._measure(measure, handed_on)
            if self.bar.tempo:
                self.rates.setdefault(len(self.bars), self.bar.tempo[-1][1])
            self.rate = self.rates.get(len(self.bars), self.rate)
            self.bars.append(self.bar)
            self.bar_q += self.bar.length_q
            if len(self.faults) >= MAX_FAULTS:
                break
        if self.faults:
            raise BadInput(self.faults[:MAX_FAULTS])
        self.chord_offsets.end()
        if not self.metre_written and not self.silent:
            self.notes.say("no metre is written: beats are counted in 4/4")
        return self.bars

    def _measure(self, measure: Element, handed_on: list[tuple[str, str]]) -> list[tuple[str, str]]:
        """Read one measure into `bar`; the signs that are for the next one."""
        self.bar_name = measure.get("number", "?")[:12]
        written = re.match(r"\d{1,6}", self.bar_name)
        number = int(written[0]) if written else self.bars[-1].number if self.bars else 0
        implicit = measure.get("implicit") == "yes"
        self.bar = bar = WrittenBar(number, *(self.metre or (4, 4)), free=self.metre is None, implicit=implicit, ending=self.ending)
        for name, label in handed_on:
            set_mark(bar, name, label, Fraction(0))
        self.heads, self.hidden, self.ornaments = [], [], Ornaments(self)
        self.cursor_q = self.onset_q = self.late_metre_q = length_q = Fraction(0)
        for element in measure:
            act = self._on.get(element.tag)
            if act is not None:
                act(element)
                length_q = max(length_q, self.cursor_q)
        if length_q > MAX_MEASURE_Q:
            self.fault("the measure is far too long", f"{float(length_q):.0f} quarters", f"at most {MAX_MEASURE_Q}")
        bar.length_q = length_q or bar.metre_q
        self._settle(bar)
        return settle_marks(self)

    def _settle(self, bar: WrittenBar) -> None:
        """All that can be done only when the measure is known to its end."""
        if self.late_metre_q and self.late_metre_q < bar.length_q:
            self.notes.count("a metre that begins within a measure counts from the next measure on", self.measure)
        if self.hidden:
            self._settle_hidden(bar)
        if self.loudness or self.velocity is not None:
            self.velocity = set_loudness(bar.notes, self.velocity, self.loudness)
            self.loudness = []
        self.ornaments.settle(self.heads)
        if self.back and not bar.notes:
            self._repeat_bar(bar)
        self.chord_offsets.settle(bar, self.bar_q)
        for marks in (bar.tempo, bar.keys):
            marks.sort(key=lambda mark: mark[0])
        if self.survey is not None:
            for head in self.heads:
                onset_q = self.bar_q + head.note.onset_q
                self.survey.setdefault(head.line, []).append((onset_q, onset_q + head.note.duration_q, head.note.midi))

    def _settle_hidden(self, bar: WrittenBar) -> None:
        """Notes that are not printed: beside printed ones they play an ornament out or double something, else they are the music."""
        if len(self.hidden) == len(bar.notes):
            self.notes.count("notes that are not printed are played", self.measure)
            return
        left_out = {id(note) for note in self.hidden}
        bar.notes = [note for note in bar.notes if id(note) not in left_out]
        self.heads = [head for head in self.heads if id(head.note) not in left_out]
        self.notes.count("notes that are not printed are left out beside printed ones", self.measure)

    def _repeat_bar(self, bar: WrittenBar) -> None:
        """Play out a sign that stands for a bar before."""
        before = self.bars[-self.back] if self.back <= len(self.bars) else None
        if before is None or before.length_q != bar.length_q:
            self.notes.count("signs for a repeated bar that none before fits are not played out", self.measure)
            return
        self.copied += len(before.notes)
        if self.copied > MAX_COPIED:
            self.fault("signs for repeated bars stand for far too many notes", limit=f"at most {MAX_COPIED}")
            return
        bar.notes = [replace(note) for note in before.notes]
        bar.ornaments = list(before.ornaments)
        bar.chords = bar.chords or list(before.chords)
        self.notes.count("signs for a repeated bar are played out, with its chord symbols", self.measure, remark=True)

    def _length(self, element: Element, text: str) -> Quarters | None:
        """A <duration> in quarters; None, and a fault, when there is none to use."""
        if self.divisions is None:
            self.fault("a length stands before any <divisions>", hint="export the score again: lengths have no unit")
            self.divisions = Fraction(1)  # so that it is said once
        known = self.quarters.get(text)
        if known is not None:
            return known
        text = text.strip()
        value = Fraction(text) if NUMBER.fullmatch(text) else Fraction(-1)
        if value < 0 or (not value and element.tag == "note"):
            self.fault(
                f"a <{element.tag}> has no usable duration", repr(text[:20]), "a number above 0", "the file is damaged; export it again"
            )
            return None
        self.quarters[text] = value / self.divisions
        return self.quarters[text]

    def _note(self, note: Element) -> None:
        inside = {element.tag: element for element in note}
        staff, voice = ((inside[name].text or "1").strip() if name in inside else "1" for name in ("staff", "voice"))
        read = not self.silent and (self.line is _EVERYTHING or self.line.holds(staff, voice))
        if "grace" in inside:
            if read and "cue" in inside:
                self.notes.count("cue notes are left out", self.measure)
            elif read and "pitch" in inside:
                self._grace(inside, staff, voice)
            return
        length_q = self._length(note, (inside["duration"].text or "") if "duration" in inside else "")
        if length_q is None:
            return
        if "chord" not in inside:
            self.onset_q = self.cursor_q
            self.cursor_q += length_q
        if not read:
            return
        if "cue" in inside:
            self._left_out("cue notes are left out", (staff, voice))
        elif "pitch" in inside:
            self._pitched(note, inside, (staff, voice), length_q)
        elif "unpitched" in inside:
            self._left_out("notes without pitch are left out", (staff, voice))
        else:
            self.ornaments.rest((staff, voice))

    def _left_out(self, what: str, line: tuple[str, str]) -> None:
        self.notes.count(what, self.measure)
        self.ornaments.left_out(line)

    def _pitched(self, note: Element, inside: dict[str, Element], line: tuple[str, str], length_q: Quarters) -> None:
        notehead = inside.get("notehead")
        if notehead is not None and (notehead.text or "").strip() == "slash":
            self._left_out("slashes, which show a rhythm without pitch, are left out", line)
            return
        sounding = read_pitch(inside["pitch"], line[0], self)
        if sounding is None:
            return
        midi, position, alter = sounding
        if "chord" not in inside:
            self.ornaments.main(line, self.onset_q)
        if note.get("time-only") is not None:
            self.notes.count("notes for some passes only are played in all", self.measure)
        if "type" in inside and inside["type"].get("size") in {"cue", "grace-cue"}:
            self.notes.count("notes of small size are played like the others", self.measure)
        if "notations" in inside:
            self._notations(note, line)
        ties = _ties(note, inside)
        voice = line[1]
        if "stop" in ties:  # a tie may lead from voice to voice
            voice = self.open_ties.pop((midi, self.bar_q + self.onset_q), voice)
        else:
            self.ornaments.accidentals.append((self.onset_q, line[0], position, alter))
        tied = "start" in ties
        if tied:
            self.open_ties[midi, self.bar_q + self.onset_q + length_q] = voice
        velocity = share_of(note) if note.get("dynamics") else None
        written = WrittenNote(self.onset_q, length_q, midi, tied=tied, voice=voice, velocity=velocity)
        self.bar.notes.append(written)
        if note.get("print-object") == "no":
            self.hidden.append(written)
        self.heads.append(Head(written, line, position, self.semitones(line[0])))

    def _grace(self, inside: dict[str, Element], staff: str, voice: str) -> None:
        sounding = read_pitch(inside["pitch"], staff, self)
        if sounding is not None:
            before = inside["grace"].get("steal-time-previous") is not None
            self.ornaments.grace((staff, voice), sounding[0], steals_before=before, in_chord="chord" in inside)
            self.ornaments.accidentals.append((self.cursor_q, staff, *sounding[1:]))

    def _notations(self, note: Element, line: tuple[str, str]) -> None:
        for notations in note.iterfind("notations"):
            for ornaments in notations.iterfind("ornaments"):
                self.ornaments.sign(line, self.onset_q, ornaments)
            if notations.find("fermata") is not None:
                self.notes.count("fermatas are not held", self.measure, remark=True)
            if notations.find("glissando") is not None or notations.find("slide") is not None:
                self.notes.count("glides are not played, their end notes are", self.measure)

    def _backup(self, element: Element) -> None:
        length_q = self._length(element, element.findtext("duration") or "")
        if length_q is not None:
            if length_q > self.cursor_q:
                self.fault("a <backup> goes back beyond the start of the measure", hint="the file is damaged; export it again")
            self.cursor_q = max(Fraction(0), self.cursor_q - length_q)

    def _forward(self, element: Element) -> None:
        self.cursor_q += self._length(element, element.findtext("duration") or "") or 0

    def _direction(self, direction: Element) -> None:
        if self.reads != "music":
            read_direction(direction, self)
        if not self.silent:
            read_loudness(direction, self)

    def _sound(self, sound: Element) -> None:
        if self.reads != "music":
            read_sound(sound, self)
        if not self.silent:
            read_loudness(sound, self)

    def _metre(self, metre: tuple[int, int] | None) -> None:
        """A new metre; one within a measure is for the next."""
        if self.cursor_q and metre != self.metre:
            self.late_metre_q = self.cursor_q
        elif not self.cursor_q:
            self.bar.beats, self.bar.beat_unit = metre or (4, 4)
            self.bar.free = metre is None
        self.metre, self.metre_written = metre, True

    def _attributes(self, attributes: Element) -> None:
        divisions = attributes.findtext("divisions")
        if divisions is not None:
            self.divisions, self.quarters = read_divisions(divisions, self), {}
        time = of_staff(attributes, "time", self.staff)
        if time is not None:
            self._metre(read_time(time, self))
        if self.reads == "form":
            return
        for transpose in attributes.iterfind("transpose"):
            read_transpose(transpose, self)
        key = of_staff(attributes, "key", self.staff)
        if key is not None:
            read_key(key, self)
        for style in attributes.iterfind("measure-style"):
            self.back = repeated_bars(style, self.back, self)


def _ties(note: Element, inside: dict[str, Element]) -> set[str]:
    """The types of its <tie>, or of the drawn <tied> of files that leave that out."""
    if "tie" in inside:
        return {tie.get("type", "") for tie in note.iterfind("tie")}
    return {tie.get("type", "") for tie in note.iterfind("notations/tied")} if "notations" in inside else set()
