"""Music as written, before repeats are played out: what a notation reader hands to `playing_out` and `assemble`."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from jackrail.findings import count
from jackrail.tune.model import OrnamentKind, Quarters
from jackrail.tune.one_line import one_line

Jump = Literal["", "capo", "segno"]
Until = Literal["", "fine", "coda"]


@dataclass(slots=True)
class WrittenNote:
    """One note head. onset_q: from the start of its bar. tied: held into the next note of its pitch and voice. velocity: see `TuneNote`."""

    onset_q: Quarters
    duration_q: Quarters
    midi: int
    tied: bool = False
    voice: str = ""
    velocity: int | None = None


@dataclass(slots=True)
class WrittenOrnament:
    """An `Ornament` at the main note `midi` that stands at onset_q of its bar."""

    onset_q: Quarters
    midi: int
    kind: OrnamentKind
    keys: tuple[int, ...]


@dataclass(slots=True)
class WrittenBar:
    """One bar on paper, with the signs at its ends.

    chords, tempo, keys: (onset in the bar, value) in time order; a key is (sharps, mode). free: its length is not to be
    judged by the metre. implicit: said to be part of a bar, such as an upbeat. starts_q: where in the full bar it begins, see
    `bar_lengths.find_starts`. section_start: a double bar stands at its
    left. repeat_end: times its section is played when a repeat sign stands at its right, else 0. ending: the passes it is
    for, empty for all. fine_q, coda_q, to_coda_q: where those signs stand, None: at
    the end. jump_on: the passes of the bar after which its jump is taken, empty for
    the last. after_jump: the repeat that ends here is taken again after a jump. voices_q: the length of each voice, for
    notations that write voices apart. line: the line of the file it begins on, 0 when that tells nothing. full_at: lines at whose ends
    it was full, yet went on. cut: Fine stands inside the bar and ends this piece of it.
    """

    number: int
    beats: int = 4
    beat_unit: int = 4
    length_q: Quarters = field(default_factory=Fraction)
    free: bool = False
    implicit: bool = False
    starts_q: Quarters = field(default_factory=Fraction)
    notes: list[WrittenNote] = field(default_factory=list)
    ornaments: list[WrittenOrnament] = field(default_factory=list)
    chords: list[tuple[Quarters, str]] = field(default_factory=list)
    tempo: list[tuple[Quarters, float]] = field(default_factory=list)
    keys: list[tuple[Quarters, tuple[int, str]]] = field(default_factory=list)
    section_start: bool = False
    repeat_start: bool = False
    repeat_end: int = 0
    ending: frozenset[int] = frozenset()
    ending_start: bool = False
    segno: str | None = None
    coda: str | None = None
    coda_q: Quarters = field(default_factory=Fraction)
    to_coda: str | None = None
    to_coda_q: Quarters | None = None
    fine_q: Quarters | None = None
    jump: Jump = ""
    jump_label: str = ""
    jump_on: frozenset[int] = frozenset()
    until: Until = ""
    after_jump: bool = False
    voices_q: dict[str, Quarters] = field(default_factory=dict)
    line: int = 0
    full_at: list[int] = field(default_factory=list)
    cut: bool = False

    @property
    def place(self) -> str:
        """The bar as a user finds it: "bar 12", with its line where that is known."""
        return f"bar {self.number} (line {self.line})" if self.line else f"bar {self.number}"

    @property
    def jump_sign(self) -> str:
        """The name of its jump."""
        return "D.C." if self.jump == "capo" else "D.S."

    @property
    def metre_q(self) -> Quarters:
        """Length of a full bar of its metre."""
        return Fraction(4 * self.beats, self.beat_unit)

    @property
    def short(self) -> bool:
        """Whether it holds less than its metre asks for."""
        return not self.free and self.length_q < self.metre_q

    def settle_chords(self, notes: Notes, place: Place) -> None:
        """Put the chord symbols in time order and keep the first of several that stand at one moment."""
        firsts: dict[Quarters, str] = {}
        for onset_q, symbol in sorted(self.chords, key=lambda chord: chord[0]):
            if firsts.setdefault(onset_q, symbol) != symbol:
                notes.count("of several chord symbols at one moment the first is played", place)
        self.chords = list(firsts.items())


Place = str | WrittenBar
_MOST_CHARACTERS = 400
_MOST_PLACES = 4
_MOST_SENTENCES = 100
_JUMP_WORDS = re.compile(r"(d\.?\s?c\b|da\s?capo)|(d\.?\s?s\b|dal\s?segno)", re.IGNORECASE)
_UNTIL_WORDS = re.compile(r"al+a?\s?(fine|coda)", re.IGNORECASE)
_TO_CODA_WORDS = re.compile(r"(to|da|al)\s?coda", re.IGNORECASE)


def mark_words(bar: WrittenBar, text: str, onset_q: Quarters) -> bool:
    """Set on `bar` the sign that words such as "D.C. al Fine", "To Coda", "Fine" stand for; False if they are none."""
    words = text.strip().strip(".").replace(". ", ".")
    jump = _JUMP_WORDS.match(words)
    if jump is not None:
        until = _UNTIL_WORDS.search(words)
        bar.jump = "capo" if jump[1] else "segno"
        bar.until = "" if until is None else "fine" if until[1].lower() == "fine" else "coda"
    elif _TO_CODA_WORDS.fullmatch(words):
        bar.to_coda, bar.to_coda_q = "", onset_q
    elif words.lower() == "fine":
        bar.fine_q = onset_q
    elif words.lower() == "coda":
        bar.coda, bar.coda_q = "", onset_q
    elif words.lower() == "segno":
        bar.segno = ""
    else:
        return False
    return True


class Notes:
    """What a reader wants to tell its user: sentences, each once, and counted left-outs as one sentence each.

    A warning says that what is read may differ from what is meant. A remark says what was done where nothing is in doubt.
    no_tempo: what is said of a tune without a tempo, before what is taken instead.
    """

    def __init__(self) -> None:
        self.no_tempo = "no tempo is written"
        self._sentences: dict[str, bool] = {}
        self._counts: dict[str, tuple[bool, dict[str | int, Place]]] = {}
        self._alike: dict[str, set[str]] = {}

    def say(self, sentence: str, alike: str = "") -> None:
        """Add a warning unless it is there already.

        alike: what all of its kind say; after the first few of them the others are counted under it.
        """
        if alike:
            others = self._alike.setdefault(alike, set())
            others.add(sentence)
            if len(others) > _MOST_PLACES:
                return
        self._sentences[sentence] = False

    def remark(self, sentence: str) -> None:
        """Add a remark unless it is there already."""
        self._sentences.setdefault(sentence, True)

    def count(self, what: str, place: Place, *, remark: bool = False) -> None:
        """Add one more of `what` ("grace notes are left out") seen at `place`; a bar is named by the number it has in the end."""
        self._counts.setdefault(what, (remark, {}))[1][place if isinstance(place, str) else id(place)] = place

    def sentences(self) -> tuple[str, ...]:
        """All warnings, counted ones last, with the places of the first few."""
        return self._told(remarks=False)

    def remarks(self) -> tuple[str, ...]:
        """All remarks, in the same form."""
        return self._told(remarks=True)

    def _told(self, *, remarks: bool) -> tuple[str, ...]:
        told = [sentence for sentence, remark in self._sentences.items() if remark == remarks]
        for alike, sentences in self._alike.items():
            rest = len(sentences) - _MOST_PLACES
            if rest > 0 and not remarks:
                told.append(f"{alike}: {count(rest, 'more time')}")
        for what, (remark, places) in self._counts.items():
            if remark == remarks:
                named = list(dict.fromkeys(place if isinstance(place, str) else place.place for place in places.values()))
                rest = len(named) - _MOST_PLACES
                more = f" and {count(rest, 'more place')}" if rest > 0 else ""
                told.append(f"{what}: {', '.join(named[:_MOST_PLACES])}{more}")
        if len(told) > _MOST_SENTENCES:
            told = [*told[:_MOST_SENTENCES], f"{len(told) - _MOST_SENTENCES} more things of this kind are not told one by one"]
        return tuple(one_line(sentence, _MOST_CHARACTERS) for sentence in told)
