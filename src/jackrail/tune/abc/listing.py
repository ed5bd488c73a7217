"""What an ABC file offers: its tunes by their headers, the voices of a tune by their notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from jackrail.faults import Fault
from jackrail.tune.choice import Offer, share_together
from jackrail.tune.model import Quarters
from jackrail.tune.score.written import WrittenBar

from .fields import read_key
from .pitching import FieldError
from .text import TuneText, uncommented
from .tune_lines import TuneLines
from .voice import Voice


def header_fault(tune: TuneText) -> Fault | None:
    """Why a tune cannot be read, as far as its first K: field tells."""
    found = next(((number, line) for number, line in tune.lines if line.startswith("K:")), None)
    if found is None:
        return Fault("missing", "the tune has no K: field", f"line {tune.lines[-1][0]}")
    try:
        read_key(uncommented(found[1][2:]))
    except FieldError as error:
        return Fault("syntax", f"K: {error}", f"line {found[0]}")
    return None


def tune_offer(tune: TuneText, found: Sequence[int] | Fault | None, *, chosen: bool, hidden: bool) -> Offer:
    """A tune, with rhythm, metre and key as its header has them.

    found: the keys of its notes, or why it cannot be read, None when it was not read. hidden: one before it has its number, so nothing
    chooses it.
    """
    named = [("", tune.header("R")), ("", tune.header("M")), ("key ", tune.header("K"))]
    about = ", ".join(before + value for before, value in named if value)
    if hidden:
        about = ", ".join(filter(None, (about, "its number is another tune's: only the first can be read")))
    if isinstance(found, Fault):
        where = f"{found.where}: " if found.where else ""
        about = ", ".join(filter(None, (about, f"cannot be read: {where}{found.what}")))
    options = () if hidden else ("--number", str(tune.number))
    if not found or isinstance(found, Fault):
        return Offer("tune", tune.number, tune.title, options, about, chosen=chosen)
    return Offer("tune", tune.number, tune.title, options, about, len(found), min(found), max(found), chosen=chosen)


def voice_offers(lines: TuneLines) -> list[Offer]:
    """Each voice that has notes, if there is more than one. All are read together when none is asked for."""
    voices = [voice for voice in lines.voices.values() if voice.finish() and voice.note_count]
    if len(voices) < 2:
        return []
    return [_voice_offer(number, voice, lines.voice_names.get(voice.name, "")) for number, voice in enumerate(voices, 1)]


def _voice_offer(number: int, voice: Voice, name: str) -> Offer:
    keys = [note.midi for bar in voice.bars for note in bar.notes]
    return Offer(
        "voice",
        number,
        name or voice.name,
        ("--voice", voice.name),
        ", ".join(filter(None, (f"voice {voice.name}" if name else "", "for drums" if voice.pitches.drums else ""))),
        notes=len(keys),
        lowest=min(keys),
        highest=max(keys),
        together=share_together(_spans(voice.bars)),
        chosen=not voice.pitches.drums,
    )


def _spans(bars: Sequence[WrittenBar]) -> Iterator[tuple[Quarters, Quarters]]:
    """Where each note begins and ends, repeats not played out."""
    start_q = Quarters(0)
    for bar in bars:
        for note in bar.notes:
            yield start_q + note.onset_q, start_q + note.onset_q + note.duration_q
        start_q += bar.length_q
