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
    rate = _exact(number[0], unit_q) if number else 0.0
    if not SLOWEST <= rate <= FASTEST:
        reader.notes.say(f"the tempo {text[:12]!r} of {reader.place} cannot be used and is left out")
        return
    reader.rate = rate
    if not reader.bar.tempo or reader.bar.tempo[-1] != (onset_q, rate):
        reader.bar.tempo.append((onset_q, rate))


def _exact(number: str, unit_q: Quarters) -> float:
    """Quarters a minute. What is worked out from a note value is rounded to thousandths: 60.00006 dotted quarters are 90 quarters."""
    rate = Fraction(number.replace(",", ".")) * unit_q
    return float(rate if unit_q == 1 else round(rate, 3))


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
        set_tempo(f"{before * float(units[1] / units[0]):.3f}", Fraction(1), onset_q, reader)
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


def is_about_tempo(words: str) -> bool:
    """Whether words name a tempo or a change of it."""
    return beats_per_minute(words) is not None or _GRADUAL.search(words) is not None


def read_tempo_words(words: str, onset_q: Quarters, reader: Reading) -> None:
    """Keep a tempo word until it is known where numbers stand; say that a gradual change is not played."""
    beats = beats_per_minute(words)
    gradual = _GRADUAL.search(words)
    if beats is not None and gradual is None:
        rate = beats * float(beat_length_q(*(reader.metre or (4, 4))))
        reader.tempo_words.append(TempoWord(len(reader.bars), onset_q, words, rate))
    elif gradual is not None:
        reader.notes.count("changes of tempo without a number (rit., accel., più and the like) are not played", reader.measure)
