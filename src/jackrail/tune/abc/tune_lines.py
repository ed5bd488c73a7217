"""The lines of one ABC tune, read into its voices: fields and music (ABC 2.1 sections 3 and 4)."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.tune.model import beat_length_q
from jackrail.tune.score.limits import MAX_FAULTS
from jackrail.tune.score.tempo_words import beats_per_minute
from jackrail.tune.score.written import Notes

from .fields import Key, default_unit, read_key, read_metre, read_parts, read_tempo, read_unit
from .music import MusicReader
from .pitching import FieldError, Pitching, pitching_words, read_pitching
from .prepare import prepared
from .text import TEXT_FIELDS, TuneText, field_of, uncommented
from .text_strings import plain
from .voice import Voice

MAX_SIGN = 30
"""Characters of a decoration's name."""
MAX_TUNE_SIZE = 150_000
"""Characters of one tune; a long one has three thousand."""
MAX_VOICES = 64
_NAMED = re.compile(r'[\w-]+="[^"]*"|\S+')
_NAME = re.compile(r'(?:name|nm)=(?:"([^"]*)"|(\S+))')
_IGNORED = TEXT_FIELDS | frozenset("ETXj")  # what is sorted or printed by others

# Directives of programs that play ABC and change what sounds (from memory; ABC 2.1 section 11 knows none of them) -> what is said.
_NOT_FOLLOWED = {
    re.compile(r"midi r?transpose\b"): "%%MIDI transpose is not followed: the tune sounds as written",
    re.compile(r"transpose\b"): "%%transpose is not followed: the tune sounds as written",
    re.compile(
        r"midi channel 10\b"
    ): "%%MIDI channel 10 (drums) is not followed: the voice is read as notes; --voice reads one voice alone",
    re.compile(r"midi voice .*\bmute\b"): "%%MIDI voice with mute is not followed: the voice is read; --voice reads one voice alone",
}


