"""A tune as music: melody, chord symbols, metre, key, tempo, with repeats already played out. Times in quarter notes.

Onsets and lengths are exact fractions of a quarter note, counted from the start of the tune as written: rests before the
first note count, an upbeat starts at 0. Every later stage sees a tune only through these types, whatever notation it came from.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Literal

from jackrail.pitch import TONIC_FIFTHS, Chord, moved_signature, name_on_circle, parse_chord

Quarters = Fraction
DEFAULT_QUARTERS_PER_MINUTE = 120.0
"""Tempo when a file states none: the Standard MIDI File default of 500,000 us a quarter note."""


NO_CHORD = "N.C."
"""The symbol of silence: no chord until the next symbol."""
HarmonySource = Literal["", "written", "estimated", "proposed"]
OrnamentKind = Literal["grace", "after-grace", "trill", "upper-mordent", "lower-mordent", "turn", "inverted-turn", "roll", "slide"]


@dataclass(frozen=True)
class TuneNote:
    """A sounding note: tied notes are one. midi: key 0-127. ornamental: a small note that `embellished` wrote out.

    velocity: how loud, 1 to 127 as MIDI counts it, None where nothing is written. Notes that differ in nothing else are the same music.
    """

    onset_q: Quarters
    duration_q: Quarters
    midi: int
    ornamental: bool = False
    velocity: int | None = field(default=None, compare=False)


@dataclass(frozen=True)
class Ornament:
    """What is written around a main note and kept apart from the melody: grace notes, or a sign such as a trill.

    onset_q, midi: of the main note, which stands among the tune's notes. keys: of "grace" and "after-grace" the MIDI keys of the
    small notes in their order; of a sign the neighbours below and above the main note in the scale.
    """

    onset_q: Quarters
    midi: int
    kind: OrnamentKind
    keys: tuple[int, ...]


@dataclass(frozen=True)
class ChordSymbol:
    """A chord symbol holding from its onset until the next one. symbol: as written, readable by `parse_chord`, or `NO_CHORD`."""

    onset_q: Quarters
    symbol: str

    @property
    def silent(self) -> bool:
        """Whether it says that no chord is to sound."""
        return self.symbol == NO_CHORD

    @property
    def chord(self) -> Chord:
        """The symbol as pitch classes. Raises BadInput for `NO_CHORD`."""
        return parse_chord(self.symbol)


@dataclass(frozen=True)
class TempoMark:
    """From onset_q on, this many quarter notes a minute."""

    onset_q: Quarters
    quarters_per_minute: float


@dataclass(frozen=True)
class Bar:
    """One bar as played out, or a part of one. number: as counted on paper (an upbeat is bar 0); time: 1 for the first playing.

    beats, beat_unit: the metre, as 3 and 4 for 3/4. length_q: what it really holds. starts_q: where in the full bar it
    begins, 0 but for an upbeat and for the second half of a bar that a repeat sign or Fine cuts in two. free: in free metre;
    beats are counted in 4/4 then.
    """

    onset_q: Quarters
    length_q: Quarters
    number: int
    beats: int
    beat_unit: int
    time: int = 1
    starts_q: Quarters = Fraction(0)
    free: bool = False

    @property
    def metre(self) -> str:
        """The metre as text, "6/8"; "none" for free metre."""
        return "none" if self.free else f"{self.beats}/{self.beat_unit}"

    @property
    def downbeat(self) -> bool:
        """Whether it begins on the first beat."""
        return self.starts_q == 0


@dataclass(frozen=True)
class KeyMark:
    """From onset_q on, this many sharps (negative: flats), and the mode as a word ("major", "minor", "dorian"...).

    The modes "none", "explicit" and "bagpipe" have a signature but state no tonic.
    """

    onset_q: Quarters
    sharps: int
    mode: str

    @property
    def tonic_fifths(self) -> int | None:
        """The tonic as fifths above C, None when none is stated."""
        return self.sharps + TONIC_FIFTHS[self.mode] if self.mode in TONIC_FIFTHS else None

    @property
    def minor(self) -> bool:
        """Whether its scale has a minor third: minor, dorian, phrygian and the like."""
        return TONIC_FIFTHS.get(self.mode, 0) >= TONIC_FIFTHS["dorian"]

    def name(self, semitones: int = 0) -> str:
        """Tonic and mode after a move by `semitones`: "A dorian", "Ab major"; "" when no tonic is stated."""
        fifths = self.tonic_fifths
        if fifths is None:
            return ""
        return f"{name_on_circle(fifths + moved_signature(self.sharps, semitones) - self.sharps)} {self.mode}"


@dataclass(frozen=True)
class Tune:
    """A whole tune. notes, chords, tempo, bars, keys, ornaments: each in time order; tempo, bars, keys start at 0 when present.

    pickup_q: length of the upbeat, 0 when the tune starts on its first bar. warnings: what the reader left out or had to assume, one
    sentence each with its place; remarks: what it did where nothing is in doubt. harmony: where the chords come from: "written" in
    the file, "estimated" from its accompaniment, "proposed" by jackrail, "" without chords. key_estimated: the key is told from the
    notes, the file states none.
    """

    title: str
    notes: tuple[TuneNote, ...]
    chords: tuple[ChordSymbol, ...] = ()
    tempo: tuple[TempoMark, ...] = ()
    bars: tuple[Bar, ...] = ()
    keys: tuple[KeyMark, ...] = ()
    pickup_q: Quarters = field(default_factory=Fraction)
    warnings: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    ornaments: tuple[Ornament, ...] = ()
    harmony: HarmonySource = ""
    key_estimated: bool = False

    @property
    def end_q(self) -> Quarters:
        """When the last note or bar ends, in quarter notes."""
        ends = [note.onset_q + note.duration_q for note in self.notes]
        ends += [bar.onset_q + bar.length_q for bar in self.bars]
        return max(ends, default=Fraction(0))

    def bar_at(self, onset_q: Quarters) -> Bar | None:
        """The bar sounding at onset_q, or None for a tune without bars."""
        index = bisect_right(self._bar_starts, float(onset_q)) - 1
        return self.bars[index] if index >= 0 else None

    @property
    def key(self) -> KeyMark | None:
        """The key the tune begins in, None when it states none."""
        return self.keys[0] if self.keys and self.keys[0].tonic_fifths is not None else None

    def sharps_at(self, onset_q: Quarters) -> int:
        """The key signature at onset_q as sharps (negative: flats), 0 for a tune without keys."""
        index = bisect_right(self.keys, onset_q, key=lambda mark: mark.onset_q) - 1
        return self.keys[index].sharps if index >= 0 else 0

    def place(self, onset_q: Quarters) -> str:
        """Bar and beat of a moment as a musician says it: "bar 12 beat 2.5", with "(2nd time)" in a repeat."""
        bar = self.bar_at(onset_q)
        if bar is None:
            return f"quarter {float(onset_q):g}"
        beat = float((bar.starts_q + onset_q - bar.onset_q) / Fraction(4, bar.beat_unit)) + 1
        again = {1: "", 2: " (2nd time)", 3: " (3rd time)"}.get(bar.time, f" ({bar.time}th time)")
        return f"bar {bar.number} beat {beat:.3g}{again}"

    def seconds_at(self, onset_q: Quarters) -> float:
        """The moment onset_q in seconds at the written tempo. The one border between beats and seconds."""
        seconds, since_q, rate = self._clock[bisect_left(self._tempo_starts, float(onset_q))]
        return seconds + float(onset_q - since_q) * 60.0 / rate

    @cached_property
    def _bar_starts(self) -> list[float]:
        """Onsets of the bars: as floats they compare as exactly, and ten times as fast as fractions."""
        return [float(bar.onset_q) for bar in self.bars]

    @cached_property
    def _tempo_starts(self) -> list[float]:
        return [float(mark.onset_q) for mark in self.tempo]

    @cached_property
    def _clock(self) -> list[tuple[float, Quarters, float]]:
        """Second, quarter and tempo at the start and at each tempo mark."""
        clock = [(0.0, Fraction(0), DEFAULT_QUARTERS_PER_MINUTE)]
        for mark in self.tempo:
            seconds, since_q, rate = clock[-1]
            clock.append((seconds + float(mark.onset_q - since_q) * 60.0 / rate, mark.onset_q, mark.quarters_per_minute))
        return clock

    def to_json(self) -> dict[str, object]:
        """The stable JSON of `jackrail read --json`: lists of numbers in quarter notes, see docs/formats.md."""
        return {
            "title": self.title,
            "notes": [[float(n.onset_q), float(n.duration_q), n.midi] for n in self.notes],
            "chords": [[float(c.onset_q), c.symbol] for c in self.chords],
            "pickup_q": float(self.pickup_q),
            "tempo": [[float(t.onset_q), t.quarters_per_minute] for t in self.tempo],
            "keys": [[float(k.onset_q), k.sharps, k.mode] for k in self.keys],
            "bars": [[float(b.onset_q), float(b.length_q), b.number, b.metre, b.time, float(b.starts_q)] for b in self.bars],
            "ornaments": [[float(o.onset_q), o.midi, o.kind, list(o.keys)] for o in self.ornaments],
            "harmony": self.harmony,
            "key_estimated": self.key_estimated,
            "warnings": list(self.warnings),
            "remarks": list(self.remarks),
            **self._velocities(),
        }

    def _velocities(self) -> dict[str, object]:
        """The velocity of each note, None where it has none; nothing at all when no note has one."""
        velocities = [note.velocity for note in self.notes]
        return {"velocities": velocities} if any(velocities) else {}


def beat_length_q(beats: int, beat_unit: int) -> Fraction:
    """Length of the felt beat in quarters: a dotted one in compound metres such as 6/8 or 6/4, else the lower number's."""
    compound = beats % 3 == 0 and beats > 3
    return Fraction(4, beat_unit) * (3 if compound else 1)
