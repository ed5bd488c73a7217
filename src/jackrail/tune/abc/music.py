"""Lines of ABC music, token by token (ABC 2.1 section 4)."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.tune.model import Quarters, beat_length_q
from jackrail.tune.score.playing_out import MAX_BARS
from jackrail.tune.score.written import Notes

from .decorations import SHORTHANDS
from .dialects import Dialect, without_unclosed
from .fields import ACCIDENTALS
from .pitches import Name
from .pitching import octave_of
from .signs import Signs
from .tokens import MAX_NOTE_Q, MAX_PASS, PASSES, TOKEN, note_length_q, pass_numbers
from .voice import Voice

_TUPLET_Q = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}  # the others take 2, in compound metres 3 (ABC 2.1 section 4.13)
_GRACE_NOTE = re.compile(r"(?P<acc>\^\^?|__?|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)[\d/]*")
_GRACE_GROUP = re.compile(r"\[[^\]]*\]?|[^\[]+")  # notes in brackets, or a run of single ones
_BESIDE_GRACE_NOTES = re.compile(r"[^{}\[\]()<>/\-\s.~H-Wh-w]|!")
_KEYS = 128
MOST_GRACE_NOTES = 32
MOST_REST_BARS = 500
"""Most bars of one Z."""
_NOT_IN_A_CHORD = frozenset({"bar", "bar_rest", "broken", "tuplet", "ending", "field", "overlay"})
_GOES_ON = frozenset(":123456789")
_STARTS = re.compile(r":*(?![:|\[\]])")


class MusicReader:
    """Reads music lines into voices. on_field: called for an inline field with its letter, value and place."""

    def __init__(self, notes: Notes, faults: list[Fault], on_field: Callable[[str, str, str], None]) -> None:
        self.notes = notes
        self.faults = faults
        self.on_field = on_field
        self.voice: Voice
        self.dialect = Dialect(notes)
        self.signs = Signs(notes, self._where, self._fault)
        self.shorthands = dict(SHORTHANDS)
        self.unreadable = 0
        self._rest_bars = 0
        self._chord: list[tuple[int, Quarters]] | None = None
        self._chord_names: list[Name] = []
        self._chord_ties: dict[int, Name] = {}
        self._chord_rest_q: Quarters | None = None
        self._chord_signs = 0
        self._opened_at = 0
        self._after_bar = False
        self._acts: dict[str, Callable[[re.Match[str]], None]] = {
            "note": self._note, "bar": self._bar, "quote": self._quote, "rest": self._rest, "bar_rest": self._bar_rest, "tie": self._tie,
            "broken": self._broken, "tuplet": self._tuplet, "grace": self._grace, "ending": self._ending, "field": self._field,
            "open": self._open, "close": self._close, "decoration": self._decoration, "overlay": self._overlay, "short": self._short,
        }  # fmt: skip

    def read(self, line: str, number: int) -> None:
        """Read one line of music, `number` being its line in the file."""
        line = self._plain(line, number)
        self.voice.begin_line(number)
        self.line, self.number, at, end = line, number, 0, len(line)
        if self._after_bar and line[:1] in _GOES_ON:
            at = self._go_on(line)
        acts, match_at = self._acts, TOKEN.match
        while at < end:
            match = match_at(line, at)
            if match is None:
                self._strange(at)
                if line[at] in '"{':
                    return
                at += 1
                continue
            self.at = at
            at = match.end()
            kind = match.lastgroup
            act = acts.get(kind or "")
            if act is not None:
                if self._chord is not None and kind in _NOT_IN_A_CHORD:
                    self._unclosed(f"before {match[0][:12]!r}")
                act(match)
                if kind == "bar" and (passes := PASSES.match(line, at)) is not None:
                    if passes["blank"]:
                        self.notes.count("a number after a bar line and a blank is read as an ending", self._where())
                    self._ending(passes)
                    at = passes.end()
        self._after_bar = line.rstrip(" \t\\`$").endswith(("|", ":", "|]"))
        if self._chord is not None:
            self._unclosed("on its line")

    def _unclosed(self, where: str) -> None:
        """The chord being read has no ]: only its notes and what belongs to them may stand in it (ABC 2.1 section 4.17)."""
        self.at = self._opened_at
        self._fault(f"a chord [ is not closed {where}", hint="close it with ]")
        self._chord = None

    def _plain(self, line: str, number: int) -> str:
        """`line` without what only older or faulty files write."""
        if "+" in line or self.dialect.plus:
            line = self.dialect.modern(line, f"line {number}")
        return without_unclosed(line, number, self.shorthands, self.notes) if "!" in line else line

    def _go_on(self, line: str) -> int:
        """The bar line that ended the line before goes on here with : or the number of an ending; returns where the music begins."""
        self.at = 0
        start = _STARTS.match(line)
        if start is None:
            return 0
        colons = start.end()
        if colons:
            self.voice.bar_line(0, double=True, starts=colons)
        passes = PASSES.match(line, colons)
        if passes is not None:
            self._ending(passes)
        self.notes.count(f"{line[:1]} at the beginning of a line is read with the bar line before it", f"line {self.number}")
        return passes.end() if passes is not None else colons

    def _where(self) -> str:
        return f"line {self.number} column {self.at + 1}"

    def _fault(self, what: str, value: str = "", limit: str = "", hint: str = "") -> None:
        self.faults.append(Fault("syntax", what, self._where(), value, limit, hint))

    def _strange(self, at: int) -> None:
        self.at = at
        if self.line[at] in '"{':
            what, mark = (
                ("a chord symbol or text begins here and is not closed on its line", '"')
                if self.line[at] == '"'
                else ("grace notes begin here and are not closed on their line", "}")
            )
            self._fault(what, repr(self.line[at : at + 12]), hint=f"add the closing {mark}")
            return
        self.unreadable += 1
        self.notes.count(f"the character {self.line[at]!r} cannot be read and is left out", self._where())

    def _note(self, match: re.Match[str]) -> None:
        _, accidental, letter, marks, length = match.group("note", "acc", "letter", "octave", "length")
        octave = octave_of(letter, marks)
        midi = self.voice.pitches.key_of(ACCIDENTALS[accidental] if accidental else None, letter.upper(), octave)
        if not self._in_range(midi, match[0]):
            return
        duration_q = self._length(length)
        if self._chord is not None:
            self._chord.append((midi, duration_q))
            self._chord_names.append((letter.upper(), octave))
            self.voice.waiting.aim(self._chord_signs, midi)
            self._chord_signs = len(self.voice.waiting.ornaments)
        else:
            self.voice.sound([(midi, duration_q)], duration_q)

    def _in_range(self, midi: int, written: str) -> bool:
        if not 0 <= midi < _KEYS:
            self._fault("the note lies outside the MIDI range", repr(written[:20]), "C-1 to G9")
            return False
        return True

    def _length(self, text: str) -> Quarters:
        known = self.voice.lengths.get(text)
        if known is not None:
            return known
        length_q = note_length_q(text, self.voice.unit_q)
        if length_q is None:
            self._fault("a note length cannot be used", repr(text[:12]), f"above 0, at most {MAX_NOTE_Q} quarters", "write A2, A/2, A3/2")
            return self.voice.unit_q
        self.voice.lengths[text] = length_q
        return length_q

    def _rest(self, match: re.Match[str]) -> None:
        duration_q = self._length(match["rest_length"])
        if self._chord is None:
            self.voice.sound([], duration_q)
        elif self._chord_rest_q is None:
            self._chord_rest_q = duration_q

    def _bar_rest(self, match: re.Match[str]) -> None:
        count = int(match["bars"] or 1) if len(match["bars"]) < 4 else 0
        if not 1 <= count <= MOST_REST_BARS:
            self._fault("a rest of that many bars cannot be used", repr(match[0][:12]), f"1 to {MOST_REST_BARS}")
            return
        self._rest_bars += count
        if self._rest_bars > MAX_BARS:
            raise BadInput(
                Fault("range", "the tune has far too many bars of rest", self._where(), limit=f"at most {MAX_BARS} in all voices")
            )
        if self.voice.bar.free:
            self.notes.count("rests of whole bars in free metre are taken as 4 quarters a bar", self.voice.bar)
        for done in range(count):
            if done:
                self.voice.close_bar()
            self.voice.sound([], self.voice.bar.metre_q)

    def _tie(self, _match: re.Match[str]) -> None:
        if self._chord:
            self._chord_ties[len(self._chord) - 1] = self._chord_names[-1]
        elif self._chord is not None or not self.voice.tie():
            self.notes.count("ties that lead to no note of the same pitch are ignored", self._where())

    def _broken(self, match: re.Match[str]) -> None:
        if not self.voice.break_rhythm(match[0]):
            self._fault("a broken rhythm sign has no note before it", repr(match[0][:8]), hint="write A>B or A<B, at most three signs")

    def _tuplet(self, match: re.Match[str]) -> None:
        p = int(match["p"])
        beats, unit = self.voice.metre or (4, 4)
        compound = beat_length_q(beats, unit) != Fraction(4, unit)
        q = int(match["q"] or _TUPLET_Q.get(p, 3 if compound else 2))
        r = int(match["r"] or p)
        if p < 2 or not 1 <= q <= 32 or not 1 <= r <= 64:
            self._fault("a tuplet cannot be read", repr(match[0][:12]), hint="write (3ABc or (3:2:3ABc")
            return
        if self.voice.tuplet[0]:
            self._fault("a tuplet begins inside another", repr(match[0]), hint="finish the first one before")
        self.voice.tuplet = (r, Fraction(q, p))

    def _grace(self, match: re.Match[str]) -> None:
        voice, keys = self.voice, []
        for group in _GRACE_GROUP.findall(match[0]):
            heads = [self._small_key(note) for note in _GRACE_NOTE.finditer(group)]
            if group[0] == "[" and len(heads) > 1:
                self.notes.count("of grace notes that sound together only the highest is kept", self._where())
                heads = [max(heads)]
            keys += heads
        if len(keys) > MOST_GRACE_NOTES:
            self.notes.count(f"of more than {MOST_GRACE_NOTES} grace notes in a row the first are kept", self._where())
            del keys[MOST_GRACE_NOTES:]
        strange = _BESIDE_GRACE_NOTES.search(_GRACE_NOTE.sub("", match[0]))
        if strange is not None:
            self.notes.count(f"the character {strange[0]!r} among grace notes cannot be read and is left out", self._where())
        if keys and all(self._in_range(midi, match[0]) for midi in keys):
            voice.waiting.add("grace", tuple(keys), voice.bar)

    def _small_key(self, note: re.Match[str]) -> int:
        accidental = ACCIDENTALS[note["acc"]] if note["acc"] else None
        return self.voice.pitches.small_key(accidental, note["letter"].upper(), octave_of(note["letter"], note["octave"]))

    def _open(self, _match: re.Match[str]) -> None:
        if self._chord is not None:
            self._fault("a chord [ begins inside another", hint="close the first with ]")
        self._opened_at = self.at
        self._chord, self._chord_names, self._chord_ties, self._chord_rest_q = [], [], {}, None
        self._chord_signs = len(self.voice.waiting.ornaments)

    def _close(self, match: re.Match[str]) -> None:
        chord, self._chord = self._chord, None
        if chord is None:
            self._fault("a chord ends with ] but none begins", hint="add the opening [")
            return
        factor = self._length(match["chord_length"]) / self.voice.unit_q
        if chord:
            self.voice.sound([(midi, duration_q * factor) for midi, duration_q in chord], chord[0][1] * factor)
            if self._chord_ties:
                self.voice.tie(self._chord_ties)
        elif self._chord_rest_q is not None:
            self.voice.sound([], self._chord_rest_q * factor)

    def _bar(self, match: re.Match[str]) -> None:
        body = match["body"]
        if body is None:  # :: is :| and |:, and so is |::|
            colons = match[0].count(":") // 2
            self.voice.bar_line(colons, double=True, starts=colons)
            return
        double = body != "[|]" and ("||" in body or "]" in body or "[" in body)
        self.voice.bar_line(len(match["ends"]), double=double, starts=len(match["starts"]))

    def _ending(self, match: re.Match[str]) -> None:
        if match["passes"] is None and (numbered := PASSES.match(match["named"])) is not None:
            place = f"{match[0][:20]} on line {self.number}"
            self.notes.count("a bracket with a text is read as the ending that its number names", place)
            match = numbered
        if match["passes"] is None:
            place = f"{match[0][:20]} on line {self.number}"
            self.notes.count("a bracket with a text has no number and is played as plain music", place)
            self.voice.close_bar()
            self.signs.text(self.voice, match["named"])
            return
        passes = pass_numbers(match["passes"])
        if passes is None:
            self._fault("an ending cannot be read", repr(match[0][:16]), f"numbers 1 to {MAX_PASS}", "write |1 or [1,3 or [1-3")
        else:
            self.voice.start_ending(passes)

    def _field(self, match: re.Match[str]) -> None:
        self.on_field(match["field_name"], match["value"], self._where())
        self.voice.begin_line(self.number)

    def _quote(self, match: re.Match[str]) -> None:
        for text in re.split(r"[;\n]|\\n", match["text"]):
            self.signs.text(self.voice, text.strip())

    def _decoration(self, match: re.Match[str]) -> None:
        self.signs.decorate(self.voice, match["name"])

    def _short(self, match: re.Match[str]) -> None:
        name = self.shorthands.get(match[0])
        if name is None:
            self._strange(self.at)
        elif name.startswith('"'):
            self.signs.text(self.voice, name.strip('"'))
        else:
            self.signs.decorate(self.voice, name)

    def _overlay(self, match: re.Match[str]) -> None:
        if not self.voice.overlay_start(len(match[0])):
            self._fault(
                "a line of music laid over (&) begins before the first bar", repr(match[0][:12]), hint="write one & for each bar line"
            )
