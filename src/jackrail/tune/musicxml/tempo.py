"""Tempo in a MusicXML score: numbers of <sound>, metronome marks, relations of note values, and words where there is no number."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from jackrail.tune.model import DEFAULT_QUARTERS_PER_MINUTE, Quarters, beat_length_q
from jackrail.tune.score.tempo_words import beats_per_minute

from .reading import Reading, TempoWord

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

UNITS = {
    "1024th": Fraction(1, 256), "512th": Fraction(1, 128), "256th": Fraction(1, 64), "128th": Fraction(1, 32), "64th": Fraction(1, 16),
    "32nd": Fraction(1, 8), "16th": Fraction(1, 4), "eighth": Fraction(1, 2), "quarter": Fraction(1), "half": Fraction(2),
    "whole": Fraction(4), "breve": Fraction(8), "long": Fraction(16), "maxima": Fraction(32),
}  # fmt: skip
"""Note values in quarters (MusicXML 4.0, note-type-value)."""
SLOWEST, FASTEST = 1.0, 3000.0
"""Quarters a minute that are taken for a tempo."""
_RATE = r"\d{1,4}(?:[.,]\d{1,20})?"
_RANGE = re.compile(rf"({_RATE})\s*[-–—/~]\s*({_RATE})")
_GRADUAL = re.compile(r"\b(rit|rall|accel|allarg|stringendo|smorz|calando|pi[uùú]|meno)(\b|\.|ard|ent|and|erand|ez)", re.IGNORECASE)
_MOST_DOTS = 4


def set_tempo(text: str, unit_q: Quarters, onset_q: Quarters, reader: Reading) -> None:
    """From onset_q on, `text` of the note value unit_q a minute; a number that cannot be used becomes a warning."""
    number = re.fullmatch(_RATE, text.strip())
    rate = float(number[0].replace(",", ".")) * float(unit_q) if number else 0.0
    if not SLOWEST <= rate <= FASTEST:
        reader.notes.say(f"the tempo {text[:12]!r} of {reader.place} cannot be used and is left out")
        return
    reader.rate = rate
    if not reader.bar.tempo or reader.bar.tempo[-1] != (onset_q, rate):
        reader.bar.tempo.append((onset_q, rate))


def read_metronome(metronome: Element, onset_q: Quarters, reader: Reading) -> None:
    """A metronome mark: a number for a note value, or two note values of one length."""
    units = _units(metronome)
    rate = metronome.findtext("per-minute")
    if units is None:
        reader.notes.say(f"the metronome mark of {reader.place} cannot be read and is left out")
    elif rate is not None and len(units) == 1:
        set_tempo(_plain(rate.strip()[:40], reader), units[0], onset_q, reader)
    elif rate is None and len(units) == 2:
        before = reader.rate or DEFAULT_QUARTERS_PER_MINUTE
        if not reader.rate:
            reader.notes.say(f"the metronome mark of {reader.place} relates to a tempo that is not given: 120 is taken")
        set_tempo(f"{before * float(units[1] / units[0]):.6f}", Fraction(1), onset_q, reader)
    else:
        reader.notes.say(f"the metronome mark of {reader.place} relates several notes and is left out")


def _units(metronome: Element) -> list[Quarters] | None:
    """The note values of a mark with their dots; None when one of them cannot be read."""
    units: list[Quarters] = []
    dots = 0
    for element in metronome.iter():
        if element.tag in {"beat-unit", "metronome-type"}:
            value = UNITS.get((element.text or "").strip())
            if value is None:
                return None
            units.append(value)
            dots = 0
        elif element.tag in {"beat-unit-dot", "metronome-dot"} and units and dots < _MOST_DOTS:
            dots += 1
            units[-1] = units[-1] * (2 - Fraction(1, 2**dots)) / (2 - Fraction(1, 2 ** (dots - 1)))
        elif element.tag in {"beat-unit-tied", "metronome-tied", "metronome-tuplet"}:
            return None  # more than one note value for another
    return units


def _plain(text: str, reader: Reading) -> str:
    """The number of a <per-minute>: "c. 108" is 108, "120-132" its middle."""
    if re.fullmatch(_RATE, text):
        return text
    between = _RANGE.search(text)
    number = re.search(_RATE, text)
    if between is not None:
        low, high = (float(one.replace(",", ".")) for one in between.groups())
        rate = f"{(low + high) / 2:g}"
    elif number is not None:
        rate = number[0]
    else:
        return text
    reader.notes.say(f"the tempo {text[:20]!r} of {reader.place} is taken as {rate}")
    return rate


def read_tempo_words(words: str, onset_q: Quarters, reader: Reading) -> None:
    """Keep a tempo word for `settle_tempo_words`; say that a gradual change is not played."""
    beats = beats_per_minute(words)
    gradual = _GRADUAL.search(words)
    if beats is not None and gradual is None:
        rate = beats * float(beat_length_q(*(reader.metre or (4, 4))))
        reader.tempo_words.append(TempoWord(reader.bar, onset_q, words, rate))
    elif gradual is not None:
        reader.notes.count("changes of tempo without a number (rit., accel., più and the like) are not played", reader.measure)


def settle_tempo_words(reader: Reading) -> None:
    """Give each tempo word its number where the score gives none at that place."""
    for word in reader.tempo_words:
        if any(onset_q == word.onset_q for onset_q, _ in word.bar.tempo):
            continue
        word.bar.tempo.append((word.onset_q, word.rate))
        word.bar.tempo.sort(key=lambda mark: mark[0])
        reader.notes.say(f'the tempo word "{word.word[:30]}" in bar {word.bar.number} is taken as {word.rate:g} quarter notes a minute')
