"""MusicXML scores (4.0 and before): the tune of one part, with what the other parts say for all (chords, tempo, repeats)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jackrail.faults import BadInput
from jackrail.tune.choice import EVERYTHING, Choice
from jackrail.tune.one_line import one_line
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts
from jackrail.tune.score.playing_out import play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .listing import list_parts
from .part import PartReader
from .parts import Part, choose_line, choose_part, parts_of
from .tempo import settle_tempo_words

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from jackrail.tune.model import Tune

__all__ = ["list_parts", "read_musicxml"]
_ORDER = (
    "repeat_start", "repeat_end", "ending", "ending_start", "segno", "coda", "coda_q", "to_coda", "fine_q", "jump", "jump_label",
    "jump_on", "until", "after_jump",
)  # fmt: skip
_BLANK = WrittenBar(0)
_STEERING = ("dacapo", "dalsegno", "tocoda", "fine", "forward-repeat", "segno", "coda")


def read_musicxml(root: Element, title: str, choice: Choice = EVERYTHING, warnings: tuple[str, ...] = ()) -> Tune:
    """The tune of the part and voice chosen, see `parts`. title: used when the score has none. Raises BadInput."""
    notes = Notes()
    for sentence in warnings:
        notes.say(sentence)
    parts = parts_of(root)
    part = choose_part(parts, choice.part, notes)
    reader = PartReader(part.measures, f"part {part.part_id}", notes, choose_line(part, choice.voice, notes))
    bars = reader.read()
    _say_voices(bars, notes)
    others = [other for other in parts if other is not part]
    if others:
        _borrow_chords(bars, others, notes)
        _borrow_order(part, bars, others, notes)
    if others and not reader.rate:
        _borrow_tempo(bars, others, notes)
    settle_tempo_words(reader)
    find_starts(bars)
    check_lengths(bars, notes)
    written = one_line(root.findtext("work/work-title") or "") or one_line(root.findtext("movement-title") or "")
    return assemble(written or title, bars, play_order(bars, notes), notes)


def _say_voices(bars: list[WrittenBar], notes: Notes) -> None:
    voices = sorted({note.voice for bar in bars for note in bar.notes})
    if len(voices) > 1:
        notes.say(f"voices {', '.join(voices[:8])} are read together; --voice picks one of them")


def _borrow_chords(bars: list[WrittenBar], others: list[Part], notes: Notes) -> None:
    """Chord symbols may stand over another part of the score, such as a guitar's."""
    if any(bar.chords for bar in bars):
        return
    lender = next((other for other in others if any(measure.find("harmony") is not None for measure in other.measures)), None)
    for bar, lent in _lent(lender, bars, "chord symbols were", notes):
        bar.chords = [(onset_q, symbol) for onset_q, symbol in lent.chords if onset_q <= bar.length_q]


def _borrow_tempo(bars: list[WrittenBar], others: list[Part], notes: Notes) -> None:
    """Tempo holds for all parts and is mostly written in one."""
    lender = next((other for other in others if _has_tempo(other)), None)
    for bar, lent in _lent(lender, bars, "the tempo was", notes):
        bar.tempo = [(onset_q, rate) for onset_q, rate in lent.tempo if onset_q <= bar.length_q]


def _borrow_order(part: Part, bars: list[WrittenBar], others: list[Part], notes: Notes) -> None:
    """Repeats and jumps hold for all parts; some programs write endings and jumps in one of them only."""
    richest = max(others, key=lambda other: len(_signs(other)))
    if len(_signs(richest)) <= len(_signs(part)):
        return
    for bar, lent in _lent(richest, bars, "repeats and jumps, of which it has more, were", notes):
        for name in _ORDER:
            if getattr(lent, name) != getattr(_BLANK, name):
                setattr(bar, name, getattr(lent, name))


def _lent(lender: Part | None, bars: list[WrittenBar], what: str, notes: Notes) -> list[tuple[WrittenBar, WrittenBar]]:
    """Each bar with the bar of another part; nothing when there is no such part or it cannot be read. What it says is for the user, too."""
    if lender is None:
        return []
    try:
        lent = PartReader(lender.measures, f"part {lender.part_id}", notes, silent=True).read()
    except BadInput as bad:
        notes.say(f"part {lender.part_id} cannot be read ({bad.faults[0].what}): what it says for all parts is left out")
        return []
    notes.say(f"{what} taken from part {lender.part_id}")
    return list(zip(bars, lent, strict=False))


def _has_tempo(part: Part) -> bool:
    return any(
        next(measure.iter("metronome"), None) is not None or any(sound.get("tempo") is not None for sound in measure.iter("sound"))
        for measure in part.measures
    )


def _signs(part: Part) -> list[str]:
    """Everything that steers the playing order of a part, in short."""
    out = []
    for measure in part.measures:
        out += [repeat.get("direction", "") for repeat in measure.iter("repeat")]
        out += [ending.get("number", "") for ending in measure.iter("ending")]
        for sound in measure.iter("sound"):
            out += [name for name in _STEERING if sound.get(name) is not None]
    return out
