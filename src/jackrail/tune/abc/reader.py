"""One ABC tune (ABC 2.1): its fields and voices."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from fractions import Fraction

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import EVERYTHING, Choice, Offer
from jackrail.tune.model import Tune
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts, number_bars
from jackrail.tune.score.written import Notes

from .fields import FieldError, Key, Pitching, default_unit, read_key, read_metre, read_parts, read_pitching, read_tempo, read_unit
from .layers import merged, part_order
from .music import MusicReader
from .text import TuneText, uncommented
from .voice import Voice

_FIELD = re.compile(r"([A-Za-z+]):(.*)")
_MUSIC_LETTER = re.compile(r"[A-Ga-g]:+\|")
MAX_FAULTS = 20
MAX_SIGN = 30
"""Characters of a decoration's name."""
MAX_TUNE_SIZE = 300_000
"""Characters of one tune; a long one has three thousand."""


def list_abc(tunes: Sequence[TuneText]) -> list[Offer]:
    """Each tune of a file."""
    first = tunes[0]
    return [Offer("tune", tune.number, tune.title, ("--number", str(tune.number)), chosen=tune is first) for tune in tunes]


def read_abc(tune: TuneText, title: str = "", warnings: tuple[str, ...] = (), choice: Choice = EVERYTHING) -> Tune:  # noqa: ARG001
    """The tune of one block of lines. title: used when it has none. Raises BadInput with all its faults; each names its line."""
    size = sum(len(line) for _, line in tune.lines)
    if size > MAX_TUNE_SIZE:
        raise BadInput(
            Fault("range", "the tune is far too long", f"line {tune.lines[0][0]}", f"{size} characters", f"at most {MAX_TUNE_SIZE}")
        )
    return _TuneReader(tune, title, warnings).read()


