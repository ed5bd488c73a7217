"""Whether the voices of an ABC tune agree: how many bars they have, their metre, their key."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.findings import count
from jackrail.pitch import TONIC_FIFTHS
from jackrail.tune.score.written import Notes, WrittenBar

from .voice import Voice


def say_differences(voices: Sequence[Voice], notes: Notes) -> None:
    """Tell where voices that are read together differ from the first. voices: finished.

    A K: or M: field in the music holds for the voice it stands in (ABC 2.1 section 7), also on a line of its own between voices, where
    all may be meant. A voice with more bars than the first is told where they are laid over each other.
    """
    main = voices[0]
    for voice in voices[1:]:
        if len(voice.bars) < len(main.bars):
            bars = count(len(voice.bars), "bar")
            notes.say(f"voice {voice.name} has {bars}, voice {main.name} has {len(main.bars)}: it is silent after that")
        unlike_metre = [_metre(mine) != _metre(bar) for mine, bar in zip(voice.bars, main.bars, strict=False)]
        unlike_key = [None not in pair and pair[0] != pair[1] for pair in zip(_keys(voice.bars), _keys(main.bars), strict=False)]
        for field, name, unlike in (("M:", "metre", unlike_metre), ("K:", "key", unlike_key)):
            if True in unlike:
                what = f"voice {voice.name} is in another {name} than voice {main.name}, for {field} in the music holds for its own voice"
                notes.count(f"{what}, from here on", voice.bars[unlike.index(True)])


def _metre(bar: WrittenBar) -> tuple[int, int, bool]:
    return bar.beats, bar.beat_unit, bar.free


def _keys(bars: Sequence[WrittenBar]) -> list[int | None]:
    """Sharps in force at the end of each bar, as it sounds; None where no tonic is stated."""
    out: list[int | None] = []
    sharps: int | None = None
    for bar in bars:
        if bar.keys:
            sharps, mode = bar.keys[-1][1]
            sharps = sharps if mode in TONIC_FIFTHS else None
        out.append(sharps)
    return out
