"""The voices of an ABC tune laid over each other, and the order of its parts (P:)."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.score.playing_out import check_length, play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .voice import Voice


def merged(voices: Sequence[Voice], notes: Notes) -> list[WrittenBar]:
    """The bars of the first voice, with the notes of all, bar by bar. voices: finished, each with bars."""
    if not voices:
        return []
    main = voices[0].bars
    for voice in voices[1:]:
        for index, bar in enumerate(voice.bars):
            if index == len(main):
                notes.say(f"voice {voice.name} has {len(voice.bars)} bars, voice {voices[0].name} has {len(main)}")
            if index >= len(main):
                main.append(bar)
                continue
            _lay_over(main[index], bar)
            if bar.repeat_end != main[index].repeat_end or bar.ending != main[index].ending:
                notes.say(f"repeats of voice {voice.name} differ from those of voice {voices[0].name}, which are followed")
    return main


def part_order(bars: Sequence[WrittenBar], parts: Sequence[tuple[str, int]], labels: str, notes: Notes) -> list[int]:
    """Playing order of `bars`: part by part when `labels` (P: in the header) names them, each with its repeats.

    parts: label and first bar of each part marked in the music.
    """
    if not labels or not parts:
        return play_order(bars, notes)
    starts = [start for _, start in parts]
    spans = dict(zip((label for label, _ in parts), zip(starts, [*starts[1:], len(bars)], strict=True), strict=True))
    order = list(play_order(bars[: starts[0]], notes))
    for label in labels:
        if label not in spans:
            notes.say(f"part {label} of the order {labels} is nowhere in the music: left out")
            continue
        first, last = spans[label]
        check_length(len(order))
        order += [first + index for index in play_order(bars[first:last], notes)]
    return order


def _lay_over(main: WrittenBar, other: WrittenBar) -> None:
    main.notes += other.notes
    main.ornaments += other.ornaments
    main.length_q = max(main.length_q, other.length_q)
    main.chords = sorted({**dict(other.chords), **dict(main.chords)}.items())
    main.tempo = sorted({**dict(other.tempo), **dict(main.tempo)}.items())