class _TuneReader:
    def __init__(self, tune: TuneText, title: str, warnings: tuple[str, ...]) -> None:
        self.tune = tune
        self.title = title
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
        self.part_order = ""
        self.propagate = "pitch"
        self.voices: dict[str, Voice] = {}
        self.voice_words: dict[str, list[str]] = {}
        self.in_text = False
        self._on: dict[str, Callable[[str], None]] = {
            "K": self._key, "M": self._metre, "L": self._unit, "Q": self._tempo, "P": self._part, "V": self._voice, "U": self._user,
            "I": self._instruction, "m": self._macro, "s": self._symbols,
        }  # fmt: skip

    def read(self) -> Tune:
        for number, line in self.tune.lines:
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
        heard = [name for name, voice in self.voices.items() if voice.note_count]
        if len(heard) > 1:
            self.notes.say(f"{len(heard)} voices are read together as one melody: {', '.join(heard[:8])}")
        bars = merged(list(self.voices.values()), self.notes)
        if not bars:
            raise BadInput(Fault("tune", "the tune has a header but no music", hint="is the file cut short, or an empty line after K:?"))
        find_starts(bars)
        number_bars(bars)
        check_lengths(bars, self.notes)
        if self.tune.stray:
            self.notes.say(f"music on line {self.tune.stray} follows an empty line and belongs to no tune: left out")
        order = part_order(bars, next(iter(self.voices.values())).parts, self.part_order, self.notes)
        return assemble(self.tune.title or self.title, bars, order, self.notes)

    def _line(self, line: str, number: int) -> None:
        if line.startswith("%"):
            self._directive(line)
            return
        if self.in_text:
            return
        match = _FIELD.match(line)
        in_body = self.key is not None
        if match is not None and not (in_body and (_MUSIC_LETTER.match(line) or match[1] in "Ee")):
            self._field(match[1], uncommented(match[2]), f"line {number}")
        elif in_body:
            self._open_voice()
            self.music.read(uncommented(line), number)
        elif re.search(r"[|\]]", line):
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
        if words[:1] == ["propagate-accidentals"] and len(words) > 1 and words[1] in {"not", "octave", "pitch"}:
            self.propagate = words[1]
            for voice in self.voices.values():
                voice.propagate = words[1]
        elif [word.lower() for word in words[:2]] == ["midi", "transpose"]:
            self.notes.say("%%MIDI transpose is not followed: the tune sounds as written")

    def _field(self, letter: str, value: str, place: str) -> None:
        act = self._on.get(letter)
        self.place = place
        try:
            if act is not None:
                act(value)
        except FieldError as error:
            self.faults.append(Fault("syntax", f"{letter}: {error}", place))
            if letter == "K" and self.key is None:
                self.key = Key()

    def _open_voice(self) -> None:
        """Before music: make sure there is a voice to read it into."""
        if not self.voices:
            self._select("1")

    def _select(self, name: str) -> None:
        if name not in self.voices:
            unit_q = self.unit_q or default_unit(self.metre)
            voice = Voice(name, unit_q, self.metre, self.key or Key(), self.notes)
            voice.propagate = self.propagate
            voice.pitching = Pitching(self.pitching.octaves, self.pitching.semitones)
            self._pitch(voice, self.voice_words.get(name, []))
            if not self.voices:
                self._first_voice(voice)
            if len(self.voices) >= 64:
                raise FieldError("more than 64 voices")
            self.voices[name] = voice
        self.music.voice = self.voices[name]

    def _first_voice(self, voice: Voice) -> None:
        voice.write_key()
        if not self.metre_written:
            self.notes.say("no metre is written: beats are counted in 4/4")
        if self.tempo_text:
            self._set_tempo(voice, self.tempo_text)

    def _set_tempo(self, voice: Voice, text: str) -> None:
        rate = read_tempo(text, voice.unit_q)
        if rate is None:
            self.notes.say(f"the tempo {text.strip()!r} has no number and is left out")
            return
        if "=" not in text:
            self.notes.say(f"the outdated tempo {text.strip()!r} is read as unit note lengths a minute (ABC 2.1 section 10)")
        voice.bar.tempo.append((voice.cursor_q, rate))

    @property
    def _here(self) -> Voice | None:
        return self.music.voice if self.voices else None

    def _key(self, value: str) -> None:
        key, pitching = read_key(value)
        if key is not None and key.mode == "bagpipe":
            self.notes.say("the bagpipe key is played with F sharp and C sharp")
        if pitching is not None:
            self._unknown(pitching)
            target = self._here.pitching if self._here else self.pitching
            target.octaves, target.semitones = pitching.octaves, pitching.semitones
        if self._here is None:
            self.key = key or self.key or Key()
        elif key is not None:
            self._here.set_key(key)

    def _unknown(self, pitching: Pitching) -> None:
        for word in pitching.unknown:
            self.notes.say(f"{word} is not followed: the voice sounds as written")

    def _pitch(self, voice: Voice, words: list[str]) -> None:
        pitching = read_pitching(words)
        self._unknown(pitching)
        voice.pitching.octaves += pitching.octaves
        voice.pitching.semitones += pitching.semitones

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
            self._here.unit_q = read_unit(value)

    def _tempo(self, value: str) -> None:
        if self._here is None:
            read_tempo(value, Fraction(1))  # refused here, where its line is known
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
            self.music.voice.start_part(value.strip())

    def _voice(self, value: str) -> None:
        words = re.findall(r'[\w-]+="[^"]*"|\S+', value)
        if not words:
            raise FieldError("a voice without a name; write V:1")
        name, settings = (
            words[0],
            [word for word in words[1:] if re.match(r"(?:clef|octave|transpose|t|score|sound|shift)=|\w+[+\-]8", word)],
        )
        read_pitching(settings)  # refused here, where its line is known
        if self.key is None:
            self.voice_words[name] = settings
            return
        known = name in self.voices
        if not known:
            self.voice_words.setdefault(name, []).extend(settings)
        self._select(name)
        if known and settings:
            self.music.voice.pitching = Pitching()
            self._pitch(self.music.voice, settings)

    def _user(self, value: str) -> None:
        letter, equals, sign = (part.strip() for part in value.partition("="))
        name = sign.strip("!+").strip()
        if not re.fullmatch(r"[~H-Wh-w]", letter) or not equals or len(name) > MAX_SIGN or set(name) & set("!+"):
            raise FieldError(f"cannot be read as a symbol of your own: {value.strip()[:40]!r}; write U: T = !trill!")
        self.music.shorthands[letter] = name

    def _macro(self, value: str) -> None:
        raise FieldError(f"macros are not read here: {value.strip()[:30]!r}; write the notes out")

    def _symbols(self, _value: str) -> None:
        self.notes.say(f"the symbol line (s:) on {self.place} is left out")
