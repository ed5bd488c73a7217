"""The values of ABC information fields: K:, M:, L:, Q:, P: (ABC 2.1 section 3.1)."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from jackrail.pitch import SHARP_ORDER, TONIC_FIFTHS
from jackrail.tune.model import Quarters

from .pitching import CLEF_WORD, FieldError, Pitching, read_pitching

_MODES = {"maj": 0, "ion": 0, "": 0, "mix": -1, "dor": -2, "m": -3, "min": -3, "aeo": -3, "phr": -4, "loc": -5, "lyd": 1}
_MODE_NAMES = {
    "maj": "major", "": "major", "ion": "ionian", "mix": "mixolydian", "dor": "dorian", "m": "minor", "min": "minor", "aeo": "aeolian",
    "phr": "phrygian", "loc": "locrian", "lyd": "lydian",
}  # fmt: skip
_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_FLATS_AND_SHARPS = {"": 0, "#": 7, "♯": 7, "b": -7, "♭": -7}
_WRITE_KEY = "write a tonic and a mode such as G, Ador, F#m, or none"
ACCIDENTALS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}
MOST_SHARPS = 7
MOST_BEATS = 8
"""Most note lengths that a Q: field may add up to a beat."""
MOST_PARTS = 500

_KEY = re.compile(r"([A-G])([#b♯♭]?)(?:( ?)([A-Za-z]+)(?![A-Za-z=+\-^_\d]))?(?![A-Za-z=])")
_MODE_AND_ACCIDENTAL = re.compile(r"[A-G][#b♯♭]?(?: (?!m=))?([A-Za-z]*)(?=(?:\^\^?|__?|=)[A-Ga-g](?![A-Za-z]))")
_SPECIFIER = re.compile(r"[a-z][\w:.-]*=.*")  # any that begins small, known or not (ABC 2.1 section 7.1)
_WITHOUT_TONIC = re.compile(r"(HP|Hp|(?i:none))(?: |$)")
_EXPLICIT = re.compile(r"(?:[A-G][#b♯♭]?)? ?(?i:exp)(?![A-Za-z])")
_METRE = re.compile(r"\(?(\d{1,3}(?:\s*\+\s*\d{1,3})*)\)?\s*/\s*(\d{1,3})")
_FRACTION = re.compile(r"(\d{1,4})\s*/\s*(\d{1,4})")


@dataclass(frozen=True)
class Key:
    """A key signature: alteration of each letter, sharps for the record, mode as a word."""

    alterations: dict[str, int] = field(default_factory=dict)
    sharps: int = 0
    mode: str = "none"


def read_key(text: str) -> tuple[Key | None, Pitching | None]:
    """Key and pitching of a K: field; None for what it leaves as it was. Raises FieldError."""
    words = re.sub(r" ?=(?![A-Ga-g](?: |$)) ?(?=[\w\"+-]+(?: |$))", "=", " ".join(text.split()))  # but "=f" is F natural
    key: Key | None
    named = _WITHOUT_TONIC.match(words)
    if named is not None:
        key = Key() if named[1].lower() == "none" else Key({"F": 1, "C": 1}, 2, "bagpipe")
        return _modified(key, words[named.end() :], words)
    if not words:
        return Key(), None
    joined = _MODE_AND_ACCIDENTAL.match(words)
    if joined is not None and _mode(joined[1]) is not None:  # "Dmix=c" is "D mix =c"
        words = f"{joined[0]} {words[joined.end() :]}"
    match = _KEY.match(words)
    rest = words
    key = None
    if match is not None:
        mode = _mode(match[4] or "")
        set_apart = mode is None and bool(match[3])  # "D treble": no mode, but a clef that _modified reads
        if mode is None and not set_apart:
            raise FieldError(f"cannot be read as a key: {text.strip()[:40]!r}", _WRITE_KEY)
        key = _signature(_FIFTHS[match[1]] + _FLATS_AND_SHARPS[match[2]] + _MODES[mode or ""], _MODE_NAMES[mode or ""])
        rest = words[match.start(4) if set_apart else match.end() :]
    return _modified(key, rest, words)


def _mode(word: str) -> str | None:
    """The key of _MODES that a mode word stands for by its first three letters (ABC 2.1 section 3.1.14), None for none."""
    if word in {"", "m"}:
        return word
    short = word[:3].lower()
    return short if short in _MODES and len(word) >= 3 else "" if short == "exp" else None


def _signature(sharps: int, mode: str) -> Key:
    if abs(sharps) > MOST_SHARPS:
        raise FieldError(f"the key would need {abs(sharps)} accidentals", "write the plainer one")
    letters = SHARP_ORDER[:sharps] if sharps > 0 else SHARP_ORDER[sharps:] if sharps < 0 else ""
    return Key(dict.fromkeys(letters, 1 if sharps > 0 else -1), sharps, mode)


def _modified(key: Key | None, rest: str, text: str) -> tuple[Key | None, Pitching | None]:
    """Apply what follows the tonic: mode word set apart, exp, single accidentals, clef and transposition."""
    pitching: list[str] = []
    if _EXPLICIT.match(text):  # what is listed is all there is
        key = Key({}, 0, "explicit")
    given = key
    for word in re.findall(r'[\w-]+="[^"]*"|(?:\^\^?|__?|=)[A-Ga-g](?![A-Za-z])|\S+', rest):
        mode = _mode(word) if word.isalpha() and word != "m" else None
        accidental = re.fullmatch(r"(\^\^|\^|__|_|=)([a-gA-G])", word)
        if accidental is not None:
            base = key or Key()
            key = Key({**base.alterations, accidental[2].upper(): ACCIDENTALS[accidental[1]]}, base.sharps, base.mode)
        elif word.lower() != "exp":
            if mode and key is not None and key.mode == "major":
                key = _signature(key.sharps + _MODES[mode], _MODE_NAMES[mode])
            elif _SPECIFIER.fullmatch(word) or CLEF_WORD.fullmatch(word):
                pitching.append(word)
            else:
                raise FieldError(f"cannot be read as a key: {text.strip()[:40]!r}", _WRITE_KEY)
    if key is not None and key is not given:
        key = _named(key)
    return key, read_pitching(pitching) if pitching else None


def _named(key: Key) -> Key:
    """A key with accidentals of its own under the name of the plain signature that it is: D major with C natural is D mixolydian.

    One that is no plain signature, or has no tonic, is "explicit".
    """
    altered = {letter: alteration for letter, alteration in key.alterations.items() if alteration}
    fifths = len(altered) * (-1 if -1 in altered.values() else 1)
    if altered != (_signature(fifths, "").alterations if abs(fifths) <= MOST_SHARPS else None):
        return Key(key.alterations, key.sharps, "explicit")
    if key.mode not in TONIC_FIFTHS:
        return Key(key.alterations, fifths, "explicit")
    if fifths == key.sharps:
        return key
    above = key.sharps + TONIC_FIFTHS[key.mode] - fifths
    return Key(key.alterations, fifths, next((mode for mode, tonic in TONIC_FIFTHS.items() if tonic == above), "explicit"))


def read_metre(text: str) -> tuple[int, int] | None:
    """Beats and beat unit of an M: field, None for free metre. Raises FieldError."""
    value = text.strip()
    if value.lower() in {"none", ""}:
        return None
    if value in {"C", "c"}:
        return 4, 4
    if value in {"C|", "c|"}:
        return 2, 2
    match = _METRE.fullmatch(value)
    if match is None:
        raise FieldError(f"cannot be read as a metre: {value[:40]!r}", "write 3/4, 6/8, C, C| or none")
    beats, unit = sum(int(part) for part in match[1].split("+")), int(match[2])
    if not 1 <= beats <= 64 or unit not in {1, 2, 4, 8, 16, 32, 64}:
        raise FieldError(f"{value[:40]!r} is no metre", "the lower number is 1, 2, 4, 8, 16, 32 or 64, the upper 1 to 64")
    return beats, unit


def read_unit(text: str) -> Quarters:
    """Unit note length of an L: field in quarters, 1/8 being 1/2. Raises FieldError."""
    value = text.strip()
    match = _FRACTION.fullmatch(value)
    if value == "1":
        return Fraction(4)
    if match is None or not int(match[1]) or not int(match[2]) or not Fraction(1, 512) <= Fraction(int(match[1]), int(match[2])) <= 4:
        raise FieldError(f"cannot be read as a note length: {value[:40]!r}", "write 1/8 or the like")
    return Fraction(4 * int(match[1]), int(match[2]))


def default_unit(metre: tuple[int, int] | None) -> Quarters:
    """Unit note length where no L: is written: a sixteenth for metres below 3/4, else an eighth (ABC 2.1 section 3.1.7)."""
    return Fraction(1, 4) if metre is not None and Fraction(*metre) < Fraction(3, 4) else Fraction(1, 2)


def read_tempo(text: str, unit_q: Quarters) -> float | None:
    """Quarter notes a minute of a Q: field, None when it has words only. Raises FieldError.

    Reads 1/4=120, "Allegro" 3/8=100, 1/4 3/8=40 and the outdated 120 and C3=40 in unit note lengths (ABC 2.1 section 10).
    """
    value = re.sub(r'"[^"]*"?', "", text).strip()
    if not re.search(r"\d", value):
        return None
    lengths, equals, rate = value.rpartition("=")
    if not re.fullmatch(r"\d{1,4}(?:\.\d{1,4})?", rate.strip()) or not 1 <= float(rate) <= 4000:
        raise FieldError(f"cannot be read as a tempo: {text.strip()[:40]!r}", "write 1/4=120")
    outdated = re.fullmatch(r"[Cc](\d?)(?:/(\d))?", lengths.strip())
    if not equals:
        beat_q = unit_q
    elif outdated is not None:
        beat_q = unit_q * Fraction(int(outdated[1] or 1), int(outdated[2] or 1) or 1)
    else:
        parts = _FRACTION.findall(lengths)
        if (
            not 1 <= len(parts) <= MOST_BEATS
            or _FRACTION.sub("", lengths).strip()
            or not all(int(above) and int(below) for above, below in parts)
        ):
            raise FieldError(f"cannot be read as a tempo: {text.strip()[:40]!r}", "write 1/4=120")
        beat_q = sum((Fraction(4 * int(above), int(below)) for above, below in parts), Fraction(0))
    return float(beat_q) * float(rate)


def read_parts(text: str) -> str:
    """Playing order of a P: field in the header, written out: "(AB)2C" is "ABABC". Raises FieldError."""
    value = re.sub(r"[\s.,]", "", text)
    if not re.fullmatch(r"[A-Z()0-9]*", value) or re.search(r"\d{3}", value):
        raise FieldError(f"cannot be read as an order of parts: {text.strip()[:40]!r}", "write AABB or (AB)2C")
    while len(value) <= MOST_PARTS and (group := re.search(r"\(([A-Z]*)\)(\d{0,2})|([A-Z])(\d{1,2})", value)) is not None:
        body, count = (group[1], group[2]) if group[1] is not None else (group[3], group[4])
        value = value[: group.start()] + body * int(count or 1) + value[group.end() :]
    if len(value) > MOST_PARTS:
        raise FieldError("the order of parts is too long", f"at most {MOST_PARTS} parts")
    if not value.isalpha() and value:
        raise FieldError(f"cannot be read as an order of parts: {text.strip()[:40]!r}", "check its brackets")
    return value
