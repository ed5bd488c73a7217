"""The form and the tempo of a score: what stands over any of its parts, put together measure by measure.

A score is played in one order and at one tempo, whichever part is read, while programs write repeats, jumps and tempo over one part, or
over some. Of marks that contradict each other those of the first part in the score hold; that is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from jackrail.faults import BadInput
from jackrail.tune.score.written import Notes, WrittenBar

from .part import PartReader
from .parts import Part
from .reading import Line
from .shared_tempo import share_tempo
from .signs import is_steering
from .tempo import is_about_tempo

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

# What belongs together on a bar; a bar whose first field is as on a blank one has nothing of the kind.
_JUMP = ("jump", "jump_label", "jump_on", "until")
_GROUPS = (
    ("repeat_start",), ("repeat_end", "after_jump"), ("ending", "ending_start"), ("segno",), ("coda", "coda_q"),
    ("to_coda", "to_coda_q"), ("fine_q",), _JUMP,
)  # fmt: skip
_BLANK = WrittenBar(0)
_STEERING = ("dacapo", "dalsegno", "tocoda", "fine", "forward-repeat", "segno", "coda", "time-only")

Mark = tuple[int, str, str, str]
"""A mark in short: index of its measure, "form" or "tempo", what it is, and its value."""


@dataclass(frozen=True, slots=True)
class Speaker:
    """A part with marks for all parts, and those of them that no part before has."""

    part: Part
    new: frozenset[Mark]


def speakers(parts: list[Part], marks: dict[int, frozenset[Mark]]) -> list[Speaker]:
    """The parts, in the order of the score, that have marks which none before has in the same measure. marks: by number of the part."""
    known: set[Mark] = set()
    out = []
    for part in parts:
        new = marks[part.number] - known
        if new:
            out.append(Speaker(part, new))
            known |= new
    return out


def marks_of(part: Part) -> frozenset[Mark]:
    """Everything in a part that holds for all parts."""
    return frozenset((index, *mark) for index, measure in enumerate(part.measures) for mark in _marks_in(measure))


def _marks_in(measure: Element) -> Iterator[tuple[str, str, str]]:
    for barline in measure.findall("barline"):
        for element in barline:
            if element.tag in {"repeat", "ending", "segno", "coda"}:
                told = ("location", "direction", "number", "type", "times", "after-jump")
                values = [barline.get(told[0], ""), *(element.get(name, "") for name in told[1:]), (element.text or "").strip()]
                yield "form", element.tag, " ".join(values)
    for sound in measure.findall("sound"):
        yield from _marks_of_sound(sound)
    for direction in measure.findall("direction"):
        for sound in direction.findall("sound"):
            yield from _marks_of_sound(sound)
        yield from _drawn(direction)


def _marks_of_sound(sound: Element) -> Iterator[tuple[str, str, str]]:
    for name in _STEERING:
        if sound.get(name) is not None:
            yield "form", name, sound.get(name, "")
    if sound.get("tempo") is not None or len(sound):
        yield "tempo", "sound", sound.get("tempo", "") + " ".join(element.tag for element in sound)


def _drawn(direction: Element) -> Iterator[tuple[str, str, str]]:
    kinds = direction.findall("direction-type")
    texts = [text for kind in kinds if (text := " ".join("".join(words.itertext()).strip() for words in kind.findall("words")))]
    whole = " ".join(texts)
    for element in (element for kind in kinds for element in kind):
        if element.tag in {"segno", "coda"}:
            yield "form", f"drawn {element.tag}", whole  # "To" beside it makes a difference
        elif element.tag == "metronome":
            yield "tempo", "metronome", " ".join("".join(element.itertext()).split())
    if texts:
        if any(map(is_steering, (whole, *texts))):
            yield "form", "words", whole
        if any(map(is_about_tempo, texts)):
            yield "tempo", "words", whole


def read_with_form(part: Part, parts: list[Part], line: Line, notes: Notes) -> PartReader:
    """The part chosen, read to its end, with the form and the tempo of the whole score on its bars. Raises BadInput."""
    marks = {one.number: marks_of(one) for one in parts}
    speaking = speakers(parts, marks)
    rates: dict[int, float] = {}
    heard: list[tuple[Part, PartReader]] = []
    own = None
    for speaker in speaking:
        if speaker.part is part:
            own = PartReader(part.measures, part.place, notes, line, rates=rates)
            own.read()
            heard.append((part, own))
        elif reader := read_aside(speaker.part, PartReader(speaker.part.measures, speaker.part.place, notes, reads="form", rates=rates)):
            heard.append((speaker.part, reader))
            _say_lent(speaker, marks[part.number], notes)
    if own is None:
        own = PartReader(part.measures, part.place, notes, line, reads="music")
        own.read()
    if [reader for _, reader in heard] != [own]:
        _share_order(own.bars, heard, notes)
    share_tempo(own.bars, heard, notes)
    return own


def read_aside(part: Part, reader: PartReader) -> PartReader | None:
    """`reader` once it has read; None, with a warning, when its part cannot be read."""
    try:
        reader.read()
    except BadInput as bad:
        reader.notes.say(f"{part.place} cannot be read ({bad.faults[0].what}): what it says for all parts is left out")
        return None
    return reader


def _say_lent(speaker: Speaker, own: frozenset[Mark], notes: Notes) -> None:
    kinds = {kind for _, kind, _, _ in speaker.new - own}
    for kind, what in (("form", "repeats and jumps were"), ("tempo", "the tempo was")):
        if kind in kinds:
            notes.remark(f"{what} taken from {speaker.part.place}")


def _share_order(bars: list[WrittenBar], heard: list[tuple[Part, PartReader]], notes: Notes) -> None:
    """Put on each bar what the first part with something of a kind says, and say who says otherwise."""
    for index, bar in enumerate(bars):
        there = [(part, reader.bars[index]) for part, reader in heard if index < len(reader.bars)]
        for names in _GROUPS:
            claims = [(part, said) for part, bar_there in there if (said := _said(bar_there, names))[0] != getattr(_BLANK, names[0])]
            if not claims:
                continue
            first, holds = claims[0]
            for part, said in claims[1:]:
                other = said
                if names is _JUMP and said[0] == holds[0]:  # one says "al Fine" where the other has nothing but the jump
                    holds, other = _filled(holds, said), _filled(said, holds)
                if other != holds:
                    what = f"{part.place} contradicts {first.place} about repeats or jumps: the first of them holds"
                    notes.count(what, f"measure {bar.number}")
            for name, value in zip(names, holds, strict=True):
                setattr(bar, name, value)


def _filled(values: tuple[object, ...], others: tuple[object, ...]) -> tuple[object, ...]:
    return tuple(value or other for value, other in zip(values, others, strict=True))


def _said(bar: WrittenBar, names: tuple[str, ...]) -> tuple[object, ...]:
    return tuple(getattr(bar, name) for name in names)
