"""The tune in notation: as written above, as played below, only what is worth seeing of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from jackrail.findings import count
from jackrail.setting.naming import interval
from jackrail.work import Work

from .engraving import Page, engrave
from .note_values import Unwritable
from .picture import Key, key_of
from .score_text import ScoreWriter
from .staves import StaffBar, Staves, staves_of
from .svg import tag

MOST_SYSTEMS = 12
_COLUMNS = 26
"""Moments at which something begins, as many as a system holds."""
_MOST_BARS = 5
_PAGE_WIDTH = 2700
"""Of a system of `_COLUMNS`, in tenths of verovio's unit: 30 staves' heights."""


@dataclass(frozen=True)
class Notation:
    """systems: one SVG each, none where `words` say why; shapes: what they draw with, to stand before them; legend: marks that occur."""

    systems: tuple[Markup, ...]
    shapes: Markup
    words: tuple[str, ...]
    legend: tuple[Key, ...]


@dataclass(frozen=True)
class _System:
    """A row of bars, by their places among those of the tune. goes_on: a note sounds on into the next row."""

    bars: tuple[int, ...]
    goes_on: bool


def notation_of(work: Work) -> Notation:
    """The picture in notation; without systems, and with the reason in words, for a tune that cannot be written exactly."""
    try:
        staves = staves_of(work)
        writer = ScoreWriter(work, staves)
        contents = [writer.content(number) for number in range(len(staves.bars))]
        bars = list(_new_bars(staves, contents))
        systems = list(_systems(staves, bars))
        changed = {number for number in bars if contents[number][0] != contents[number][1]}
        shown = _worth_seeing(systems, changed)
        engraved = engrave(writer.score([system.bars for system in shown]), _page_width(staves, shown))
    except Unwritable as why:
        return Notation((), Markup(), (f"There is no picture in notation: {why}.",), ())
    drawn = [_drawn(page, _in_words(work, staves, system, changed)) for page, system in zip(engraved.pages, shown, strict=True)]
    shapes = tag("svg", tag("defs", *engraved.shapes.values()), class_="glyphs", width=0, height=0, aria_hidden="true")
    left = {number for system in systems if system not in shown for number in system.bars}
    words = (_told(work, staves), _left_out(len(staves.bars) - len(bars), left, changed))
    return Notation(tuple(drawn), shapes, tuple(filter(None, words)), tuple(_legend(work)))


def _new_bars(staves: Staves, contents: Sequence[tuple[str, str]]) -> Iterator[int]:
    """The bars in their order but those that are drawn already: the same bar on paper with the same notes. What is tied stays together."""
    seen: set[tuple[object, ...]] = set()
    block: list[int] = []
    for number, staff_bar in enumerate(staves.bars):
        block.append(number)
        if _goes_on(staff_bar):
            continue
        names = [_name(staves.bars[one], contents[one]) for one in block]
        if not all(name in seen for name in names):
            yield from block
        seen.update(names)
        block = []
    yield from block


def _name(staff_bar: StaffBar, content: tuple[str, str]) -> tuple[object, ...]:
    bar = staff_bar.bar
    return bar.number, bar.starts_q, bar.length_q, bar.metre, content


def _goes_on(staff_bar: StaffBar) -> bool:
    """Whether a note of a bar sounds on into the next."""
    end_q = staff_bar.bar.onset_q + staff_bar.bar.length_q
    return any(value.item is not None and value.item.ends_q > end_q for line in staff_bar.lines for value in line[-1:])


def _columns(staff_bar: StaffBar) -> int:
    """How many moments of a bar need room."""
    starts = {value.starts_q for line in staff_bar.lines for value in line}
    return len(starts) + sum(len(value.item.graces) for line in staff_bar.lines for value in line if value.item is not None) // 2


def _systems(staves: Staves, bars: Sequence[int]) -> Iterator[_System]:
    """The bars in rows, broken where a row is full and where bars are left out, where it can be helped never under a tie."""
    row: list[int] = []
    for number in bars:
        full = len(row) == _MOST_BARS or sum(_columns(staves.bars[one]) for one in (*row, number)) > _COLUMNS
        if row and (full or number != row[-1] + 1):
            yield _System(tuple(row), number == row[-1] + 1 and _goes_on(staves.bars[row[-1]]))
            row = []
        row.append(number)
    yield _System(tuple(row), goes_on=False)


def _worth_seeing(systems: Sequence[_System], changed: set[int]) -> list[_System]:
    """The first system and those with changes, with all that is tied to them, as many as `MOST_SYSTEMS`."""
    wanted = {place for place, system in enumerate(systems) if not place or changed & set(system.bars)}
    for place, system in enumerate(systems):
        if system.goes_on and place in wanted:
            wanted.add(place + 1)
    for place in range(len(systems) - 1, 0, -1):
        if systems[place - 1].goes_on and place in wanted:
            wanted.add(place - 1)
    return [systems[place] for place in sorted(wanted)[:MOST_SYSTEMS]]


def _page_width(staves: Staves, systems: Sequence[_System]) -> int:
    """Wide enough for the fullest bar by itself."""
    most = max(_columns(staves.bars[number]) for system in systems for number in system.bars)
    return _PAGE_WIDTH * max(_COLUMNS, most) // _COLUMNS


def _drawn(page: Page, words: str) -> Markup:
    return tag("svg", tag("title", words), page.inside, viewBox=page.view, class_="engraved", role="img", aria_label=words)


def _in_words(work: Work, staves: Staves, system: _System, changed: set[int]) -> str:
    """What a system holds, for who does not see it."""
    bars = [staves.bars[number].bar for number in system.bars]
    values = [value for number in system.bars for line in staves.bars[number].lines for value in line]
    inside = {note for value in values if value.item is not None for note in (*value.item.graces, *value.item.notes, *value.item.after)}
    kinds = Counter(loss.kind for loss in work.setting.losses if loss.index in inside)
    parts = [
        f"{kinds['note-lost'] + kinds['small-lost']} left out",
        f"{kinds['note-folded']} in another octave",
        f"{kinds['note-slid']} slid into",
    ]
    names = f"Bar {bars[0].number}" if len(bars) == 1 else f"Bars {bars[0].number} to {bars[-1].number}"
    told = ", ".join(part for part in parts if not part.startswith("0 "))
    alike = "other chords" if changed & set(system.bars) else "played as written"
    return f"{names} as written and as played: {count(len(inside), 'note')}, {told or alike}"


def _told(work: Work, staves: Staves) -> str:
    shift = work.setting.transpose_semitones
    key = f", moved into the key as played ({interval(shift)}) so that the two compare" if shift else ""
    rounded = " Lengths that notation has no signs for are drawn as the nearest that it has." if staves.rounded else ""
    return f"Above the tune as written{key}; below it as it is played.{rounded}"


def _left_out(again: int, left: set[int], changed: set[int]) -> str:
    """What of the tune is not drawn."""
    parts = ["bars that come again alike are drawn once"] if again else []
    if left & changed:
        parts.append(f"{len(left & changed)} more bars with changes are not drawn")
    if left - changed:
        parts.append(f"{count(len(left - changed), 'bar')} without changes {'is' if len(left - changed) == 1 else 'are'} not drawn")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _legend(work: Work) -> Iterator[Key]:
    """The marks that occur."""
    kinds = {loss.kind for loss in work.setting.losses}
    head = tag("ellipse", cx=16, cy=8, rx=4.5, ry=3.5)
    if kinds & {"note-lost", "small-lost"}:
        brackets = tag("path", d="M9 2q-4 6 0 12M23 2q4 6 0 12", class_="bracket")
        yield key_of(tag("g", head, brackets, class_="lost"), "left out")
    if "note-folded" in kinds:
        text = tag("text", "+8", x=0, y=13, font_size=12)
        yield key_of(
            tag("g", text, tag("ellipse", cx=25, cy=8, rx=4.5, ry=3.5), class_="moved"), "played an octave higher (+8) or lower (-8)"
        )
    if any(note.slid for note in work.setting.notes):
        yield key_of(tag("g", head, class_="slid"), "slid into, not struck")
