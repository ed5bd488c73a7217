"""Everything in a MusicXML measure but its notes: metre, key, bar lines, tempo, words, chord symbols."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from jackrail.pitch import TONIC_FIFTHS, moved_signature, moved_symbol
from jackrail.tune.chord_names import KINDS, readable
from jackrail.tune.score.written import mark_words

from .reading import Reading

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


_BEATS = re.compile(r"\d{1,2}(?:\s*\+\s*\d{1,2})*")
_UNITS = {
    "1024th": Fraction(1, 256), "512th": Fraction(1, 128), "256th": Fraction(1, 64), "128th": Fraction(1, 32), "64th": Fraction(1, 16),
    "32nd": Fraction(1, 8), "16th": Fraction(1, 4), "eighth": Fraction(1, 2), "quarter": Fraction(1), "half": Fraction(2),
    "whole": Fraction(4), "breve": Fraction(8), "long": Fraction(16),
}  # fmt: skip
_ACCIDENTALS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def read_time(time: Element, reader: Reading) -> tuple[int, int] | None:
    """Metre of a <time>: 3+2/8 is 5/8, 2/4 + 3/8 is 7/8; None for senza misura."""
    if time.find("senza-misura") is not None:
        return None
    pairs = []
    for beats, unit in zip(time.iterfind("beats"), time.iterfind("beat-type"), strict=False):
        above, below = (beats.text or "").strip(), (unit.text or "").strip()
        if not _BEATS.fullmatch(above) or below not in {"1", "2", "4", "8", "16", "32", "64"}:
            reader.fault("a metre cannot be read", repr(f"{above}/{below}"[:20]), hint="3/4, 6/8 and the like are")
            return 4, 4
        pairs.append((sum(int(part) for part in above.split("+")), int(below)))
    if not pairs or not all(beats for beats, _ in pairs):
        reader.fault("a metre has no beats", hint="3/4, 6/8 and the like have")
        return 4, 4
    smallest = max(below for _, below in pairs)
    return sum(beats * smallest // below for beats, below in pairs), smallest


def read_key(key: Element, reader: Reading) -> tuple[int, str] | None:
    """Sounding key as (sharps, mode); None for one that is not of the circle of fifths. A mode that is not known is "none"."""
    fifths = (key.findtext("fifths") or "").strip()
    if not re.fullmatch(r"[+-]?\d{1,2}", fifths) or abs(int(fifths)) > 14:
        reader.notes.say(f"the key of {reader.place} is not one of the circle of fifths and is left out")
        return None
    reader.written_sharps = int(fifths)
    mode = (key.findtext("mode") or "major").strip().lower()
    return moved_signature(int(fifths), reader.semitones), mode if mode in TONIC_FIFTHS else "none"


def read_barline(barline: Element, reader: Reading) -> None:
    """Repeat signs and endings; <segno>, <coda> drawn on the line."""
    bar = reader.bar
    left = barline.get("location", "right") == "left"
    repeat = barline.find("repeat")
    ending = barline.find("ending")
    if ending is not None:
        _ending(ending, reader)
    if repeat is not None and repeat.get("direction") == "forward":
        bar.repeat_start = True
    elif repeat is not None and repeat.get("direction") == "backward":
        times = repeat.get("times", "2")
        if not re.fullmatch(r"\d{1,2}", times) or int(times) < 1:
            reader.fault("a repeat sign has a number of times that cannot be used", repr(times[:12]), "1 to 99")
        else:
            bar.repeat_end = max(int(times), 1)
        if repeat.get("after-jump") == "yes":
            reader.notes.say(f"the repeat of {reader.place} is meant to be taken after a jump too: it is not")
    elif repeat is not None:
        reader.fault("a repeat sign has no direction", repr(repeat.get("direction", "")[:12]), "forward or backward")
    for sign in ("segno", "coda"):
        if barline.find(sign) is not None and left:
            setattr(bar, sign, "")


def _ending(ending: Element, reader: Reading) -> None:
    if ending.get("type") != "start":
        reader.ending = frozenset()
        return
    numbers = re.findall(r"\d{1,2}", ending.get("number", ""))
    passes = frozenset(int(number) for number in numbers if 1 <= int(number) <= 64)
    if not passes:
        reader.fault("an ending has no number", repr(ending.get("number", "")[:12]), "1 to 64")
        return
    reader.ending = reader.bar.ending = passes
    reader.bar.ending_start = True


def read_direction(direction: Element, reader: Reading) -> None:
    """Signs, words and tempo over the music; what a <sound> says counts before what is drawn."""
    sound = direction.find("sound")
    steered = sound is not None and read_sound(sound, reader)
    for kind in direction.iterfind("direction-type"):
        words = " ".join("".join(word.itertext()).strip() for word in kind.iterfind("words"))
        if words and sound is not None and steered and "al" in words.lower().split():
            mark_words(reader.bar, words, reader.cursor_q)  # a <sound> cannot say "al Fine"
        elif words and not steered and mark_words(reader.bar, words, reader.cursor_q):
            reader.notes.say(f'the words "{words[:30]}" are followed as the sign they stand for')
        if not steered and kind.find("segno") is not None:
            reader.bar.segno = ""
        if not steered and kind.find("coda") is not None:
            reader.bar.coda, reader.bar.coda_q = "", reader.cursor_q
        metronome = kind.find("metronome")
        if metronome is not None and (sound is None or sound.get("tempo") is None):
            _metronome(metronome, reader)


def read_sound(sound: Element, reader: Reading) -> bool:
    """Tempo and jumps of a <sound>; whether it steers the playing order."""
    bar = reader.bar
    tempo = sound.get("tempo")
    if tempo is not None:
        _tempo(tempo, Fraction(1), reader)
    if sound.find("swing") is not None and sound.find("swing/straight") is None:
        reader.notes.say("swing is not played: notes keep their written lengths")
    steered = False
    for name in ("segno", "coda", "tocoda", "dalsegno"):
        label = sound.get(name)
        if label is None:
            continue
        steered = True
        if name == "dalsegno":
            bar.jump, bar.jump_label = "segno", label
        else:
            setattr(bar, "to_coda" if name == "tocoda" else name, label)
    if sound.get("dacapo") == "yes":
        bar.jump = "capo"
        steered = True
    if sound.get("fine") is not None:
        bar.fine_q = reader.cursor_q
        steered = True
    return steered


def _metronome(metronome: Element, reader: Reading) -> None:
    units, rates = metronome.findall("beat-unit"), metronome.findall("per-minute")
    if len(units) != 1 or len(rates) != 1:
        reader.notes.say(f"the metronome mark of {reader.place} relates two note values and is left out")
        return
    unit_q = _UNITS.get((units[0].text or "").strip())
    rate = re.search(r"\d{1,4}(?:\.\d{1,4})?", rates[0].text or "")
    if unit_q is None or rate is None:
        reader.notes.say(f"the metronome mark of {reader.place} cannot be read and is left out")
        return
    dots = len(metronome.findall("beat-unit-dot"))
    _tempo(rate[0], unit_q * (2 - Fraction(1, 2 ** min(dots, 4))), reader)


def _tempo(text: str, unit_q: Fraction, reader: Reading) -> None:
    if re.fullmatch(r"\d{1,4}(?:\.\d{1,12})?", text.strip()) and float(text) > 0:
        rate = float(text) * float(unit_q)
        if not reader.bar.tempo or reader.bar.tempo[-1] != (reader.cursor_q, rate):
            reader.bar.tempo.append((reader.cursor_q, rate))
    else:
        reader.notes.say(f"the tempo {text[:12]!r} of {reader.place} cannot be used and is left out")


def read_harmony(harmony: Element, reader: Reading) -> None:
    """A chord symbol from root, kind, degrees and bass (MusicXML 4.0 kind-value); what cannot be read becomes a warning."""
    kind = (harmony.findtext("kind") or "").strip()
    if kind == "none":
        reader.notes.count("no-chord signs are not followed, the chord before holds on", f"measure {reader.bar_name}")
        return
    root = _named(harmony, "root")
    quality = KINDS.get(kind)
    symbol = readable(f"{root}{quality}") if root and quality is not None else None
    if symbol is None or root is None or quality is None:
        reader.notes.count(f"chord symbols of the kind {kind[:24]!r} cannot be read and are left out", f"measure {reader.bar_name}")
        return
    degrees = "".join(_degree(degree) for degree in harmony.iterfind("degree"))
    bass = _named(harmony, "bass")
    full = readable(f"{root}{quality}{degrees}")
    if full is None:
        reader.notes.count("added or altered degrees of chord symbols are left out", f"measure {reader.bar_name}")
        full = symbol
    symbol = f"{full}/{bass}" if bass and bass != root else full
    onset_q = reader.cursor_q
    offset = (harmony.findtext("offset") or "").strip()
    if reader.divisions and re.fullmatch(r"[+-]?\d{1,9}(?:\.\d{1,6})?", offset):
        onset_q = max(Fraction(0), onset_q + Fraction(offset) / reader.divisions)
    reader.bar.chords.append((onset_q, moved_symbol(symbol, reader.semitones, reader.written_sharps)))


def _named(harmony: Element, which: str) -> str | None:
    element = harmony.find(which)
    if element is None:
        return None
    step = (element.findtext(f"{which}-step") or "").strip()
    alter = (element.findtext(f"{which}-alter") or "0").strip()
    if not re.fullmatch(r"[A-G]", step) or not re.fullmatch(r"[+-]?\d(?:\.0+)?", alter) or abs(float(alter)) > 2:
        return None
    return step + _ACCIDENTALS[int(float(alter))]


def _degree(degree: Element) -> str:
    value, alter, kind = ((degree.findtext(f"degree-{tag}") or "").strip() for tag in ("value", "alter", "type"))
    sign = _ACCIDENTALS.get(int(alter), "?") if re.fullmatch(r"[+-]?\d", alter or "0") and alter else ""
    return f"{'add' if kind == 'add' and not sign else '' if kind in {'add', 'alter'} else '?'}{sign}{value}"
