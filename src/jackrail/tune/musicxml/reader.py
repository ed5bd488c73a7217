"""MusicXML scores (4.0 and before): parts, and the tune of one of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import EVERYTHING, Choice, Offer
from jackrail.tune.one_line import one_line
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts
from jackrail.tune.score.playing_out import play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .part import PartReader

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from jackrail.tune.model import Tune

MAX_PARTS = 1000
MAX_MEASURES = 20_000


def list_parts(root: Element) -> list[Offer]:
    """Each part, numbered from 1 in the order of the score."""
    names = _names(root)
    return [Offer("voice", number, names.get(part_id, ""), ("--part", str(number))) for number, part_id in enumerate(_parts(root), 1)]


def read_musicxml(root: Element, title: str, choice: Choice = EVERYTHING, warnings: tuple[str, ...] = ()) -> Tune:
    """The tune of the part chosen, or of the first part with notes. title: used when the score has none. Raises BadInput."""
    notes = Notes()
    for sentence in warnings:
        notes.say(sentence)
    parts = _parts(root)
    part_id = _chosen(root, parts, int(choice.part) if choice.part else None, notes)
    bars = PartReader(parts[part_id], f"part {part_id}", notes).read()
    if not any(bar.chords for bar in bars):
        _borrow_chords(bars, {other: measures for other, measures in parts.items() if other != part_id}, notes)
    find_starts(bars)
    check_lengths(bars, notes)
    written = one_line(root.findtext("work/work-title") or "") or one_line(root.findtext("movement-title") or "")
    return assemble(written or title, bars, play_order(bars, notes), notes)


def _parts(root: Element) -> dict[str, list[Element]]:
    """Measures of each part; a timewise score (measures holding parts) is turned round."""
    parts: dict[str, list[Element]] = {}
    if root.tag == "score-partwise":
        for part in root.iterfind("part"):
            parts.setdefault(part.get("id", ""), []).extend(part.iterfind("measure"))
    else:
        for measure in root.iterfind("measure"):
            for part in measure.iterfind("part"):
                part.attrib = {**measure.attrib, "id": part.get("id", "")}
                parts.setdefault(part.get("id", ""), []).append(part)
    if not any(parts.values()) or len(parts) > MAX_PARTS:
        raise BadInput(Fault("tune", "the score holds no measure, or far too many parts", limit=f"1 to {MAX_PARTS} parts"))
    longest = max(map(len, parts.values()))
    if longest > MAX_MEASURES:
        raise BadInput(Fault("range", "a part is far too long", value=f"{longest} measures", limit=f"at most {MAX_MEASURES}"))
    return parts


def _names(root: Element) -> dict[str, str]:
    return {part.get("id", ""): one_line(part.findtext("part-name") or "") for part in root.iterfind("part-list/score-part")}


def _chosen(root: Element, parts: dict[str, list[Element]], number: int | None, notes: Notes) -> str:
    names = list(parts)
    if number is not None:
        if not 1 <= number <= len(names):
            raise BadInput(Fault("option", "holds no part with that number", value=str(number), limit=f"1 to {len(names)}"))
        return names[number - 1]
    sounding = [name for name in names if any(measure.find("note/pitch") is not None for measure in parts[name])]
    chosen = (sounding or names)[0]
    others = [name for name in sounding if name != chosen]
    if others:
        said = _names(root)
        rest = ", ".join(f"{names.index(name) + 1} ({said.get(name) or name})" for name in others[:6]) + (" ..." if len(others) > 6 else "")
        notes.say(f"part {names.index(chosen) + 1} ({said.get(chosen) or chosen}) was read, the first; left out: {rest}")
    return chosen


def _borrow_chords(bars: list[WrittenBar], others: dict[str, list[Element]], notes: Notes) -> None:
    """Chord symbols may stand over another part of the score, such as a guitar's."""
    for name, measures in others.items():
        if any(measure.find("harmony") is not None for measure in measures):
            lender = PartReader(measures, f"part {name}", Notes()).read()
            for bar, other in zip(bars, lender, strict=False):
                bar.chords = [(onset_q, symbol) for onset_q, symbol in other.chords if onset_q <= bar.length_q]
            notes.say(f"chord symbols were taken from part {name}")
            return
