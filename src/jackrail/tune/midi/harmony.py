"""The chords of a MIDI file: written as texts, else told from the accompaniment.

Written: the texts of one kind (text, marker, cue point or lyric) in one track are chord symbols when there are at least two different
ones and nine of ten can be read, leaving aside what stands at the very start and cannot. Bare capitals whose first appearances
run A, B, C are letters of sections and no chords.
Estimated: `estimate_chords` on the notes of all other strands and those under the melody in its own, without strands that only
double the melody (nine of ten of their notes begin with one of its notes of the same pitch class).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jackrail.tune.chord_names import NO_CHORD as NO_CHORD_WORDS
from jackrail.tune.chord_names import readable
from jackrail.tune.inference.chords import estimate_chords
from jackrail.tune.model import NO_CHORD, Bar, ChordSymbol, KeyMark, Quarters, TuneNote
from jackrail.tune.score.written import Notes

from .conductor import Scale
from .events import text_of
from .strands import Strand
from .track import CUE, LYRIC, MARKER, TEXT, RawNote, Track

_KINDS = {TEXT: "texts", MARKER: "markers", CUE: "cue points", LYRIC: "lyrics"}
_SHARE = 0.9
_MOST_NAMED = 6


@dataclass(frozen=True)
class Accompaniment:
    """What sounds beside the melody: other strands, and the notes left out of its own. until: tick when the melody ends."""

    strands: Sequence[Strand]
    under: Sequence[RawNote]
    until: int

    @classmethod
    def beside(cls, melody: Sequence[RawNote], strands: Sequence[Strand], under: Sequence[RawNote]) -> Accompaniment:
        """Of `strands` those that do not only double the melody."""
        heads = {(on, key % 12) for on, _, key in melody}
        own = [one for one in strands if sum((on, key % 12) in heads for on, _, key in one.notes) < _SHARE * len(one.notes)]
        return cls(own, under, max(off for _, off, _ in melody))

    @property
    def label(self) -> str:
        """Where its notes come from, for a sentence."""
        named = ", ".join(strand.label for strand in self.strands[:_MOST_NAMED])
        tracks = f"track{'s' * (len(self.strands) > 1)} {named}" + (" ..." if len(self.strands) > _MOST_NAMED else "")
        return " and ".join([tracks] * bool(self.strands) + ["the notes under the melody"] * bool(self.under))

    def chords(self, quarters: Scale, bars: Sequence[Bar], key: KeyMark | None) -> tuple[ChordSymbol, ...]:
        """What its notes spell out, empty when they are none. Times as `quarters` makes them of ticks."""
        raw = [note for notes in (self.under, *(strand.notes for strand in self.strands)) for note in notes if note[0] < self.until]
        if not raw or not bars:
            return ()
        chords = estimate_chords([TuneNote(quarters(on), quarters(off - on), midi) for on, off, midi in raw], bars, key)
        end_q = bars[-1].onset_q + bars[-1].length_q
        inside = tuple(chord for chord in chords if chord.onset_q < end_q)
        return () if all(chord.silent for chord in inside) else inside


def written_chords(tracks: Sequence[Track], quarters: Scale, end_q: Quarters, notes: Notes) -> tuple[ChordSymbol, ...]:
    """The chord symbols before end_q among the texts of the file, by the rule above, empty when there are none."""
    for track, kind, texts in _rows(tracks):
        marks = {tick: symbol for tick, symbol in _symbols(texts).items() if quarters(tick) < end_q}
        if not marks:
            continue
        if _section_letters(list(dict.fromkeys(marks.values()))):
            notes.say(
                f"the {_KINDS[kind]} of track {track.number} ({', '.join(marks.values())}) are taken as letters of sections, not chords"
            )
            continue
        notes.say(f"the chords are the {_KINDS[kind]} of track {track.number}")
        left = sum(_symbol(text) is None for _, text in texts)
        if left:
            notes.say(f"{left} of these {_KINDS[kind]} are no chord symbols and are left out")
        return tuple(ChordSymbol(quarters(tick), symbol) for tick, symbol in marks.items())
    return ()


def _rows(tracks: Sequence[Track]) -> Iterator[tuple[Track, int, list[tuple[int, str]]]]:
    """The texts of each track and kind."""
    for track in tracks:
        for kind in _KINDS if track.texts else ():
            texts = [(tick, text_of(raw)) for tick, of, raw in track.texts if of == kind]
            yield track, kind, [(tick, text) for tick, text in texts if text]


def _symbols(texts: Sequence[tuple[int, str]]) -> dict[int, str]:
    """Tick -> chord symbol when the texts are chord symbols, else nothing."""
    found = {tick: symbol for tick, text in texts if (symbol := _symbol(text)) is not None}
    asked = [text for tick, text in texts if tick > 0 or _symbol(text) is not None]
    good = sum(_symbol(text) is not None for text in asked)
    if len(set(found.values()) - {NO_CHORD}) < 2 or good < _SHARE * len(asked):
        return {}
    return found


def _symbol(text: str) -> str | None:
    return NO_CHORD if NO_CHORD_WORDS.fullmatch(text) else readable(text)


def _section_letters(symbols: Sequence[str]) -> bool:
    """Whether different symbols, in the order in which they first appear, are the first letters of the alphabet."""
    return "".join(symbols) == "ABCDEFG"[: len(symbols)]
