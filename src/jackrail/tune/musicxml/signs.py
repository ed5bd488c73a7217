"""What steers the playing of a MusicXML part: bar lines, directions and <sound> (MusicXML 4.0, elements barline, direction, sound).

What a <sound> says counts before what is drawn. A segno or a coda sign at the very end of a measure is for the next one.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from jackrail.tune.model import Quarters
from jackrail.tune.score.written import WrittenBar, mark_words

from .reading import NUMBER, Reading
from .tempo import read_metronome, read_tempo_words, set_tempo

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_MOST_PASS = 64
_MOST_WORDS = 200
_PASS = re.compile(r"(\d{1,2})(?:\s*[-–]\s*(\d{1,2}))?")
_TO_CODA = {"to", "to coda", "al coda", "da coda", "al", "to the"}


def read_barline(barline: Element, reader: Reading) -> None:
    """Repeat signs and endings; <segno>, <coda> drawn on the line."""
    left = barline.get("location") == "left" or (barline.get("location") is None and reader.cursor_q == 0)
    ending, repeat = barline.find("ending"), barline.find("repeat")
    if ending is not None:
        _ending(ending, reader, left=left)
    if repeat is not None:
        if barline.get("location") == "middle":
            reader.notes.count("a repeat sign in the middle of a measure is taken at its end", reader.measure)
        _repeat(repeat, reader, left=left, ends=ending is not None and ending.get("type") != "start")
    for name in ("segno", "coda"):
        if barline.find(name) is not None:
            reader.marks.append((name, "", Fraction(0) if left else None))


def _repeat(repeat: Element, reader: Reading, *, left: bool, ends: bool) -> None:
    """A repeat sign; a forward one on the right is for the next bar, a backward one on the left for the bar before.

    ends: an ending closes at its bar line. One that is never closed ends where another repeat begins or ends.
    """
    direction = repeat.get("direction", "")
    if direction == "forward" and not left:
        reader.marks.append(("forward-repeat", "", None))
    elif direction == "forward":
        reader.bar.repeat_start = True
        if not reader.bar.ending_start:
            _close_ending(reader, now=True)
    elif direction == "backward":
        times = repeat.get("times", "2")
        if not re.fullmatch(r"\d{1,2}", times) or int(times) < 1:
            reader.fault("a repeat sign has a number of times that cannot be used", repr(times[:12]), "1 to 99")
            return
        if left and not reader.bars:
            reader.notes.say("a repeat sign before the first bar has nothing to repeat and is left out")
            return
        bar = reader.bars[-1] if left else reader.bar
        bar.repeat_end = int(times)
        bar.after_jump = repeat.get("after-jump") == "yes"
        if not ends and not (left and reader.bar.ending_start):
            _close_ending(reader, now=left)
    else:
        reader.fault("a repeat sign has no direction", repr(direction[:12]), "forward or backward")


def _close_ending(reader: Reading, *, now: bool) -> None:
    if reader.ending:
        where = "before" if now else "with"
        reader.notes.count(f"an ending has no end of its own: it ends {where} the measure with the repeat sign", reader.measure)
    reader.ending = frozenset()
    reader.endings = 0
    if now:
        reader.bar.ending = frozenset()


def _ending(ending: Element, reader: Reading, *, left: bool) -> None:
    if ending.get("type") != "start":
        if not reader.ending and not reader.bar.ending:
            reader.notes.say(f"the ending that closes at {reader.place} has no beginning: what stands before it is played each time")
        reader.ending = frozenset()
        if left and not reader.bar.ending_start:
            reader.bar.ending = frozenset()
        return
    if not left:
        reader.notes.count("an ending begins at the right of a measure: it is taken for the whole measure", reader.measure)
    number = ending.get("number", "").strip()
    passes = _passes(number or (ending.text or ""))
    if not passes and number:
        reader.fault("an ending has no number", repr(number[:12]), "1 to 64")
        return
    if not passes:  # legal: "when software knows that an ending is present, but cannot determine the type" (ending-number)
        passes = frozenset({reader.endings + 1})
        reader.notes.count(f"an ending has no number: it is taken as ending {reader.endings + 1}", reader.measure)
    if 1 in passes:
        reader.endings = 0
    else:
        _stretch_ending(reader)
    reader.endings = max(reader.endings, *passes)
    reader.ending = reader.bar.ending = passes
    reader.bar.ending_start = True


def _stretch_ending(reader: Reading) -> None:
    """An ending that closes some bars before its repeat sign, where the next ending begins, is meant to reach it."""
    bars = reader.bars
    if not bars or not bars[-1].repeat_end or bars[-1].ending:
        return
    at = len(bars) - 1
    while at >= 0 and not bars[at].ending:
        if bars[at].repeat_start or (bars[at].repeat_end and at < len(bars) - 1):
            return
        at -= 1
    if at < 0:
        return
    for bar in bars[at + 1 :]:
        bar.ending = bars[at].ending
    reader.notes.count("an ending that closes before its repeat sign is taken up to it", f"bar {bars[-1].number}")


def _passes(text: str) -> frozenset[int]:
    """Numbers of passes in a list: "1, 2" or "1-3"."""
    out: set[int] = set()
    for first, last in _PASS.findall(text[:_MOST_WORDS]):
        out |= set(range(int(first), int(last or first) + 1))
    return frozenset(out & set(range(1, _MOST_PASS + 1)))


def is_steering(text: str) -> bool:
    """Whether words stand for a jump, a Fine or a sign."""
    return mark_words(WrittenBar(0), text, Fraction(0))


def read_direction(direction: Element, reader: Reading) -> None:
    """Signs, words and tempo over the music."""
    sound = direction.find("sound")
    onset_q = _onset_q(direction.find("offset"), reader, default="no")
    steered = sound is not None and read_sound(sound, reader, onset_q)
    numbered = sound is not None and sound.get("tempo") is not None
    texts = []
    for kind in direction.iterfind("direction-type"):
        texts.append(" ".join("".join(words.itertext()).strip() for words in kind.iterfind("words"))[:_MOST_WORDS])
        metronome = kind.find("metronome")
        if metronome is not None and not numbered:
            read_metronome(metronome, onset_q, reader)
    texts = [text for text in texts if text.strip()]
    drawn = {name for name in ("segno", "coda") if direction.find(f"direction-type/{name}") is not None}
    if steered:
        _until(texts, drawn, reader)
    else:
        _follow(texts, drawn, onset_q, reader)
    for text in texts:
        read_tempo_words(text, onset_q, reader, numbered=numbered)


def _onset_q(offset: Element | None, reader: Reading, default: str = "yes") -> Quarters:
    """Where reading stands, moved by an offset if that is meant for playing, too."""
    if offset is None or offset.get("sound", default) != "yes":
        return reader.cursor_q
    return max(Fraction(0), reader.moved_q(offset))


def _until(texts: list[str], drawn: set[str], reader: Reading) -> None:
    """A <sound> cannot say "al Fine" or "al Coda": the words beside it do."""
    said = WrittenBar(0)
    text = " ".join(texts)
    if not text or not mark_words(said, text, Fraction(0)) or not said.jump:
        return
    if reader.bar.jump and reader.bar.jump != said.jump:
        reader.notes.count(f'the words "{text[:30]}" and the <sound> beside them disagree: the <sound> is followed', reader.measure)
        return
    reader.bar.jump = said.jump
    reader.bar.until = said.until or ("coda" if "coda" in drawn else "")


def _follow(texts: list[str], drawn: set[str], onset_q: Quarters, reader: Reading) -> None:
    """Signs that are only drawn or written in words."""
    whole = " ".join(texts)
    jump = WrittenBar(0)
    jumps = mark_words(jump, whole, onset_q) and bool(jump.jump)
    for text in [whole] if jumps else texts:
        said = WrittenBar(0)
        if mark_words(said, text, onset_q):
            reader.notes.remark(f'the words "{text[:30]}" are followed as the sign they stand for')
            _take(said, onset_q, reader)
    if jumps:
        reader.bar.until = jump.until or ("coda" if "coda" in drawn else "")
        return
    if "coda" in drawn and whole.lower().strip(" .") in _TO_CODA:
        reader.bar.to_coda, reader.bar.to_coda_q = "", onset_q
        drawn = drawn - {"coda"}
    reader.marks += [(name, "", onset_q) for name in sorted(drawn)]


def _take(said: WrittenBar, onset_q: Quarters, reader: Reading) -> None:
    """Put what words said on the bar."""
    bar = reader.bar
    if said.jump:
        bar.jump, bar.until = said.jump, said.until
    if said.to_coda is not None:
        bar.to_coda, bar.to_coda_q = said.to_coda, onset_q
    bar.fine_q = bar.fine_q if said.fine_q is None else said.fine_q
    reader.marks += [(name, "", onset_q) for name in ("segno", "coda") if getattr(said, name) is not None]
    if said.segno is None and said.coda is None:
        _warn_of_place(reader, onset_q)


def read_sound(sound: Element, reader: Reading, onset_q: Quarters | None = None) -> bool:
    """Tempo and jumps of a <sound>; whether it steers the playing order. onset_q: where its direction stands."""
    own = sound.find("offset")
    if onset_q is None or own is not None:
        onset_q = _onset_q(own, reader)
    tempo = sound.get("tempo")
    if tempo is not None:
        set_tempo(tempo, Fraction(1), onset_q, reader)
    if sound.find("swing") is not None and sound.find("swing/straight") is None:
        reader.notes.say("swing is not played: notes keep their written lengths")
    return _steer(sound, onset_q, reader)


def _steer(sound: Element, onset_q: Quarters, reader: Reading) -> bool:
    bar = reader.bar
    steered = False
    for name in ("segno", "coda"):
        if sound.get(name) is not None:
            steered = True
            reader.marks.append((name, sound.get(name, ""), onset_q))
    if sound.get("forward-repeat") == "yes":
        reader.marks.append(("forward-repeat", "", onset_q))
    jumps = [name for name in ("dacapo", "dalsegno", "tocoda", "fine") if sound.get(name) not in {None, "no"}]
    for name in jumps:
        if name == "tocoda":
            bar.to_coda, bar.to_coda_q = sound.get(name), onset_q
        elif name == "fine":
            bar.fine_q = onset_q
            _last_length(sound.get(name, ""), reader)
        else:
            bar.jump, bar.jump_label = ("capo", "") if name == "dacapo" else ("segno", sound.get(name, ""))
    if jumps:
        _warn_of_place(reader, onset_q)
    passes = _passes(sound.get("time-only", ""))
    if passes and {"dacapo", "dalsegno"} & set(jumps):
        bar.jump_on = passes
    elif passes and (jumps or sound.get("tempo") is not None):
        reader.notes.count("what a <sound> says for some passes only holds for all", reader.measure)
    return steered or bool(jumps)


def _warn_of_place(reader: Reading, onset_q: Quarters) -> None:
    """A jump or a Fine at the very beginning of a measure may have been meant for the end of the one before."""
    if onset_q == 0 and reader.bars and (reader.bar.jump or reader.bar.fine_q is not None):
        reader.notes.count("a jump or Fine stands at the beginning of a bar, which is played before it is taken", reader.measure)


def _last_length(text: str, reader: Reading) -> None:
    """A number after fine= is the length of the last note, in divisions."""
    if text != "yes" and NUMBER.fullmatch(text) and reader.divisions:
        length_q = Fraction(text) / reader.divisions
        last = max(reader.bar.notes, key=lambda note: note.onset_q + note.duration_q, default=None)
        if last is not None and last.duration_q != length_q:
            what = f"at the Fine the last note is meant to last {float(length_q):g} quarters: played as written"
            reader.notes.count(what, reader.measure)


def settle_marks(reader: Reading) -> list[tuple[str, str]]:
    """Put segno, coda and implied repeat signs where they belong; those at the end of the bar are handed on to the next."""
    handed_on = []
    for name, label, onset_q in reader.marks:
        if onset_q is None or (onset_q and onset_q >= reader.bar.length_q):
            handed_on.append((name, label))
            if name == "segno":
                reader.notes.count("a segno at the end of a measure is taken for the beginning of the next", reader.measure)
        else:
            set_mark(reader.bar, name, label, onset_q)
    reader.marks.clear()
    return handed_on


def set_mark(bar: WrittenBar, name: str, label: str, onset_q: Quarters) -> None:
    """Put a segno, a coda sign or an implied repeat sign at onset_q of `bar`."""
    if name == "forward-repeat":
        bar.repeat_start = True
    elif name == "segno":
        bar.segno = label
    elif bar.coda is None:
        bar.coda, bar.coda_q = label, onset_q
