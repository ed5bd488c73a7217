"""What a MusicXML score offers: one line for each part, staff and voice with notes, with what helps to choose."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jackrail.faults import BadInput, Fault
from jackrail.findings import count
from jackrail.tune.choice import Offer, share_together
from jackrail.tune.one_line import one_line
from jackrail.tune.score.written import Notes

from .part import PartReader
from .parts import Part, choose_line, choose_part, parts_of, voice_option

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


MOST_LINES = 64
"""Most voices of a part that are listed."""


def list_parts(root: Element) -> list[Offer]:
    """Each voice of each part, numbered as the parts stand in the score. A part that cannot be read is listed with the reason."""
    parts = parts_of(root)
    chosen = choose_part(parts, None, Notes())
    offers: list[Offer] = []
    for part in parts:
        offers += _offers(part, chosen=part is chosen)
    return offers


def _offers(part: Part, *, chosen: bool) -> list[Offer]:
    option = ("--part", str(part.number))
    reader = PartReader(part.measures, part.place, Notes())
    reader.survey = {}
    try:
        reader.read()
    except BadInput as bad:
        return [Offer("voice", part.number, part.name, option, _reason(bad.faults[0]), chosen=chosen)]
    lines = sorted(reader.survey, key=lambda line: (len(line[0]), line))[:MOST_LINES]
    if not lines:
        return [Offer("voice", part.number, part.name, option, "no notes with pitch", 0, chosen=chosen)]
    unasked = choose_line(part, None, Notes())
    out = []
    for line in lines:
        notes = reader.survey[line]
        keys = [midi for _, _, midi in notes]
        out.append(
            Offer(
                "voice",
                part.number,
                part.name,
                option if len(lines) == 1 else (*option, "--voice", voice_option(line, lines)),
                _about(reader, line, lines),
                len(notes),
                min(keys),
                max(keys),
                share_together((onset_q, end_q) for onset_q, end_q, _ in notes),
                chosen=chosen and unasked.holds(*line),
            )
        )
    return out


def _reason(fault: Fault) -> str:
    """Why a part cannot be read: where, what and the value, without the part's name, which stands beside it."""
    measure = fault.where[fault.where.rfind("measure ") :] if "measure " in fault.where else ""
    value = f" ({fault.value})" if fault.value else ""
    return one_line(f"cannot be read: {measure + ': ' if measure else ''}{fault.what}{value}", 120)


def _about(reader: PartReader, line: tuple[str, str], lines: list[tuple[str, str]]) -> str:
    words = []
    if len({staff for staff, _ in lines}) > 1 or line[0] != "1":
        words.append(f"staff {line[0]}")
    semitones = reader.semitones(line[0])
    if semitones:
        words.append(f"sounds {count(abs(semitones), 'semitone')} {'lower' if semitones < 0 else 'higher'} than written")
    if any(bar.chords for bar in reader.bars):
        words.append("with chord symbols")
    return ", ".join(words)
