"""The voices of an ABC tune laid over each other, and the order of its parts (P:)."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle, groupby

from jackrail.tune.model import Quarters
from jackrail.tune.score.fine import cut_at_fine
from jackrail.tune.score.playing_out import check_length, play_order
from jackrail.tune.score.written import Notes, WrittenBar

from .voice import Voice


def merged(voices: Sequence[Voice], notes: Notes) -> list[WrittenBar]:
    """The bars of the first voice, with the notes of all, bar by bar. voices: finished, each with bars."""
    if not voices:
        return []
    main = voices[0].bars
    signs = [_signs(bar) for bar in main] if len(voices) > 1 else []
    for bar in main if len(voices) > 1 else ():
        bar.voices_q[voices[0].name] = bar.length_q
    for voice in voices[1:]:
        for index, bar in enumerate(voice.bars):
            if index == len(main):
                notes.say(f"voice {voice.name} has {len(voice.bars)} bars, voice {voices[0].name} has {len(main)}")
            if index >= len(main):
                main.append(bar)
                signs.append(_signs(bar))
                continue
            main[index].voices_q[voice.name] = bar.length_q
            _lay_over(main[index], bar)
            if bar.repeat_end != main[index].repeat_end or bar.ending != main[index].ending or _signs(bar) - signs[index]:
                notes.say(f"repeats of voice {voice.name} differ from those of voice {voices[0].name}, which are followed")
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
    starts = [_shifted(start, later) for _, start in parts]
    _say_again(bars, starts)
    spans = dict(zip((label for label, _ in parts), zip(starts, [*starts[1:], len(bars)], strict=True), strict=True))
    if len(spans) < len(parts):
        twice = next(label for label in spans if sum(label == other for other, _ in parts) > 1)
        notes.say(f"part {twice} is marked more than once: the last is played where the order of parts names it")
    orders = {label: _part_orders(label, bars[slice(*spans[label])], labels, notes) for label in spans if label in set(labels)}
    order = list(play_order(bars[: starts[0]], notes))
    for label, run in groupby(labels):
        if label not in spans:
            notes.say(f"part {label} of the order {labels[:40]} is nowhere in the music: left out")
            continue
        for ways, _ in zip(cycle(orders[label]), run, strict=False):
            check_length(len(order))
            order += [spans[label][0] + index for index in ways]
    for label in spans:
        if label not in orders:
            notes.say(f"part {label[:20] or '(without a name)'} is not in the order {labels[:40]}: it is not played")
    return order


def _shifted(index: int, later: Sequence[int]) -> int:
    """Where a bar stands once later pieces have been set in at the places `later`."""
    for place in later:
        index += place <= index
    return index


def _say_again(bars: Sequence[WrittenBar], starts: Sequence[int]) -> None:
    """Write key and tempo in force, in the order of the paper, at the beginning of each part, from wherever it is entered."""
    tempo: list[tuple[Quarters, float]] = []
    keys: list[tuple[Quarters, tuple[int, str]]] = []
    for index, bar in enumerate(bars):
        if index in starts:
            bar.tempo = bar.tempo if bar.tempo and not bar.tempo[0][0] else [(Quarters(0), value) for _, value in tempo] + bar.tempo
            bar.keys = bar.keys if bar.keys and not bar.keys[0][0] else [(Quarters(0), value) for _, value in keys] + bar.keys
        tempo, keys = bar.tempo[-1:] or tempo, bar.keys[-1:] or keys


def _part_orders(label: str, part: Sequence[WrittenBar], labels: str, notes: Notes) -> list[list[int]]:
    """Ways to play a part, one for each time that the order names it in a row."""
    endings = frozenset[int]().union(*(bar.ending for bar in part))
    runs = {len(list(run)) for name, run in groupby(labels) if name == label}
    times = max(runs)
    if times > 1 and len(runs) == 1 and endings >= set(range(1, times + 1)):
        notes.say(f"part {label} is named {times} times in a row: each time with its own ending (ABC 2.1 section 4.10)")
        return [[index for index, bar in enumerate(part) if not bar.ending or now in bar.ending] for now in range(1, times + 1)]
    if labels.count(label) > 1 and any(bar.repeat_end for bar in part):
        notes.say(f"part {label} has a repeat sign and stands {labels.count(label)} times in the order of parts: it is repeated each time")
    return [play_order(part, notes)]


def _signs(bar: WrittenBar) -> set[str]:
    """The signs of a bar that steer where play goes on."""
    signs = {"repeat": bar.repeat_start, "jump": bar.jump, "fine": bar.fine_q is not None}
    marks = {"segno": bar.segno, "coda": bar.coda, "to coda": bar.to_coda}
    return {name for name, there in signs.items() if there} | {name for name, there in marks.items() if there is not None}


def _lay_over(main: WrittenBar, other: WrittenBar) -> None:
    main.notes += other.notes
    main.ornaments += other.ornaments
    main.length_q = max(main.length_q, other.length_q)
    main.chords = sorted({**dict(other.chords), **dict(main.chords)}.items())
    main.tempo = sorted({**dict(other.tempo), **dict(main.tempo)}.items())
