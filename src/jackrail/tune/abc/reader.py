"""One ABC tune (ABC 2.1) as a `Tune`, and what a file of tunes offers."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import EVERYTHING, Choice, Offer
from jackrail.tune.model import Tune
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts, number_bars
from jackrail.tune.score.written import Notes, WrittenBar

from .agreement import say_differences
from .layers import merged, part_order
from .listing import header_fault, tune_offer, voice_offers
from .text import TuneText
from .tune_lines import TuneLines
from .voice import Voice

MOST_READ = 50
"""Most tunes of a file that are read for its listing; a book takes seconds."""
MOST_CHARACTERS_READ = 200_000


def list_abc(tunes: Sequence[TuneText]) -> list[Offer]:
    """Each tune of a file; of a file with one tune, its voices as well, if it has more than one and can be read.

    The tunes of a small file are read for it, to tell their notes or why they cannot be read; of a book only the headers.
    """
    small = len(tunes) <= MOST_READ and sum(len(line) for tune in tunes for _, line in tune.lines) <= MOST_CHARACTERS_READ
    offers: list[Offer] = []
    numbers: set[int] = set()
    for tune in tunes:
        offers.append(tune_offer(tune, _look(tune) if small else header_fault(tune), chosen=not numbers, hidden=tune.number in numbers))
        numbers.add(tune.number)
    if len(tunes) > 1 or (small and offers[0].notes is None):
        return offers
    try:
        lines = TuneLines(tunes[0])
        lines.read()
    except BadInput:
        return offers
    return [*offers, *voice_offers(lines)]


def _look(tune: TuneText) -> list[int] | Fault:
    """The keys of a tune's notes, before repeats are played out, or the first fault why it cannot be read."""
    try:
        read_abc(tune)
        lines = TuneLines(tune)
        lines.read()
    except BadInput as bad:
        return bad.faults[0]
    return [note.midi for voice in lines.voices.values() for bar in voice.finish() for note in bar.notes]


def read_abc(tune: TuneText, title: str = "", warnings: tuple[str, ...] = (), choice: Choice = EVERYTHING) -> Tune:
    """The tune of one block of lines. title: used when it has none. choice.voice: the voice read, by id or name.

    Raises BadInput with all its faults, each of which names its line, or with an "option" fault for a voice it has not.
    """
    lines = TuneLines(tune, warnings)
    lines.read()
    notes = lines.notes
    voices = _chosen(lines, choice.voice)
    bars = merged(voices, notes)
    if not bars:
        raise BadInput(Fault("tune", "the tune has a header but no music", hint="is the file cut short, or an empty line after K:?"))
    find_starts(bars)
    number_bars(bars)
    for voice in voices:
        voice.number_like(bars)
    check_lengths(bars, notes)
    _say_tempo_doubts(lines.tempo_doubts, bars, notes)
    if tune.stray:
        notes.say(f"music on line {tune.stray} follows an empty line and belongs to no tune: left out")
    if tune.default:
        notes.say(f"the field on line {tune.default} stands outside the tunes and is not followed (ABC 2.1 section 10.5.2)")
    order = part_order(bars, lines.parts, lines.part_order, notes)
    if not order:
        hint = "take P: out of the header, or mark its parts in the music"
        raise BadInput(Fault("tune", "the order of parts names no part that the music marks", "P:", lines.part_order[:40], hint=hint))
    return assemble(tune.title or title, bars, order, notes)


def _say_tempo_doubts(doubts: Sequence[tuple[str, str]], bars: Sequence[WrittenBar], notes: Notes) -> None:
    """Q: fields that gave no tempo are left out; if there is no other, the first is said with what is taken instead."""
    alone = bool(doubts) and not any(bar.tempo for bar in bars)
    if alone:
        notes.no_tempo = doubts[0][0]
    for _, where in doubts[alone:]:
        notes.count("a tempo that cannot be read as a number is left out", where)


def _read_together(voices: Sequence[Voice], notes: Notes) -> None:
    """Tell what it means that all voices are read; those for drums are left out unless there are no others."""
    sounding = [voice for voice in voices if voice.note_count]
    drums = [voice for voice in sounding if voice.pitches.drums]
    heard = [voice for voice in sounding if voice not in drums]
    for voice in drums:
        if heard:
            voice.silence()
            notes.say(f"voice {voice.name} has a clef of drums (perc) and is left out; --voice {voice.name} reads it as notes")
        else:
            notes.say(f"voice {voice.name} has a clef of drums (perc): it is read as notes")
    heard = heard or drums
    if len(heard) > 1:
        way_out = "--voice picks one of them, --line top the highest line"
        named = ", ".join(voice.name for voice in heard[:8])
        notes.say(f"{len(heard)} voices are read together as one melody: {named}; {way_out}")
        say_differences(heard, notes)


def _chosen(lines: TuneLines, wanted: str | None) -> list[Voice]:
    """The voices to read: all, or the one asked for before the others, which then give what holds for all but no notes."""
    voices = [voice for voice in lines.voices.values() if voice.finish()]
    heard = [voice.name for voice in voices if voice.note_count]
    if wanted is None:
        _read_together(voices, lines.notes)
        return voices
    found = [voice for voice in voices if wanted == voice.name] or [
        voice for voice in voices if wanted.casefold() == lines.voice_names.get(voice.name, "").casefold()
    ]
    if not found:
        known = ", ".join(f"{name} ({lines.voice_names[name]})" if lines.voice_names.get(name) else name for name in heard[:12])
        raise BadInput(Fault("option", "is no voice of the tune", "--voice", wanted[:40], known, "give one of these"))
    others = [voice for voice in voices if voice is not found[0]]
    for voice in others:
        voice.silence()
    return [found[0], *others]
