"""The pitches of an ABC voice: key signature, accidentals through the bar, ties (ABC 2.1 sections 3.1.14, 4.2, 4.11 and 11.3)."""

from __future__ import annotations

from collections.abc import Callable

from jackrail.pitch import STEP_NAMES, STEPS
from jackrail.tune.score.written import Notes, Place

from .fields import Key
from .pitching import Pitching

_HIGHEST = 127
Name = tuple[str, int]
"""Letter and octave of a note as written, C4 being middle C."""


class Pitches:
    """What a letter sounds as. place: tells where reading stands. propagate: how far an accidental holds, as %%propagate-accidentals."""

    def __init__(self, key: Key, notes: Notes, place: Callable[[], Place]) -> None:
        self.key = key
        self.pitching = Pitching()
        self.drums = False  # whether it has had a clef of drums
        self._lift = 12
        self.propagate = "pitch"
        self._notes = notes
        self._place = place
        # letter, or under propagate-accidentals octave the whole name -> accidental, octave, whether a grace note had it
        self._accidentals: dict[str | Name, tuple[int, int, bool]] = {}
        self._small = False
        self._tied: dict[Name, int] = {}  # alterations that a tie carries to the next note
        self._before: dict[Name, int] = {}  # of the note or chord just read
        self._spelt: dict[Name, int] = {}  # of the one being read

    def new_bar(self) -> None:
        """Accidentals end; what is tied goes on."""
        self._accidentals.clear()

    def move(self, pitching: Pitching) -> None:
        """All parts of what moves the voice, from here on."""
        self.pitching = pitching
        self.drums = self.drums or pitching.drums
        self._lift = 12 * (pitching.octaves + 1) + pitching.semitones

    def let_go(self) -> None:
        """What is tied does not go on: the next note is not played after it."""
        self._tied = {}

    def note_done(self) -> None:
        """All heads of a note, chord or rest are read."""
        self._tied = {}
        self._before = self._spelt
        self._spelt = {}

    def tie(self, only: list[Name] | None) -> None:
        """Notes just read, all or `only` some, carry their alterations to the next note."""
        self._tied = self._before if only is None else {name: self._before[name] for name in only}

    def key_of(self, accidental: int | None, letter: str, octave: int) -> int:
        """MIDI key (unchecked) of a note head: its own accidental, a tie's, the bar's, or the signature's."""
        if accidental is not None:
            self._accidentals[self._reach(letter, octave)] = (accidental, octave, self._small)
            alteration = accidental
        elif (letter, octave) in self._tied:
            alteration = self._tied[letter, octave]
        else:
            alteration = self._carried(letter, octave)
        self._spelt[letter, octave] = alteration
        return self._sounding(letter, octave, alteration)

    def small_key(self, accidental: int | None, letter: str, octave: int) -> int:
        """MIDI key (unchecked) of a grace note: its accidental holds like any other, but no tie starts from it."""
        spelt, self._spelt, self._small = self._spelt, {}, True
        midi = self.key_of(accidental, letter, octave)
        self._spelt, self._small = spelt, False
        return midi

    def neighbours(self, midi: int) -> tuple[int, int] | None:
        """MIDI keys one step of the scale below and above a note being read, as key signature and bar have them."""
        for (letter, octave), alteration in self._spelt.items():
            if self._sounding(letter, octave, alteration) == midi:
                step = STEP_NAMES.index(letter) + 7 * octave
                below, above = (self._in_scale(STEP_NAMES[near % 7], near // 7) for near in (step - 1, step + 1))
                return (below, above) if below >= 0 and above <= _HIGHEST else None
        return None

    def _reach(self, letter: str, octave: int) -> str | Name:
        """What an accidental holds for: the letter in every octave, or in its own alone."""
        return (letter, octave) if self.propagate == "octave" else letter

    def _carried(self, letter: str, octave: int) -> int:
        signature = self.key.alterations.get(letter, 0)
        carried = self._accidentals.get(self._reach(letter, octave)) if self._accidentals else None
        if carried is None or self.propagate == "not":
            return signature
        if carried[1] != octave and carried[0] != signature:
            self._notes.count("an accidental is carried into another octave (the default of ABC 2.1 section 11.3)", self._place())
        if carried[2] and not self._small and carried[0] != signature:
            self._notes.count("the accidental of a grace note holds for notes after it in its bar", self._place())
        return carried[0]

    def _in_scale(self, letter: str, octave: int) -> int:
        alteration = self.key.alterations.get(letter, 0)
        carried = self._accidentals.get(self._reach(letter, octave))
        if carried is not None and self.propagate != "not":
            alteration = carried[0]
        return self._sounding(letter, octave, alteration)

    def _sounding(self, letter: str, octave: int, alteration: int) -> int:
        return 12 * octave + self._lift + STEPS[letter] + alteration