class TuneLines:
    """Reads the lines of a tune. voices: by their V: id; voice_names: what name= calls them; part_order: of P:, written out.

    parts: label and first bar of each part marked in the music, counted in the voice read last.
    """

    def __init__(self, tune: TuneText, warnings: tuple[str, ...] = ()) -> None:
        self.tune = tune
        self.notes = Notes()
        for sentence in warnings:
            self.notes.say(sentence)
        self.faults: list[Fault] = []
        self.music = MusicReader(self.notes, self.faults, self._field)
        self.metre: tuple[int, int] | None = None
        self.metre_written = False
        self.unit_q: Fraction | None = None
        self.key: Key | None = None
        self.pitching = Pitching()
        self.tempo_text = ""
        self.tempo_doubts: list[tuple[str, str]] = []  # what is wrong with a tempo, and its text and place in short
        self.part_order = ""
        self.propagate = "pitch"
        self.voices: dict[str, Voice] = {}
        self.voice_pitching: dict[str, Pitching] = {}
        self.parts: list[tuple[str, int]] = []
        self.voice_names: dict[str, str] = {}
        self.in_text = False
        self.last_letter = ""
        self._on: dict[str, Callable[[str], None]] = {
            "K": self._key, "M": self._metre, "L": self._unit, "Q": self._tempo, "P": self._part, "V": self._voice, "U": self._user,
            "I": self._instruction, "m": self._macro,
        }  # fmt: skip

    def read(self) -> None:
        """Read all lines. Raises BadInput with every fault found."""
        size = sum(len(line) for _, line in self.tune.lines)
        if size > MAX_TUNE_SIZE:
            where = f"line {self.tune.lines[0][0]}"
            raise BadInput(Fault("range", "the tune is far too long", where, f"{size} characters", f"at most {MAX_TUNE_SIZE}"))
        for number, line in prepared(self.tune.lines, self.notes):
            self._line(line, number)
            if len(self.faults) >= MAX_FAULTS:
                break
        sounding = sum(voice.note_count for voice in self.voices.values())
        if not self.faults and self.key is None:
            self.faults.append(Fault("missing", "the tune has no K: field", hint="end the header with K: and the key, or K:none"))
        if self.music.unreadable > 20 and self.music.unreadable > sounding:
            self.faults.append(Fault("tune", "most of this is no ABC music", value=f"{self.music.unreadable} unreadable characters"))
        if self.faults:
            raise BadInput(self.faults[:MAX_FAULTS])
        self._settle_voices()

    def _settle_voices(self) -> None:
        """All voices read to their ends, in the order of the header; parts begin in all of them."""
        order = [name for name in self.voice_pitching if name in self.voices]
        self.voices = {name: self.voices[name] for name in dict.fromkeys([*order, *self.voices])}
        self.parts = sorted(dict.fromkeys(self.parts), key=lambda part: part[1])
        for voice in self.voices.values():
            voice.finish()
            for _, index in self.parts:
                voice.part_begins(index)

    def _line(self, line: str, number: int) -> None:
        if line.startswith("%"):
            self._directive(line)
            return
        if self.in_text:
            return
        in_body = self.key is not None
        match = field_of(line, in_body=in_body)
        if match is not None:
            self._field(match[1], uncommented(match[2]), f"line {number}")
        elif in_body:
            self._open_voice()
            self.music.read(uncommented(line), number)
        elif re.search(r"[|\]]", line) and self.last_letter != "H":  # H: once went on to the next field (ABC 2.1 section 10.1)
            hint = "end the header with K: and the key, or K:none"
            self.faults.append(Fault("missing", "music begins before the K: field", f"line {number}", repr(line[:20]), hint=hint))
            self.key = Key()  # so that it is said once

    def _directive(self, line: str) -> None:
        words = line[2:].split() if line.startswith("%%") else []
        if not words:
            return
        self.in_text = words[0] == "begintext" or (self.in_text and words[0] != "endtext")
        self._instruction(" ".join(words))

    def _instruction(self, value: str) -> None:
        words = value.split()
        if not words:
            return
        self.music.dialect.instruct(words)
        if words[:1] == ["propagate-accidentals"] and len(words) > 1 and words[1] in {"not", "octave", "pitch"}:
            self.propagate = words[1]
            for voice in self.voices.values():
                voice.pitches.propagate = words[1]
        elif words[0] == "abc-include":
            self.notes.say(f"I:abc-include is not followed: no other file is read ({' '.join(words[1:])[:40]!r})")
        else:
            lower = " ".join(words).lower()
            for directive, said in _NOT_FOLLOWED.items():
                if directive.match(lower):
                    self.notes.say(said)

    def _field(self, letter: str, value: str, place: str) -> None:
        act = self._on.get(letter)
        self.place = place
        self.last_letter = letter
        if act is None:
            if letter == "+":
                self.notes.count("+: goes on with no field and is left out", place)
            elif letter not in _IGNORED:
                self.notes.count(f"the field {letter}: is not known and is left out", place)
            return
        try:
            act(value)
        except FieldError as error:
            self.faults.append(Fault("syntax", f"{letter}: {error}", place, hint=error.hint))
            if letter == "K" and self.key is None:
                self.key = Key()

    def _open_voice(self) -> None:
        """Before music: make sure there is a voice to read it into."""
        if not self.voices:
            self._select(next(iter(self.voice_pitching), "1"))

    def _select(self, name: str) -> None:
        if name not in self.voices:
            unit_q = self.unit_q or default_unit(self.metre)
            voice = Voice(name, unit_q, self.metre, self.key or Key(), self.notes)
            voice.pitches.propagate = self.propagate
            own = self.voice_pitching.get(name, Pitching())
            self._say_both(own, self.pitching, f"the one in V:{name}")
            voice.pitches.move(own.over(self.pitching))
            voice.write_key()
            if not self.voices:
                self._first_voice(voice)
            if len(self.voices) >= MAX_VOICES:
                raise FieldError(f"more than {MAX_VOICES} voices", "give fewer voices")
            self.voices[name] = voice
        self.music.voice = self.voices[name]

    def _first_voice(self, voice: Voice) -> None:
        if not self.metre_written:
            self.notes.say("no metre is written: beats are counted in 4/4")
        if self.tempo_text:
            self._set_tempo(voice, self.tempo_text)

    def _set_tempo(self, voice: Voice, text: str) -> None:
        rate = read_tempo(text, voice.unit_q)
        if rate is None:
            rate = self._words_as_tempo(voice, text.strip().strip('"'))
        if rate is None:
            return
        if "=" not in text and any(sign.isdigit() for sign in text):
            self.notes.remark(f"the outdated tempo {text.strip()!r} is read as unit note lengths a minute (ABC 2.1 section 10)")
        voice.bar.tempo.append((voice.cursor_q, rate))

    def _words_as_tempo(self, voice: Voice, words: str) -> float | None:
        """Quarters a minute of a tempo that is words only, told with the number; None for words that are no tempo."""
        beats = beats_per_minute(words)
        if beats is None:
            if words:
                self.tempo_doubts.append((f"the tempo {words[:40]!r} has no number", repr(words[:40])))
            return None
        beat_q = beat_length_q(*(voice.metre or (4, 4)))
        self.notes.say(f'the tempo "{words[:40]}" has no number: {beats} beats a minute of {_quarters(beat_q)} are taken')
        return float(beats * beat_q)

    @property
    def _here(self) -> Voice | None:
        return self.music.voice if self.voices else None

    def _key(self, value: str) -> None:
        key, pitching = read_key(value)
        if key is not None and key.mode == "bagpipe":
            self.notes.remark("the bagpipe key is played with F sharp and C sharp")
        if pitching is not None:
            self._unknown(pitching)
        if self._here is not None:
            self._key_of_voice(self._here, key, pitching or Pitching())
            return
        self.pitching = (pitching or Pitching()).over(self.pitching)
        if self.key is None and self.unit_q is None:  # of the metre in the header, whatever follows K: (ABC 2.1 section 3.1.7)
            self.unit_q = default_unit(self.metre)
        self.key = key or self.key or Key()

    def _key_of_voice(self, voice: Voice, key: Key | None, pitching: Pitching) -> None:
        self._say_both(self.voice_pitching.get(voice.name, Pitching()), pitching, "the later one, in K:,")
        voice.pitches.move(pitching.over(voice.pitches.pitching))
        if key is not None:
            voice.set_key(key)
        elif pitching.transpose is not None:
            voice.write_key()

    def _unknown(self, pitching: Pitching) -> None:
        for word in pitching.unknown:
            self.notes.say(f"{word} is not followed: the voice sounds as written")

    def _say_both(self, own: Pitching, of_key: Pitching, followed: str) -> None:
        """K: and V: both move a voice: what they do together ABC 2.1 section 4.6 leaves open."""
        for word in own.in_both(of_key):
            self.notes.say(f"{word} stands in K: and in V:, {followed} is followed (ABC 2.1 section 4.6 leaves it open)")

    def _metre(self, value: str) -> None:
        metre = read_metre(value)
        if self._here is None:
            self.metre, self.metre_written = metre, True
        else:
            self._here.set_metre(metre)

    def _unit(self, value: str) -> None:
        if self._here is None:
            self.unit_q = read_unit(value)
        else:
            self._here.set_unit(read_unit(value))

    def _tempo(self, value: str) -> None:
        try:
            read_tempo(value, Fraction(1))
        except FieldError as error:
            self.tempo_doubts.append((f"the tempo on {self.place} {error}", f"{value.strip()[:40]!r} on {self.place}"))
            return
        if self._here is None:
            self.tempo_text = value
        else:
            self._set_tempo(self._here, value)

    def _part(self, value: str) -> None:
        if self.key is None:
            try:
                self.part_order = read_parts(value)
            except FieldError as error:
                self.notes.say(f"the order of parts {error}: the tune is played as written")
        else:
            self._open_voice()
            self.parts.append((value.strip(), self.music.voice.start_part()))
            for voice in self.voices.values():
                voice.used = frozenset()

    def _voice(self, value: str) -> None:
        words = _NAMED.findall(value)
        if not words:
            raise FieldError("a voice without a name", "write V:1")
        name, pitching = words[0], read_pitching(pitching_words(words[1:]))
        self._unknown(pitching)
        called = _NAME.search(value)
        if called is not None:
            self.voice_names[name] = plain(called[1] or called[2] or "").replace("\\n", " ").strip()
        self.voice_pitching[name] = pitching.over(self.voice_pitching.get(name, Pitching()))
        if self.key is None:
            return
        known = name in self.voices
        self._select(name)
        if known:
            self._say_both(pitching, self.pitching, f"the one in V:{name}")
            self.music.voice.pitches.move(pitching.over(self.music.voice.pitches.pitching))
            if pitching.transpose is not None:
                self.music.voice.write_key()

    def _user(self, value: str) -> None:
        letter, _, sign = (part.strip() for part in value.partition("="))
        text = re.fullmatch(r'"[^"]{0,200}"', sign)
        name = text[0] if text else sign.strip("!+").strip()
        if not re.fullmatch(r"[~H-Wh-w]", letter) or not sign or (not text and (len(name) > MAX_SIGN or set(name) & set('!+"'))):
            raise FieldError(f"cannot be read as a symbol of your own: {value.strip()[:40]!r}", "write U: T = !trill!")
        self.music.shorthands[letter] = name

    def _macro(self, _value: str) -> None:
        self.notes.count("a macro inside a line of music is left out, write m: on a line of its own", self.place)


def _quarters(length_q: Fraction) -> str:
    return "one quarter" if length_q == 1 else f"{length_q} quarters"
