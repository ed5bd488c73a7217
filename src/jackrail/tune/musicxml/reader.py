"""MusicXML scores (4.0 and before): the tune of one part, with what the other parts say for all (chords, tempo, repeats)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jackrail.tune.choice import EVERYTHING, Choice
from jackrail.tune.one_line import one_line
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts
from jackrail.tune.score.fine import cut_at_fine
from jackrail.tune.score.playing_out import play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .form import read_with_form
from .lent_chords import share_chords
from .listing import list_parts
from .parts import Part, choose_line, choose_part, parts_of

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from jackrail.tune.model import Tune

__all__ = ["list_parts", "read_musicxml"]


def read_musicxml(root: Element, title: str, choice: Choice = EVERYTHING, warnings: tuple[str, ...] = ()) -> Tune:
    """The tune of the part and voice chosen, see `parts`. title: used when the score has none. Raises BadInput."""
    notes = Notes()
    for sentence in warnings:
        notes.say(sentence)
    parts = parts_of(root)
    part = choose_part(parts, choice.part, notes)
    _say_length(part, parts, notes)
    bars = read_with_form(part, parts, choose_line(part, choice.voice, notes), notes).bars
    _say_voices(bars, choice, notes)
    share_chords(bars, part, parts, notes)
    find_starts(bars)
    check_lengths(bars, notes)
    cut_at_fine(bars)
    written = one_line(root.findtext("work/work-title") or "") or one_line(root.findtext("movement-title") or "")
    return assemble(written or title, bars, play_order(bars, notes), notes)


def _say_length(part: Part, parts: list[Part], notes: Notes) -> None:
    longest = max(parts, key=lambda other: len(other.measures))
    if len(part.measures) < len(longest.measures):
        notes.say(f"{part.place} is shorter than {longest.place}: it ends after measure {part.measures[-1].get('number', '?')[:12]}")


def _say_voices(bars: list[WrittenBar], choice: Choice, notes: Notes) -> None:
    voices = sorted({note.voice for bar in bars for note in bar.notes})
    if len(voices) > 1:
        named = ", ".join(voices[:8])
        more = "" if choice.line == "top" else ", --line top the highest line"
        notes.say(f"voices {named} are read together; --voice picks one of them{more}")
