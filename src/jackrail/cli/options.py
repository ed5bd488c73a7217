"""The options that several commands share, and the values they make."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from jackrail.api import Choice, Wishes


_UNASKED = {
    "--prefer": "balance",
    "--repeats": "alike",
    "--harmony": "any",
    "--ornaments": "none",
    "--leave": "late",
    "--slides": "none",
    "--strokes": "single",
    "--dynamics": "written",
}
"""What a fit does when nothing is asked for: the defaults of `Wishes`, known here without loading it (a test compares)."""


def _share(_ctx: click.Context, _param: click.Parameter, value: str | None) -> float | None:
    """A share given as a number or in per cent: 0.5 or 50%. How much it may be is the reader's to say."""
    if value is None:
        return None
    try:
        return float(value.strip().removesuffix("%")) / (100.0 if value.strip().endswith("%") else 1.0)
    except ValueError:
        raise click.BadParameter(f"{value!r} is no share; write 0.5 or 50%") from None


def _with(options: Sequence[Callable[..., Any]], command: Callable[..., None]) -> Callable[..., None]:
    """A command with options, shown in their order."""
    for option in reversed(options):
        command = option(command)
    return command


def _one_of(name: str, words: tuple[str, ...], text: str) -> Callable[..., Any]:
    """An option that is one of some words, unasked the one that `Wishes` takes for it."""
    return click.option(name, type=click.Choice(words), default=_UNASKED[name], show_default=True, help=text)


def reading_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say which music of a file is read, and how. `choice_of` makes one value of them."""
    options = (
        click.option("--number", type=int, metavar="X", help="ABC: the tune numbered X: in a file of several.  [the first]"),
        click.option("--part", metavar="PART", help="MusicXML: a part, by number, id or name.  [the melody's]"),
        click.option("--voice", metavar="VOICE", help="ABC, MusicXML: one voice.  [all; MusicXML: of the upper staff]"),
        click.option("--track", type=int, metavar="N", help="MIDI: track N.  [the likeliest melody]"),
        click.option("--channel", type=int, metavar="N", help="MIDI: channel N, 1 to 16."),
        click.option("--line", type=click.Choice(["all", "top"]), help="All notes that sound together, or the highest.  [all; MIDI: top]"),
        click.option("--quantise", callback=_share, metavar="SHARE", help="MIDI: move notes onto the beat's grid, 0 to 1 or 100%.  [0]"),
    )
    return _with(options, command)


def choice_of(options: dict[str, Any]) -> Choice:
    """Take what `reading_options` asked for out of the options of a command."""
    from jackrail.api import Choice

    return Choice(**{field.name: options.pop(field.name) for field in fields(Choice)})


def fitting_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say how a tune is to be fitted."""
    options = (
        click.option("--key", metavar="KEY", help="Play in this key: G, Em, Bb.  [best for the machine]"),
        click.option("--transpose", type=int, metavar="N", help="Move by N semitones, instead of --key."),
        click.option("--tempo", metavar="TEMPO", help='Quarter notes a minute, "96", or a share, "80%".  [best]'),
        _one_of("--prefer", ("balance", "tempo", "notes", "sustain", "chords", "key"), "What matters most."),
        _one_of("--repeats", ("alike", "free"), "Arrange what comes again as before, or each time for itself."),
        _one_of("--harmony", ("any", "written", "none"), "Chords: also those told from the music or proposed, or none."),
        click.option("--strum", default="downbeats", show_default=True, metavar="HOW", help="When chords are struck: docs/fitting.md."),
        _one_of("--ornaments", ("none", "graces", "all"), "Small notes to try: grace notes, or trills and the like too."),
        _one_of("--leave", ("late", "early"), "When a bar leaves a note: early lets it be heard sliding."),
        _one_of("--slides", ("none", "written", "free"), "Glide into notes instead of striking: where written, or to keep a note."),
        _one_of("--strokes", ("single", "double", "tremolo"), "Strike long notes again: halfway, or as fast as the pick can."),
        click.option("--vibrato", is_flag=True, help="Sway the bar under long notes, on machines that can."),
        click.option("--rolled", is_flag=True, help="Notes that start together begin one after the other."),
        _one_of("--dynamics", ("even", "beats", "written"), "How hard hammers strike that can do it softly."),
        click.option("--point", type=int, metavar="N", help="Take point N of fit --front instead of the best by the weights."),
    )
    return _with(options, command)


def wishes_of(options: dict[str, Any]) -> Wishes:
    """What `fitting_options` asked for, all that is left of the options of a command."""
    from jackrail.api import Wishes

    return Wishes(**options)
