"""One ABC tune (ABC 2.1) as a `Tune`, and what a file of tunes offers."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import EVERYTHING, Choice, Offer
from jackrail.tune.model import Tune
from jackrail.tune.score.assemble import assemble
from jackrail.tune.score.bar_lengths import check_lengths, find_starts, number_bars

from .layers import merged, part_order
from .listing import tune_offer, voice_offers
from .text import TuneText
from .tune_lines import TuneLines
from .voice import Voice


def list_abc(tunes: Sequence[TuneText]) -> list[Offer]:
    """Each tune of a file; of a file with one tune, its voices as well, if it has more than one and can be read."""
    offers = [tune_offer(tune, chosen=tune is tunes[0]) for tune in tunes]
    if len(tunes) > 1:
        return offers
    try:
        lines = TuneLines(tunes[0])
        lines.read()
    except BadInput:
        return offers
    return [*offers, *voice_offers(lines)]


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
    check_lengths(bars, notes)
    if tune.stray:
        notes.say(f"music on line {tune.stray} follows an empty line and belongs to no tune: left out")
    if tune.default:
        notes.say(f"the field on line {tune.default} stands outside the tunes and is not followed (ABC 2.1 section 10.5.2)")
    order = part_order(bars, next(iter(lines.voices.values())).parts, lines.part_order, notes)
    return assemble(tune.title or title, bars, order, notes)


def _chosen(lines: TuneLines, wanted: str | None) -> list[Voice]:
    """The voices to read: all, or the one asked for before the others, which then give what holds for all but no notes."""
    voices = [voice for voice in lines.voices.values() if voice.finish()]
    heard = [voice.name for voice in voices if voice.note_count]
    if wanted is None:
        if len(heard) > 1:
            lines.notes.say(f"{len(heard)} voices are read together as one melody: {', '.join(heard[:8])}")
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
