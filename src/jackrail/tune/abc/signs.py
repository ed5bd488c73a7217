"""Signs at the notes of ABC music: texts in quotes and decorations (ABC 2.1 sections 4.14, 4.18 and 4.19)."""

from __future__ import annotations

import re
from collections.abc import Callable

from jackrail.pitch import moved_symbol
from jackrail.tune.chord_names import chord_or_silence, nearest, readable
from jackrail.tune.loudness import VELOCITIES
from jackrail.tune.model import NO_CHORD
from jackrail.tune.score.written import Notes, WrittenBar, mark_words

from .decorations import EXPRESSION, FERMATAS, HAIRPINS, LEFT_OUT, STEERING
from .marks import UNSURE
from .ornaments import KINDS
from .voice import Voice


class Signs:
    """Reads signs into voices. where: the place being read; fault: adds a fault there."""

    def __init__(self, notes: Notes, where: Callable[[], str], fault: Callable[..., None]) -> None:
        self.notes = notes
        self._where = where
        self._fault = fault

    def text(self, voice: Voice, text: str) -> None:
        """A chord symbol, words such as "D.C. al Fine", or an annotation (^_<>@ before it)."""
        annotation = text[:1] in {"^", "_", "<", ">", "@"}
        words = re.sub(r"^[\^_<>]|^@(?:-?[\d.]+,-?[\d.]+)?\s*", "", text)
        symbol = None if annotation else _chord_symbol(text)
        if symbol is not None:
            _add_chord(voice, symbol)
        elif mark_words(WrittenBar(0), words, voice.cursor_q):
            voice.marks.waiting.append(words)
            self.notes.remark(f'the words "{words[:30]}" are followed as the sign they stand for')
        elif words.strip().lower() in UNSURE:
            voice.marks.waiting.append(words.strip().lower())
        elif annotation or not text or text.isdigit():  # a fingering
            pass
        elif (near := nearest(text)) is not None:
            _add_chord(voice, near)
            self.notes.count("a strange chord symbol is read as far as it is one", f"{text[:24]!r} as {near!r} on {self._where()}")
        else:
            german = " (a German H is written B here, a German B Bb)" if text[0] == "H" and readable(f"B{text[1:]}") else ""
            self.notes.count(f"a text that is no chord symbol is left out{german}", f"{text[:30]!r} on {self._where()}")

    def decorate(self, voice: Voice, name: str) -> None:
        """A decoration, by the name between its ! signs."""
        kind = KINDS.get(name)
        name = name.lower() if name.lower() in STEERING else name
        if kind is not None:
            voice.waiting.add(kind, (), voice.bar)
        elif name in STEERING:
            voice.marks.waiting.append(name)
        elif name in VELOCITIES:
            voice.velocity = VELOCITIES[name]
        elif name in HAIRPINS:
            self.notes.count("hairpins are not played: notes are as loud as the last mark says", voice.bar, remark=True)
        elif name in LEFT_OUT:
            self.notes.count(LEFT_OUT[name], voice.bar, remark=name in FERMATAS)
        elif re.fullmatch(r"[A-Ga-g\d,'/]*[A-Ga-g][A-Ga-g\d,'/]*", name) and name.strip("f"):
            self._fault("notes stand between ! signs", repr(name), hint="write line breaks as $, or I:linebreak ! in the header")
        elif name not in EXPRESSION:
            self.notes.count(f"the decoration {name!r} is not known and is left out", voice.bar)


def _chord_symbol(text: str) -> str | None:
    """A chord symbol as text that can be read. One wholly in brackets is a chord that may be played, and is."""
    return chord_or_silence(text[1:-1] if text[:1] == "(" and text.find(")") == len(text) - 1 else text)


def _add_chord(voice: Voice, symbol: str) -> None:
    """A chord, or silence, from here on, as it sounds."""
    if symbol != NO_CHORD:
        symbol = moved_symbol(symbol, voice.pitches.pitching.semitones, voice.pitches.key.sharps)
    voice.bar.chords.append((voice.cursor_q, symbol))
