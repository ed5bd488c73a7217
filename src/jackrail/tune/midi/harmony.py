"""The chords of a MIDI file: written as texts, else told from the accompaniment.

Written: the texts of one kind (text, marker, cue point or lyric) in one track are chord symbols when there are at least two different
ones and nine of ten can be read, leaving aside what stands at the very start and cannot. Bare capitals whose first appearances
run A, B, C are letters of sections and no chords.
Estimated: `estimate_chords` on the notes of all other strands and those under the melody in its own, without strands that only
double the melody (nine of ten of their notes begin with one of its notes of the same pitch class). Where these are lines of single
notes, or seldom spell a whole chord (`inference.spelling`), none are told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jackrail.tune.chord_names import chord_or_silence
from jackrail.tune.inference.beats import Sound
from jackrail.tune.inference.chords import estimate_chords
from jackrail.tune.inference.key import estimate_key
from jackrail.tune.inference.spelling import are_struck_together, are_whole, may_be_broken_chords
from jackrail.tune.model import NO_CHORD, ChordSymbol, Tune
from jackrail.tune.score.written import Notes

from .conductor import Scale
from .events import text_of
from .strands import Strand, listed, names_differ
from .track import CUE, LYRIC, MARKER, TEXT, RawNote, Track

_KINDS = {TEXT: "texts", MARKER: "markers", CUE: "cue points", LYRIC: "lyrics"}
_SHARE = 0.9


@dataclass(frozen=True)
class Accompaniment:
    """What sounds beside the melody: other strands, and the notes left out of its own.

    until: tick when the melody ends. ticks_per_quarter: of the file.
    """

    strands: Sequence[Strand]
    under: Sequence[RawNote]
    until: int
    ticks_per_quarter: int

    @classmethod
    def beside(
        cls, melody: Sequence[RawNote], strands: Sequence[Strand], under: Sequence[RawNote], ticks_per_quarter: int
    ) -> Accompaniment:
        """Of `strands` those that do not only double the melody."""
        heads = {(on, key % 12) for on, _, key in melody}
        own = [one for one in strands if sum((on, key % 12) in heads for on, _, key in one.notes) < _SHARE * len(one.notes)]
        return cls(own, under, max(off for _, off, _ in melody), ticks_per_quarter)

    @property
    def label(self) -> str:
        """Where its notes come from, for a sentence."""
        named = names_differ(self.strands)
        tracks = listed([strand.described(strand.place, named=named or len(self.strands) == 1) for strand in self.strands])
        return " and ".join(filter(None, (tracks, "the notes under the melody" if self.under else "")))

    def without_chords(self, *, struck: bool) -> str:
        """The sentence for notes that spell no chords. struck: whether they are more than lines of single notes."""
        if struck or self.under:
            spell = "spells" if len(self.strands) == 1 and not self.under else "spell"
            return f"{self.label} {spell} hardly any whole chord: no chords are told"
        what = "track" if all(strand.alone for strand in self.strands) else "channel"
        if len(self.strands) == 1:
            return f"the other {what} is a line of single notes: no chords are told from it"
        return f"the other {what}s are lines of single notes: no chords are told from them"

    def sounds(self) -> list[Sound]:
        """What sounds of it before the melody ends, in time order."""
        raw = [note for notes in (self.under, *(strand.notes for strand in self.strands)) for note in notes if note[0] < self.until]
        raw.sort()
        return [(on / self.ticks_per_quarter, off / self.ticks_per_quarter, midi) for on, off, midi in raw]


def estimated_chords(tune: Tune, beside: Accompaniment, notes: Notes) -> tuple[ChordSymbol, ...]:
    """The chords that the accompaniment of a tune spells out, empty when it spells none; either way it is said."""
    sounds = beside.sounds() if tune.bars else []
    if not sounds:
        return ()
    struck = are_struck_together(sounds)
    if struck or may_be_broken_chords(sounds):
        end_q = tune.bars[-1].onset_q + tune.bars[-1].length_q
        told = estimate_chords(sounds, tune.bars, tune.key or estimate_key(tune.notes))
        chords = tuple(chord for chord in told if chord.onset_q < end_q)
        if are_whole(sounds, chords, tune.bars, broken=not struck):
            notes.remark(f"no chord symbols are written: chords are told from {beside.label}")
            return chords
    notes.remark(beside.without_chords(struck=struck))
    return ()


def written_chords(tracks: Sequence[Track], quarters: Scale, tune: Tune, notes: Notes) -> tuple[ChordSymbol, ...]:
    """The chord symbols before the end of a tune among the texts of its file, by the rule above, empty when there are none."""
    for track, kind, texts in _rows(tracks):
        symbols = _symbols(texts)
        end_q = tune.end_q if symbols else 0
        marks = {tick: symbol for tick, symbol in symbols.items() if quarters(tick) < end_q}
        if not marks:
            continue
        if _section_letters(list(dict.fromkeys(marks.values()))):
            notes.say(
                f"the {_KINDS[kind]} of track {track.number} ({', '.join(marks.values())}) are taken as letters of sections, not chords"
            )
            continue
        notes.remark(f"the chords are the {_KINDS[kind]} of track {track.number}")
        left = sum(chord_or_silence(text) is None for _, text in texts)
        if left:
            are = "are no chord symbols and are" if left > 1 else "is no chord symbol and is"
            notes.say(f"{left} of these {_KINDS[kind]} {are} left out")
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
    found = {tick: symbol for tick, text in texts if (symbol := chord_or_silence(text)) is not None}
    asked = [text for tick, text in texts if tick > 0 or chord_or_silence(text) is not None]
    good = sum(chord_or_silence(text) is not None for text in asked)
    if len(set(found.values()) - {NO_CHORD}) < 2 or good < _SHARE * len(asked):
        return {}
    return found


def _section_letters(symbols: Sequence[str]) -> bool:
    """Whether different symbols, in the order in which they first appear, are the first letters of the alphabet."""
    return "".join(symbols) == "ABCDEFG"[: len(symbols)]
