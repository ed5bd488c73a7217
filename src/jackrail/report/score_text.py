"""Two staves as MusicXML 4.0 (partwise), the text that the engraver reads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from xml.sax.saxutils import quoteattr

from jackrail.pitch import moved_signature
from jackrail.tune.model import Bar
from jackrail.work import Work

from .heads import Clef, Head, clef_of, heads_of
from .note_text import NoteWriter, signed
from .staves import StaffBar, Staves

STAFF_NAMES = ("written", "played")


@dataclass(frozen=True)
class _Staff:
    """One staff: its number and its heads, one for each note of the tune."""

    number: int
    heads: Sequence[Head]


class ScoreWriter:
    """Writes any bars of a work as MusicXML. staves: of that work."""

    def __init__(self, work: Work, staves: Staves) -> None:
        self._tune, self._shift, self._bars = work.tune, work.setting.transpose_semitones, staves.bars
        heads = heads_of(work)
        self._staves = tuple(_Staff(number, heads[number]) for number in (0, 1))
        self._clef = clef_of([*heads[0], *(head for head in heads[1] if head.fate != "lost")])
        values = (value.length_q for bar in staves.bars for line in bar.lines for value in line)
        symbols = (symbol.into_q for bar in staves.bars for staff in bar.symbols for symbol in staff)
        self._divisions = lcm(1, *(time_q.denominator for time_q in (*values, *symbols)))

    def content(self, number: int) -> tuple[str, str]:
        """What stands in a bar of each staff: alike where the bars are. number: the bar's place among those of the tune."""
        above, below = (self._content(self._bars[number], staff) for staff in self._staves)
        return above, below

    def score(self, systems: Sequence[Sequence[int]]) -> str:
        """A score of these bars, each row of them a page by itself."""
        names = "".join(
            f'<score-part id="P{staff.number}"><part-name>{STAFF_NAMES[staff.number]}</part-name>'
            f"<part-abbreviation>{STAFF_NAMES[staff.number]}</part-abbreviation></score-part>"
            for staff in self._staves
        )
        group = '<part-group number="1" type="start"><group-symbol>bracket</group-symbol><group-barline>yes</group-barline></part-group>'
        parts = "".join(f'<part id="P{staff.number}">{"".join(self._measures(systems, staff))}</part>' for staff in self._staves)
        return (
            '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
            f'<part-list>{group}{names}<part-group number="1" type="stop"/></part-list>{parts}</score-partwise>'
        )

    def _measures(self, systems: Sequence[Sequence[int]], staff: _Staff) -> Iterator[str]:
        before: Bar | None = None
        for row, system in enumerate(systems):
            for place, number in enumerate(system):
                bar = self._bars[number].bar
                page = '<print new-page="yes"/>' if row and not place else ""
                name = f"{bar.number} ({bar.time})" if bar.time > 1 else str(bar.number)
                implicit = ' implicit="yes"' if before is not None and place and bar.number == before.number and bar.starts_q else ""
                inside = self._attributes(bar, before) + self._content(self._bars[number], staff)
                yield f'<measure number="{name}"{implicit}>{page}{inside}</measure>'
                before = bar

    def _attributes(self, bar: Bar, before: Bar | None) -> str:
        """Key, metre and clef, where they begin or change."""
        inside = f"<divisions>{self._divisions}</divisions>" if before is None else ""
        if before is None or self._sharps(bar) != self._sharps(before):
            inside += f"<key><fifths>{self._sharps(bar)}</fifths></key>"
        if before is None or bar.metre != before.metre:
            hidden = ' print-object="no"' if bar.free else ""
            inside += f"<time{hidden}><beats>{bar.beats}</beats><beat-type>{bar.beat_unit}</beat-type></time>"
        if before is None:
            inside += _clef(self._clef)
        return f"<attributes>{inside}</attributes>" if inside else ""

    def _sharps(self, bar: Bar) -> int:
        return moved_signature(self._tune.sharps_at(bar.onset_q), self._shift)

    def _content(self, bar: StaffBar, staff: _Staff) -> str:
        """The notes, rests and chord symbols of one bar."""
        writer = NoteWriter(bar, staff.heads, self._divisions, signed(bar, staff.heads, self._sharps(bar.bar)))
        back = f"<backup>{self._duration(bar.bar.length_q)}</backup>"
        lines = back.join(writer.line(number) for number in range(len(bar.lines)))
        symbols, at_q = "", Fraction(0)
        for symbol in bar.symbols[staff.number]:
            forward = f"<forward>{self._duration(symbol.into_q - at_q)}</forward>" if symbol.into_q > at_q else ""
            root = f"<root><root-step text={quoteattr(symbol.text)}>{symbol.root}</root-step></root>"
            symbols += f'{forward}<harmony>{root}<kind text="">none</kind></harmony>'
            at_q = symbol.into_q
        # before the notes: the engraver takes a symbol to be of the staff of the note that comes after it
        return symbols + (f"<backup>{self._duration(at_q)}</backup>" if at_q else "") + lines

    def _duration(self, length_q: Fraction) -> str:
        return f"<duration>{int(length_q * self._divisions)}</duration>"


def _clef(clef: Clef) -> str:
    octave = f"<clef-octave-change>{clef.octave}</clef-octave-change>" if clef.octave else ""
    return f"<clef><sign>{clef.sign}</sign><line>{clef.line}</line>{octave}</clef>"
