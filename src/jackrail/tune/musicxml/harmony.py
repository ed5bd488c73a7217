"""Chord symbols of a MusicXML score as text that `jackrail.pitch.parse_chord` reads.

A <harmony> names a chord by its root (or a degree of the key: <numeral>, <function>), a kind, degrees that are added, altered or
taken away, and a bass or an inversion (MusicXML 4.0, elements harmony, kind, degree, numeral; data types kind-value and degree-type-value).
The augmented sixths and the Neapolitan sixth are counted from the keynote, which their root is taken for.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from jackrail.pitch import ACCIDENTALS, TONIC_FIFTHS, fifths_of, moved_symbol, spelt
from jackrail.tune.chord_names import KINDS, chord_or_silence, nearest, readable
from jackrail.tune.model import NO_CHORD

from .degrees import small, tones_of, whole, with_degrees
from .reading import Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_TOLD = set(KINDS) - {"other"}
"""Kinds that say what sounds, whatever is printed."""
_BY_CASE = {kind.lower(): kind for kind in KINDS}

# Kinds outside the standard that programs write, and what is meant.
_ALIASES = {
    "minor-major": "major-minor", "dominant-seventh": "dominant", "half-diminished-seventh": "half-diminished", "maj": "major",
    "min": "minor", "aug": "augmented", "dim": "diminished",
}  # fmt: skip

# Kind -> fifths from the keynote to the root, what follows it, fifths from the keynote to the bass; and the chord on C in words. From
# any theory of music, common practice, no source: the sixths on C are Ab C F#, Ab C D F#, Ab C Eb F#; Db F Ab over F.
_FUNCTIONAL = {
    "Neapolitan": (-5, "", -1, "Db over F"), "Italian": (-4, "7no5", -4, "Ab C F#"), "French": (-4, "7b5", -4, "Ab C D F#"),
    "German": (-4, "7", -4, "Ab C Eb F#"), "Tristan": (0, "m7b5", 0, "C Gb Bb Eb"),
}  # fmt: skip

# Fifths from the root to a tone so many semitones above it, as chords spell them.
_FIFTHS_UP = (0, -5, 2, -3, 4, -1, -6, 1, 8, 3, -2, 5)
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6, "vii": 7}
_MAJOR_SCALE = (0, 2, 4, -1, 1, 3, 5)


def read_harmony(harmony: Element, reader: Reading) -> None:
    """Put the chord symbol of a <harmony> into the bar; one that cannot be read becomes silence, and a warning."""
    kind = _kind(harmony, reader)
    if kind == "none" or (kind not in _TOLD and chord_or_silence(_text(harmony)) == NO_CHORD):
        _place(harmony, NO_CHORD, reader)
        return
    if len(harmony.findall("kind")) > 1:
        reader.notes.count("of chords stacked in one symbol the first is read", reader.measure)
    root = _root(harmony, reader)
    symbol = _symbol(harmony, root, kind, reader) if root is not None else None
    if symbol is None:
        what = f"chord symbols of the kind {kind[:24]!r} cannot be read: silent until the next chord"
        reader.notes.count(what, reader.measure)
        _place(harmony, NO_CHORD, reader)
        return
    staff = (harmony.findtext("staff") or "").strip() or None
    _place(harmony, moved_symbol(symbol, reader.semitones(staff), reader.written_key[0]), reader)


def _place(harmony: Element, symbol: str, reader: Reading) -> None:
    reader.bar.chords.append((reader.moved_q(harmony.find("offset")), symbol))


def _kind(harmony: Element, reader: Reading) -> str:
    written = (harmony.findtext("kind") or "").strip()
    kind = _BY_CASE.get(written.lower(), written)
    meant = _ALIASES.get(kind)
    if meant is not None:
        reader.notes.count(f"the chord kind {kind!r} is none of MusicXML: read as {meant!r}", reader.measure)
    return meant or kind


def _text(harmony: Element) -> str:
    """What is printed after the root."""
    kind = harmony.find("kind")
    return "" if kind is None else kind.get("text", "").strip()


def _root(harmony: Element, reader: Reading) -> str | None:
    """Name of the root as written, None when none can be told."""
    if harmony.find("root") is not None:
        return _named(harmony, "root")
    numeral, function = harmony.find("numeral"), harmony.findtext("function")
    if numeral is not None:
        return _degree_of_key(*_numeral(numeral), _key_of(numeral, reader))
    found = re.fullmatch(r"([b#♭♯]?)([ivIV]{1,3})", (function or "").strip())
    if found is None or found[2].lower() not in _ROMAN:
        return None
    if found[1] and reader.written_key[1] == "minor":
        reader.notes.count("accidentals of Roman numerals in a minor key alter its own (natural) scale", reader.measure)
    return _degree_of_key(_ROMAN[found[2].lower()], {"": 0, "#": 1, "♯": 1}.get(found[1], -1), reader.written_key)


def _named(harmony: Element, which: str) -> str | None:
    element = harmony.find(which)
    if element is None:
        return None
    step = (element.findtext(f"{which}-step") or "").strip()
    alter = whole(element.findtext(f"{which}-alter"))
    return step + ACCIDENTALS[alter] if re.fullmatch(r"[A-G]", step) and alter in ACCIDENTALS else None


def _numeral(numeral: Element) -> tuple[int, int]:
    return whole(numeral.findtext("numeral-root")), whole(numeral.findtext("numeral-alter"))


def _key_of(numeral: Element, reader: Reading) -> tuple[int, str]:
    fifths, mode = whole(numeral.findtext("numeral-key/numeral-fifths")), numeral.findtext("numeral-key/numeral-mode")
    return (fifths, (mode or "major").strip()) if numeral.find("numeral-key") is not None and abs(fifths) <= 7 else reader.written_key


def _degree_of_key(degree: int, alter: int, key: tuple[int, str]) -> str | None:
    """The tone on a degree of a key. A minor key without a further word is the natural one (data type numeral-mode)."""
    sharps, mode = key
    if not 1 <= degree <= 7 or alter not in ACCIDENTALS:
        return None
    tonic = TONIC_FIFTHS.get("minor" if mode.endswith("minor") else mode, 0)
    tone = tonic + _MAJOR_SCALE[degree - 1]  # fifths above the signature's major keynote: its scale reaches from -1 to 5
    tone += 7 if tone < -1 else -7 if tone > 5 else 0
    if degree in {"harmonic minor": {7}, "melodic minor": {6, 7}}.get(mode, set()):
        alter += 1
    return spelt(sharps + tone + 7 * alter, sharps)


def _symbol(harmony: Element, root: str, kind: str, reader: Reading) -> str | None:
    bass = _named(harmony, "bass")
    if kind in _FUNCTIONAL:
        return _functional(root, kind, bass, reader)
    quality = "ped" if kind == "other" else KINDS.get(kind)  # "other" is the root and what is added to it
    if quality is None or (kind == "other" and harmony.find("degree") is None):
        return _printed(harmony, root, bass, reader)
    tones = tones_of(quality)
    symbol = root + quality
    if harmony.find("degree") is not None:
        symbol = root + with_degrees(harmony, quality, tones, reader)
    low = bass or _inverted(harmony, root, tones, reader)
    return f"{symbol}/{low}" if low and low != root else symbol


def _printed(harmony: Element, root: str, bass: str | None, reader: Reading) -> str | None:
    """The chord as it is printed, for a kind that says nothing of its tones; None when that cannot be read, either."""
    text = _text(harmony)
    symbol = readable(root + text) or nearest(root + text) if text else None
    if symbol is None:
        return None
    if readable(root + text) is None:
        reader.notes.count(f"the chord symbol {(root + text)[:24]!r} is read as {symbol!r}", reader.measure)
    else:
        reader.notes.count(f"the chord symbol {symbol!r} is read from its printed text", reader.measure, remark=True)
    return f"{symbol}/{bass}" if bass and bass != root and "/" not in symbol else symbol


def _functional(root: str, kind: str, bass: str | None, reader: Reading) -> str:
    up, quality, low, words = _FUNCTIONAL[kind]
    keynote, sharps = fifths_of(root), reader.written_key[0]
    chord, under = (spelt(keynote + fifths, sharps) for fifths in (up, low))
    how = "from their root up" if kind == "Tristan" else "from their root as the keynote"
    reader.notes.count(f"{kind} chords are counted {how} (on C: {words})", reader.measure)
    low_name = bass or under
    return f"{chord}{quality}/{low_name}" if low_name != chord else chord + quality


def _inverted(harmony: Element, root: str, tones: list[tuple[int, int]], reader: Reading) -> str | None:
    """The bass that an <inversion> asks for: 1 is the third or what stands for it, 2 the fifth, 3 the seventh."""
    text = harmony.findtext("inversion")
    if text is None:
        return None
    number = small(text)
    if number >= len(tones):
        reader.notes.count("inversions that a chord has not are left out", reader.measure)
        return None
    return spelt(fifths_of(root) + _FIFTHS_UP[tones[number][1]], reader.written_key[0]) if number else None
