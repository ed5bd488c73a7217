"""What a caller may ask of a file of music: which tune, part, voice or track, which line of it; and what a file offers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from .model import Quarters

Line = Literal["all", "top"]
OfferKind = Literal["tune", "voice", "track"]


@dataclass(frozen=True)
class Choice:
    """Which music of a file is read, and how. None leaves it to the rule that docs/notation.md states.

    number: X: number in an ABC file of several tunes. part: number (from 1), id or name of a MusicXML part. voice: name of a
    voice of that part, or of an ABC tune. track, channel: of a MIDI file, both from 1. line: "all" keeps notes that sound
    together, "top" only the highest line of them. quantise: how far notes of a MIDI file are moved onto the nearest place of the
    beat's grid, 0 (as played) to 1 (all the way).
    """

    number: int | None = None
    part: str | None = None
    voice: str | None = None
    track: int | None = None
    channel: int | None = None
    line: Line | None = None
    quantise: float | None = None


EVERYTHING = Choice()
"""Nothing asked for: each reader's own rule."""


@dataclass(frozen=True)
class Offer:
    """One thing in a file that can be asked for.

    number, title: X: number and title of an ABC tune, for its voices their place among them and their name; number and name of the
    part (MusicXML) or track (MIDI). options: the words that
    choose it on the command line, such as ("--part", "2", "--voice", "1"). about: key, metre, channel, instrument and the like in
    few words. notes: how many, before repeats are played out, None where that was not counted; lowest, highest: their MIDI keys.
    together: share (0 to 1) of the notes that begin while another of them sounds. chosen: read when nothing is asked for.
    """

    kind: OfferKind
    number: int
    title: str
    options: tuple[str, ...]
    about: str = ""
    notes: int | None = None
    lowest: int | None = None
    highest: int | None = None
    together: float | None = None
    chosen: bool = False


def share_together(spans: Iterable[tuple[Quarters, Quarters]]) -> float:
    """Share (0 to 1) of notes that begin while another sounds, by where each begins and ends; of those that begin together all but one."""
    count, notes, sounding_q = 0, 0, Quarters(0)
    for onset_q, end_q in sorted(spans):
        count += onset_q < sounding_q
        sounding_q = max(sounding_q, end_q)
        notes += 1
    return count / notes if notes else 0.0
