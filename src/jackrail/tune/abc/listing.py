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
    """How many notes begin while another of the voice sounds, or with one."""
    count, start_q = 0, Fraction(0)
    ends_q = Fraction(-1)  # of what began before
    for bar in bars:
        onsets: dict[Fraction, list[Fraction]] = {}
        for note in bar.notes:
            onsets.setdefault(note.onset_q, []).append(note.duration_q)
        for onset_q in sorted(onsets):
            lengths = onsets[onset_q]
            now_q = start_q + onset_q
            count += len(lengths) if len(lengths) > 1 or now_q < ends_q else 0
            ends_q = max(ends_q, now_q + max(lengths))
        start_q += bar.length_q
    return count
