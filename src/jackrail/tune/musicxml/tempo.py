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
_CHANGE = re.compile(r"\b(rit|rall|accel|allarg|stringendo|smorz|calando|pi[uùú]|meno)(\b|\.|ard|ent|and|erand|ez)", re.IGNORECASE)
_FIRST = re.compile(r"\btempo\s+(?:primo|prima|(?:i|1)(?:o|mo|[º°])?)(?!\w)|\b(?:primo|(?:i|1)[oº°])\s+tempo\b", re.IGNORECASE)
_BACK = re.compile(r"\ba\s+tempo\b", re.IGNORECASE)
_STEADY = {"piu", "più", "piú", "meno"}
"""Changes to another steady tempo."""
_MOST_DOTS = 4


def set_tempo(text: str, unit_q: Quarters, onset_q: Quarters, reader: Reading) -> None:
    """From onset_q on, `text` of the note value unit_q a minute; a number that cannot be used becomes a warning."""
    number = re.fullmatch(_RATE, text.strip())
    rate = _exact(number[0], unit_q) if number else 0.0
    if not SLOWEST <= rate <= FASTEST:
        reader.notes.count(f"the tempo {text[:12]!r} cannot be used and is left out", reader.measure)
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
        reader.notes.count("a metronome mark that cannot be read is left out", reader.measure)
    elif rate is not None and len(units) == 1:
        set_tempo(_plain(rate.strip()[:40], reader), units[0], onset_q, reader)
    elif rate is None and len(units) == 2:
        before = reader.rate or DEFAULT_QUARTERS_PER_MINUTE
        if not reader.rate:
            reader.notes.count("a metronome mark relates to a tempo that is not given as a number: 120 is taken", reader.measure)
        set_tempo(f"{before * float(units[1] / units[0]):.3f}", Fraction(1), onset_q, reader)
    else:
        reader.notes.count("a metronome mark that relates several notes is left out", reader.measure)


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
    reader.notes.count(f"the tempo {text[:20]!r} is taken as {rate}", reader.measure)
    return rate


def is_about_tempo(words: str) -> bool:
    """Whether words name a tempo or a change of it."""
    return beats_per_minute(words) is not None or any(pattern.search(words) for pattern in (_CHANGE, _FIRST, _BACK))


def read_tempo_words(words: str, onset_q: Quarters, reader: Reading, *, numbered: bool) -> None:
    """Keep words about the tempo until it is known where numbers stand; say that a change without a number is not played."""
    beats, change = beats_per_minute(words), _CHANGE.search(words)
    word = TempoWord(len(reader.bars), f"bar {reader.bar.number}", onset_q, words, "new", numbered)
    if change is not None:
        word.kind = "change" if change[1].lower() in _STEADY else "gradual"
        if not numbered:
            reader.notes.count("changes of tempo without a number (rit., accel., più and the like) are not played", reader.measure)
    elif _FIRST.search(words) or _BACK.search(words):
        word.kind = "first" if _FIRST.search(words) else "back"
    elif beats is not None:
        word.rate = beats * float(beat_length_q(*(reader.metre or (4, 4))))
    else:
        return
    reader.tempo_words.append(word)
    if change is None and not numbered and all(at_q != onset_q for at_q, _ in reader.bar.tempo):
        reader.rate = word.rate  # 0 where words go back: to what, is known only at the end
