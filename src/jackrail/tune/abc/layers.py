"""The voices of an ABC tune laid over each other, and the order of its parts (P:)."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence

from jackrail.tune.model import Quarters
from jackrail.tune.score.fine import cut_at_fine
from jackrail.tune.score.old_endings import part_endings
from jackrail.tune.score.part_order import play_parts
from jackrail.tune.score.playing_out import play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .voice import Voice


def merged(voices: Sequence[Voice], notes: Notes) -> list[WrittenBar]:
    """The bars of the first voice, with the notes of all, bar by bar. voices: finished, each with bars."""
    if not voices:
        return []
    main = voices[0].bars
    length = len(main)
    signs = [_signs(bar) for bar in main] if len(voices) > 1 else []
    for bar in main if len(voices) > 1 else ():
        bar.voices_q[voices[0].name] = bar.length_q
    for voice in voices[1:]:
        for index, bar in enumerate(voice.bars):
            if index >= len(main):
                main.append(bar)
                signs.append(_signs(bar))
                continue
            main[index].voices_q[voice.name] = bar.length_q
            _lay_over(main[index], bar, notes)
            if bar.repeat_end != main[index].repeat_end or bar.ending != main[index].ending or _signs(bar) - signs[index]:
                notes.say(f"repeats of voice {voice.name} differ from those of voice {voices[0].name}, which are followed")
        if len(voice.bars) > length:
            notes.say(f"voice {voice.name} has {len(voice.bars)} bars, voice {voices[0].name} has {length}")
    part_endings(main, notes)
    return main


def part_order(bars: list[WrittenBar], parts: Sequence[tuple[str, int]], labels: str, notes: Notes) -> list[int]:
    """Playing order of `bars`: part by part when `labels` (P: in the header) names them.

    Bars with a Fine inside are cut there. parts: label and first bar of each part marked in the music. A part is played with its
    repeats each time it is named; where it is named several times in a row and has an ending for each, the time chooses the ending
    instead (ABC 2.1 section 4.10).
    """
    later = cut_at_fine(bars, at_note=True)
    if labels and not parts:
        notes.say(f"the order of parts {labels[:40]} names parts that the music does not mark: played as written")
    if not labels or not parts:
        return play_order(bars, notes)
    cuts = [place - number - 1 for number, place in enumerate(later)]  # the bars that were cut, as counted before
    starts = [start + bisect_left(cuts, start) for _, start in parts]
    _say_again(bars, starts)
    spans = dict(zip((label for label, _ in parts), zip(starts, [*starts[1:], len(bars)], strict=True), strict=True))
    if len(spans) < len(parts):
        marked = Counter(label for label, _ in parts)
        twice = next(label for label in spans if marked[label] > 1)
        notes.say(f"part {twice} is marked more than once: the last is played where the order of parts names it")
    for label in dict.fromkeys(labels):
        if label not in spans:
            notes.say(f"part {label} of the order {labels[:40]} is nowhere in the music: left out")
    named = set(labels)
    for label in spans:
        if label not in named:
            what = f"part {label[:20] or '(without a name)'} is not in the order {labels[:40]}: it is not played"
            notes.say(what, "a part is not in the order of parts")
    return play_parts(bars, spans, labels, notes)


def _say_again(bars: Sequence[WrittenBar], starts: Sequence[int]) -> None:
    """Write the tempo in force, in the order of the paper, at the beginning of each part, from wherever it is entered."""
    tempo: list[tuple[Quarters, float]] = []
    begins = set(starts)
    for index, bar in enumerate(bars):
        if index in begins and tempo and not (bar.tempo and not bar.tempo[0][0]):
            bar.tempo = [(Quarters(0), tempo[0][1]), *bar.tempo]
        tempo = bar.tempo[-1:] or tempo


def _signs(bar: WrittenBar) -> set[str]:
    """The signs of a bar that steer where play goes on."""
    signs = {"repeat": bar.repeat_start, "jump": bar.jump, "fine": bar.fine_q is not None}
    marks = {"segno": bar.segno, "coda": bar.coda, "to coda": bar.to_coda}
    return {name for name, there in signs.items() if there} | {name for name, there in marks.items() if there is not None}


def _lay_over(main: WrittenBar, other: WrittenBar, notes: Notes) -> None:
    first = dict(main.chords)
    if any(first.get(onset_q, symbol) != symbol for onset_q, symbol in other.chords):
        notes.count("of different chord symbols over two voices at one moment that of the first voice is played", main)
    main.notes += other.notes
    main.ornaments += other.ornaments
    main.length_q = max(main.length_q, other.length_q)
    main.chords = sorted({**dict(other.chords), **first}.items())
    main.tempo = sorted({**dict(other.tempo), **dict(main.tempo)}.items())
