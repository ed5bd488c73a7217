"""The notes of one channel in one track, which is what a melody is chosen among, and what they look like from outside."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter

from jackrail.tune.inference.line import lingers

from .track import DRUMS, RawNote, Track

_FAMILIES = (
    "piano", "chromatic percussion", "organ", "guitar", "bass", "strings", "ensemble", "brass",
    "reed", "pipe", "synth lead", "synth pad", "synth effects", "ethnic", "percussive", "sound effects",
)  # fmt: skip
"""General MIDI level 1 instrument families: eight programs each, in order."""
MOST_NAMED = 5


@dataclass(frozen=True)
class Strand:
    """One channel of one track. channel: from 0; notes: in order of onset and key; program: from 0, None when the file names none."""

    track: Track
    channel: int
    notes: Sequence[RawNote]
    program: int | None
    alone: bool
    """Whether it is the only one of its track."""

    @property
    def family(self) -> str:
        """Its General MIDI family, "" without a program."""
        return "" if self.program is None else _FAMILIES[self.program // 8]

    @property
    def options(self) -> tuple[str, ...]:
        """The words that choose it."""
        track = ("--track", str(self.track.number))
        return track if self.alone else (*track, "--channel", str(self.channel + 1))

    @property
    def place(self) -> str:
        """Where it stands: "track 3", "track 1 channel 2"."""
        return f"track {self.track.number}" + ("" if self.alone else f" channel {self.channel + 1}")

    @property
    def about(self) -> str:
        """Channel and instrument in few words."""
        return f"channel {self.channel + 1}" + ("" if self.program is None else f", program {self.program + 1} ({self.family})")

    def described(self, words: str, *, named: bool) -> str:
        """`words` and what helps to know it by: "track 3 (Fiddle, strings)". named: whether names tell the tracks of the file apart."""
        title = self.track.title if named else ""
        family = self.family if self.family not in title.lower() else ""
        known = ", ".join(filter(None, (title, family)))
        return f"{words} ({known})" if known else words

    @cached_property
    def together(self) -> float:
        """Share of the notes that begin while another of them sounds, not counting what only lingers (`line.lingers`)."""
        count = 0
        longest, until = self.notes[0], 0
        for note in self.notes:
            if note[0] < until and (note[0] == longest[0] or not lingers(longest, note)):
                count += 1
            if note[1] > until:
                longest, until = note, note[1]
        return count / len(self.notes)

    @cached_property
    def sounding(self) -> int:
        """How long any of its notes sounds, in ticks."""
        total, until = 0, 0
        for on, off, _ in self.notes:
            if off > until:
                total += off - max(on, until)
                until = off
        return total

    @property
    def one_by_one(self) -> bool:
        """Whether no note begins before the one before it has ended."""
        return self.sounding == sum([off - on for on, off, _ in self.notes])

    @cached_property
    def beginnings(self) -> int:
        """How many moments there are at which a note begins."""
        return len({on for on, _, _ in self.notes})

    @cached_property
    def mean_key(self) -> float:
        """Mean of its MIDI keys."""
        return sum(key for _, _, key in self.notes) / len(self.notes)


def strands_of(tracks: Sequence[Track]) -> list[Strand]:
    """Every channel with notes of every track but the drums, in the order of the file."""
    anywhere: dict[int, int] = {}
    for track in tracks:
        anywhere = {**track.programs, **anywhere}
    found = []
    for track in tracks:
        channels = sorted(channel for channel in track.notes if channel != DRUMS)
        for channel in channels:
            notes = sorted(track.notes[channel], key=itemgetter(0, 2))
            program = track.programs.get(channel, anywhere.get(channel))
            found.append(Strand(track, channel, notes, program, alone=len(channels) == 1))
    return found


def names_differ(strands: Iterable[Strand]) -> bool:
    """Whether the names of their tracks tell strands apart."""
    return len({strand.track.title for strand in strands}) > 1


def listed(words: Sequence[str]) -> str:
    """Words one after the other for a sentence, at most `MOST_NAMED` of them: "a, b and c", "a, b, c, d, e and 4 more"."""
    shown = [*words[:MOST_NAMED]]
    if len(words) > MOST_NAMED:
        shown.append(f"{len(words) - MOST_NAMED} more")
    return " and ".join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def has_drums(tracks: Iterable[Track]) -> bool:
    """Whether any note is for the drums."""
    return any(DRUMS in track.notes for track in tracks)
