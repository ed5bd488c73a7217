"""Parts of a MusicXML score: their measures and names, which of them is read, and which notes of it.

Melody rule: a part asked for by number, id or name; else the first with notes whose name says that it is the melody (melody, lead,
tune, vocal, voice, solo, soprano, right and the like, and not backing, bass, harmony: see `tune.part_names`); else the first with notes.
Of the part a voice that is asked for, from whichever staff ("2/1" is voice 1 of staff 2 only); else its upper staff, all voices.
A voice that crosses from staff to staff belongs to the one where most of its notes stand, of equals the upper. One whose notes on two
staves stand apart in a measure, with a <backup> between, is two voices of one name and crosses nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from jackrail.faults import BadInput, Fault
from jackrail.tune.one_line import one_line
from jackrail.tune.part_names import says_accompaniment, says_melody
from jackrail.tune.score.written import Notes

from .reading import Line

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MAX_PARTS = 1000
MAX_MEASURES = 20_000
_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Part:
    """One part: number from 1 in the order of the score, id and name as written, its measures."""

    number: int
    part_id: str
    name: str
    measures: list[Element]

    @property
    def said(self) -> str:
        """Number and name for messages."""
        return f"{self.number} ({self.name or self.part_id or '?'})"

    @property
    def place(self) -> str:
        """The part as messages name it: "part 1 (Guitar)"."""
        return f"part {self.said}"

    @property
    def sounding(self) -> bool:
        """Whether any of its notes has a pitch."""
        return any(measure.find("note/pitch") is not None for measure in self.measures)


def parts_of(root: Element) -> list[Part]:
    """The parts of a score; a timewise one (measures holding parts) is turned round. Raises BadInput for none, or far too many."""
    names = {part.get("id", ""): one_line(part.findtext("part-name") or "") for part in root.iterfind("part-list/score-part")}
    measures: dict[str, list[Element]] = {}
    if root.tag == "score-partwise":
        for part in root.iterfind("part"):
            part_id = part.get("id", "")
            while part_id in measures:
                part_id += "'"  # a second part of one id is a part of its own
            measures[part_id] = part.findall("measure")
    else:
        for measure in root.iterfind("measure"):
            for part in measure.iterfind("part"):
                part_id = part.get("id", "")
                part.attrib = {**measure.attrib, "id": part_id}
                measures.setdefault(part_id, []).append(part)
    if not any(measures.values()) or len(measures) > MAX_PARTS:
        raise BadInput(Fault("tune", "the score holds no measure, or far too many parts", limit=f"1 to {MAX_PARTS} parts"))
    longest = max(map(len, measures.values()))
    if longest > MAX_MEASURES:
        raise BadInput(Fault("range", "a part is far too long", value=f"{longest} measures", limit=f"at most {MAX_MEASURES}"))
    return [Part(number, one_line(part_id), names.get(part_id, ""), own) for number, (part_id, own) in enumerate(measures.items(), 1)]


def choose_part(parts: list[Part], wanted: str | None, notes: Notes) -> Part:
    """The part asked for, or the melody by the rule above; `notes` says what was left out. Raises BadInput for one there is not."""
    if wanted is not None:
        return _asked_for(parts, wanted)
    sounding = [part for part in parts if part.sounding] or parts
    named = [part for part in sounding if says_melody(part.name) and not says_accompaniment(part.name)]
    chosen = (named or sounding)[0]
    others = [part for part in sounding if part is not chosen]
    if others:
        rest = ", ".join(part.said for part in others[:_SHOWN]) + (" ..." if len(others) > _SHOWN else "")
        why = "the first" if chosen is sounding[0] else "for its name"
        notes.remark(f"{chosen.place} was read, {why}; left out: {rest}; --part chooses another")
    return chosen


def _asked_for(parts: list[Part], wanted: str) -> Part:
    text = wanted.strip()
    if re.fullmatch(r"\d{1,4}", text) and 1 <= int(text) <= len(parts):
        return parts[int(text) - 1]
    found = [part for part in parts if part.part_id == text] or [part for part in parts if part.name.casefold() == text.casefold()]
    if len(found) == 1:
        return found[0]
    limit = ", ".join(part.said for part in (found or parts)[:12]) + (" ..." if len(found or parts) > 12 else "")
    what = "holds several parts of that name" if found else "holds no part with that number, id or name"
    if re.fullmatch(r"\d{1,9}", text):
        what = "holds no part with that number"
    raise BadInput(Fault("option", what, "--part", one_line(text, 40), limit, "give the number of one of these"))


def lines_of(part: Part) -> list[tuple[str, str]]:
    """(staff, voice) of the notes of a part that have a pitch, in order of staff and first appearance."""
    found: dict[tuple[str, str], None] = {}
    for measure in part.measures:
        for note in measure.iterfind("note"):
            staff, voice = (note.findtext("staff") or "1").strip(), (note.findtext("voice") or "1").strip()
            if (staff, voice) not in found and note.find("pitch") is not None and note.find("cue") is None:
                found[staff, voice] = None
    return sorted(found, key=lambda line: _staff_order(line[0]))


def _staff_order(staff: str) -> tuple[int, str]:
    return (int(staff), "") if re.fullmatch(r"\d{1,3}", staff) else (999, staff)


def choose_line(part: Part, wanted: str | None, notes: Notes) -> Line:
    """Which notes of a part are read: a voice asked for, or its upper staff. Raises BadInput for a voice there is not."""
    if wanted is None and not any(next(measure.iter("staff"), None) is not None for measure in part.measures):
        return Line()
    lines = lines_of(part)
    if not lines:
        return Line()
    if wanted is None:
        return _upper_staff(part, lines, notes)
    text = wanted.strip()
    found = [(staff, voice) for staff, voice in lines if text in {voice, f"{staff}/{voice}"}]
    if not found:
        limit = ", ".join(dict.fromkeys(voice_option(line, lines) for line in lines))
        raise BadInput(Fault("option", f"part {part.said} has no voice of that name", "--voice", one_line(text, 40), one_line(limit)))
    staves = list(dict.fromkeys(staff for staff, _ in found))
    if len(staves) > 1:
        notes.say(f"voice {text} stands in staves {', '.join(staves)}: all are read; {staves[0]}/{text} is the one of staff {staves[0]}")
    return Line(staves[0], found[0][1], several=len(staves) > 1)


def _upper_staff(part: Part, lines: list[tuple[str, str]], notes: Notes) -> Line:
    staff = lines[0][0]
    if all(other == staff for other, _ in lines):
        return Line(staff)
    homes = _homes(part)
    if not any(homes.get(voice, own) == staff for own, voice in lines):
        homes = {}  # all that stands above only reaches up from below
    line = Line(staff, across=homes)
    left_out = [one for one in lines if not line.holds(*one)]
    for voice, home in homes.items():
        if home == staff:
            notes.count("voices that cross to another staff are read wherever they stand", f"voice {voice}", remark=True)
        elif (staff, voice) in lines:
            notes.count("voices with most of their notes on a lower staff are left out on the upper one, too", f"voice {voice}")
    if left_out:
        asked = ", ".join(dict.fromkeys(voice if voice in homes else voice_option((own, voice), lines) for own, voice in left_out))
        notes.say(f"only the upper staff of the part is read; of what is left out --voice can ask for {asked}")
    return line


def _homes(part: Part) -> dict[str, str]:
    """Voices that cross from staff to staff -> the staff where most of their notes stand."""
    found: dict[str, Counter[str]] = {}
    apart: set[str] = set()
    for measure in part.measures:
        runs: dict[str, list[set[str]]] = {}
        run = 0
        last: dict[str, int] = {}
        for element in measure:
            if element.tag == "backup":
                run += 1
            elif element.tag == "note" and element.find("pitch") is not None and element.find("cue") is None:
                staff, voice = (element.findtext("staff") or "1").strip(), (element.findtext("voice") or "1").strip()
                found.setdefault(voice, Counter())[staff] += 1
                if last.get(voice) != run:
                    runs.setdefault(voice, []).append(set())
                    last[voice] = run
                runs[voice][-1].add(staff)
        apart |= {voice for voice, own in runs.items() if not set.intersection(*own)}
    crossing = {voice: staves for voice, staves in found.items() if len(staves) > 1 and voice not in apart}
    return {voice: min(staves, key=lambda staff: (-staves[staff], _staff_order(staff))) for voice, staves in crossing.items()}


def voice_option(line: tuple[str, str], lines: list[tuple[str, str]]) -> str:
    """What --voice asks for a line by: its voice, with the staff before it where several staves have that voice."""
    staff, voice = line
    return f"{staff}/{voice}" if sum(other == voice for _, other in lines) > 1 else voice
