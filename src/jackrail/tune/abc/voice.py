"""One voice of an ABC tune while its line of music is read: pitches, lengths, bars."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from jackrail.pitch import TONIC_FIFTHS, moved_signature
from jackrail.tune.model import Quarters
from jackrail.tune.score.written import Notes, WrittenBar, WrittenNote

from .fields import Key
from .marks import Marks
from .ornaments import Waiting
from .pitches import Name, Pitches

_ONE = Fraction(1)


class Voice:
    """Reading state of one voice. bars: finished bars; bar: the one being filled, at cursor_q."""

    def __init__(self, name: str, unit_q: Quarters, metre: tuple[int, int] | None, key: Key, notes: Notes) -> None:
        self.name = name
        self.set_unit(unit_q)
        self.metre = metre
        self.notes = notes
        self.bars: list[WrittenBar] = []
        self.ending: frozenset[int] = frozenset()
        self.used: frozenset[int] = frozenset()  # passes that the endings in a row so far are for
        self.plays = 0
        self.marks = Marks(notes)
        self.note_count = 0
        self.velocity: int | None = None
        self.tuplet: tuple[int, Quarters] = (0, _ONE)
        self.broken = _ONE
        self.last: tuple[list[WrittenNote], Quarters] | None = None
        self.line = self.line_before = 0  # of the file: being read, and the one before with music of this voice
        self.waiting = Waiting(notes)
        self.ahead: list[tuple[WrittenBar, int]] = []
        self._written_q: Quarters | None = None
        self._partner_q: Quarters | None = None
        self.pitches = Pitches(key, notes, lambda: self.bar)
        self.bar = self._new_bar()

    def _new_bar(self) -> WrittenBar:
        beats, unit = self.metre or (4, 4)
        self.cursor_q = Fraction(0)
        self.longest_q = Fraction(0)
        self.overlay = 0
        return WrittenBar(len(self.bars) + 1, beats, unit, free=self.metre is None, ending=self.ending)

    def sound(self, heads: list[tuple[int, Quarters]], length_q: Quarters) -> None:
        """Add note heads (MIDI key, length before broken rhythm and tuplets) and move on by length_q; no heads is a rest."""
        if self.bar.line != self.line:
            self._on_new_line()
        factor = self.broken
        self._written_q = length_q
        if factor is not _ONE:
            self._end_broken(length_q)
        left, ratio = self.tuplet
        if left:
            factor = factor * ratio
            self.tuplet = (left - 1, ratio)
        if factor is not _ONE:
            heads = [(midi, duration_q * factor) for midi, duration_q in heads]
            length_q = length_q * factor
        if self.marks.waiting:
            self.marks.set_before_note(self.bar, self.cursor_q, first=not self.bars)
        if self.waiting.ornaments:
            self._ornament(heads)
        voice = f"{self.name}&{self.overlay}" if self.overlay else self.name
        written = [WrittenNote(self.cursor_q, duration_q, midi, voice=voice, velocity=self.velocity) for midi, duration_q in heads]
        self.bar.notes += written
        self.note_count += len(written)
        self.last = (written, length_q)
        self.cursor_q += length_q
        self.pitches.note_done()

    def begin_line(self, number: int) -> None:
        """Music of this voice goes on in the line `number` of the file. A jump behind the last bar line belongs to the bar before."""
        if number == self.line:
            return
        self.line_before, self.line = self.line, number
        if self.marks.waiting and self.bars and not self.cursor_q and not self.overlay:
            self.marks.set_at_end(self.bars[-1])

    def _on_new_line(self) -> None:
        """Note the line a bar begins on, or that it goes on from another line at whose end it was full."""
        if not self.bar.line:
            self.bar.line = self.line
        elif self.cursor_q and not self.cursor_q % self.bar.metre_q and not self.bar.free and not self.overlay:
            self.bar.full_at.append(self.line_before)

    def _end_broken(self, length_q: Quarters) -> None:
        self.broken = _ONE
        self._written_q = None  # a third note broken into the second is as undefined
        if length_q != self._partner_q:
            self.notes.count("broken rhythm between notes of unequal length, which ABC 2.1 section 4.4 leaves undefined", self.bar)

    def _ornament(self, heads: list[tuple[int, Quarters]]) -> None:
        """Set the ornaments that wait at the note that begins now; a rest takes none."""
        if heads:
            self.waiting.land(self.bar, self.cursor_q, max(midi for midi, _ in heads), self.pitches.neighbours)
        else:
            self.waiting.trail(self.bar, self._sounding_last())
            self.waiting.leave_out(self.bar)

    def _sounding_last(self) -> WrittenNote | None:
        """The highest head of the note just before the cursor, None after a rest or at the beginning of a bar."""
        if self.last is None or not self.last[0] or not self.bar.notes or self.bar.notes[-1] is not self.last[0][-1]:
            return None
        return max(self.last[0], key=lambda note: note.midi)

    def tie(self, only: dict[int, Name] | None = None) -> bool:
        """Tie the last note or chord to the next; False when there is none.

        only: of a chord, the place and name (letter, octave) of each note that is tied.
        """
        if self.last is None or not self.last[0]:
            return False
        for index, note in enumerate(self.last[0]):
            if only is None or index in only:
                note.tied = True
        self.pitches.tie(None if only is None else list(only.values()))
        return True

    def break_rhythm(self, signs: str) -> bool:
        """Apply > or <, doubled or trebled, to the last note and the next; False when the bar has no last note."""
        if self.last is None or not self.cursor_q or len(set(signs)) != 1 or len(signs) > 3:
            return False
        short = Fraction(1, 2 ** len(signs))
        mine, self.broken = (2 - short, short) if signs[0] == ">" else (short, 2 - short)
        written, length_q = self.last
        for note in written:
            note.duration_q *= mine
        self.cursor_q += length_q * (mine - 1)
        self._partner_q = self._written_q
        self.last = None
        return True

    def overlay_start(self, count: int) -> bool:
        """`count` signs & in a row: go back over as many bar lines for one more line of music (ABC 2.1 section 7.4).

        In the middle of a bar the first leads to its beginning. False when there are not so many bars.
        """
        self.longest_q = max(self.longest_q, self.cursor_q)
        back = count - 1 if self.longest_q else count
        if back > len(self.bars):
            return False
        self.waiting.trail(self.bar, self._sounding_last())
        self._break_off(" before a line of music laid over (&)", self.bar)
        overlay = self.overlay + 1
        if back:
            self.bar.length_q = self.longest_q
            again = [(bar, overlay) for bar in self.bars[-back:]]
            self.ahead = [*again, (self.bar, overlay if self.longest_q else 0), *self.ahead]
            del self.bars[-back:]
            self.bar = self._next_bar()
        self.cursor_q = Fraction(0)
        self.overlay = overlay
        self.pitches.new_bar()
        return True

    def _next_bar(self) -> WrittenBar:
        """A new bar, or while an overlay of several bars is read, the next of those."""
        if not self.ahead:
            return self._new_bar()
        bar, self.overlay = self.ahead.pop(0)
        self.cursor_q = Fraction(0)
        self.longest_q = bar.length_q
        return bar

    def _break_off(self, where: str, bar: WrittenBar) -> None:
        """Nothing goes on from the last note: a broken rhythm or tuplet begun is told."""
        if self.broken is not _ONE:
            self.notes.count(f"broken rhythm lacks its second note{where}", bar)
        if self.tuplet[0]:
            self.notes.count(f"a tuplet lacks its last notes{where}", bar)
        self.broken, self.tuplet, self.last = _ONE, (0, _ONE), None

    def set_unit(self, unit_q: Quarters) -> None:
        """A new unit note length. lengths: note lengths met since, by how they are written."""
        self.unit_q = unit_q
        self.lengths: dict[str, Quarters] = {"": unit_q}

    def set_metre(self, metre: tuple[int, int] | None) -> None:
        """A new metre, from this bar on when nothing of it sounds yet, else from the next."""
        self.metre = metre
        if not self.cursor_q:
            self.bar.beats, self.bar.beat_unit = metre or (4, 4)
            self.bar.free = metre is None

    def set_key(self, key: Key) -> None:
        """A new key signature from here on."""
        self.pitches.key = key
        self.pitches.new_bar()
        self.write_key()

    def write_key(self) -> None:
        """Record the key signature in force, as it sounds."""
        key = self.pitches.key
        sharps = moved_signature(key.sharps, self.pitches.pitching.semitones) if key.mode in TONIC_FIFTHS else 0
        self.bar.keys.append((self.cursor_q, (sharps, key.mode)))

    def close_bar(self, *, line: bool = True) -> None:
        """End the bar being filled, if anything of it has been read. line: with a bar line, up to which accidentals hold."""
        length_q = max(self.cursor_q, self.longest_q)
        if self.waiting.ornaments:
            self.waiting.trail(self.bar, self._sounding_last())
        if not length_q:
            return
        if not self.bar.ending:
            self.used = frozenset()
        self.bar.length_q = length_q
        self.bar.settle_chords(self.notes, self.bar)
        self.bars.append(self.bar)
        self.bar = self._next_bar()
        if line:
            self.pitches.new_bar()

    def bar_line(self, ends: int, *, double: bool, starts: int) -> None:
        """A bar line with `ends` colons before and `starts` after it; double: it closes a section."""
        if self.broken is not _ONE:
            self.notes.count("broken rhythm goes on over a bar line", self.bar)
        if self.tuplet[0]:
            self.notes.count("a tuplet goes on over a bar line", self.bar)
        self.close_bar()
        if self.marks.waiting and self.bars:
            self.marks.set_at_end(self.bars[-1])
        if ends and self.bars and self.plays > ends + 1:
            self.notes.count(f"a repeat begins with more dots than it ends and is played {self.plays} times", self.bars[-1])
        if ends and self.bars:
            self.bars[-1].repeat_end = max(self.bars[-1].repeat_end, ends + 1, self.plays)
            self.plays = 0
        elif ends:
            self.notes.say("a repeat sign closes before the first note: ignored")
        if double or ends or starts:
            self.ending = frozenset()
            self.bar.ending, self.bar.ending_start = frozenset(), False
            self.bar.section_start = True
        if starts:
            self.bar.repeat_start = True
            self.plays = starts + 1 if starts > 1 else 0

    def start_ending(self, passes: frozenset[int]) -> None:
        """A bracket for some passes begins here. It is no bar line, but what an earlier bracket ends with does not lead to it."""
        self.close_bar(line=False)
        if self.bars and self.bars[-1].ending:
            self.pitches.let_go()
        if 1 in passes and self.used - {1}:
            self.used = frozenset()  # a new repeat, as old books write it: the engine says where it begins
        again = passes & self.used
        if again:
            self.notes.count(f"two endings are for pass {min(again)}, check their numbers", self.bar)
        self.used |= passes
        self.ending = self.bar.ending = passes
        self.bar.ending_start = True

    def start_part(self) -> int:
        """A P: field in the music: a part begins here, an ending is over (ABC 2.1 section 4.10). The number of bars before it."""
        self.close_bar(line=False)
        self.ending = self.bar.ending = frozenset()
        self.bar.section_start, self.bar.ending_start = True, False
        return len(self.bars)

    def part_begins(self, index: int) -> None:
        """Of a finished voice: a part, perhaps marked in another voice, begins with the bar `index`."""
        if index < len(self.bars):
            self.bars[index].section_start = True
        while index < len(self.bars) and self.bars[index].ending and not self.bars[index].ending_start:
            self.bars[index].ending = frozenset()
            index += 1

    def silence(self) -> None:
        """Take its notes out of its bars: another voice was asked for."""
        for bar in self.bars:
            bar.notes, bar.ornaments = [], []

    def finish(self) -> list[WrittenBar]:
        """All bars, the last closed, signs written after the last bar line set on it."""
        while self.ahead:
            self.close_bar()
        self.close_bar()
        last = self.bars[-1] if self.bars else self.bar
        self.waiting.leave_out(last)
        self._break_off("", last)
        if self.bars:
            self.marks.set_on(last, last.length_q)
            self.marks.settle(self.bars)
        return self.bars

    def number_like(self, bars: Sequence[WrittenBar]) -> None:
        """Number its bars as those of the tune."""
        for bar, numbered in zip(self.bars, bars, strict=False):
            bar.number = numbered.number
