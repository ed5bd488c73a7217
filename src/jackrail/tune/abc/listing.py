"""What an ABC file offers: its tunes by their headers, the voices of a tune by their notes."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from jackrail.tune.choice import Offer
from jackrail.tune.score.written import WrittenBar

from .text import TuneText
from .tune_lines import TuneLines
from .voice import Voice


def tune_offer(tune: TuneText, *, chosen: bool) -> Offer:
    """A tune, with rhythm, metre and key as its header has them."""
    named = [("", tune.header("R")), ("", tune.header("M")), ("key ", tune.header("K"))]
    about = ", ".join(before + value for before, value in named if value)
    return Offer("tune", tune.number, tune.title, ("--number", str(tune.number)), about, chosen=chosen)


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
        "" if not name else f"voice {voice.name}",
        notes=len(keys),
        lowest=min(keys),
        highest=max(keys),
        together=_together(voice.bars) / len(keys),
        chosen=True,
    )


def _together(bars: Sequence[WrittenBar]) -> int:
    """How many notes begin while another sounds; of those that begin together all but one do."""
    count, start_q, sounding_q = 0, Fraction(0), Fraction(0)
    for bar in bars:
        for note in sorted(bar.notes, key=lambda note: note.onset_q):
            onset_q = start_q + note.onset_q
            count += onset_q < sounding_q
            sounding_q = max(sounding_q, onset_q + note.duration_q)
        start_q += bar.length_q
    return count
