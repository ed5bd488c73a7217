"""What a caller wants fixed, and what that leaves to the fit: transpositions to try, a tempo or the search for one."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal, get_args

from jackrail.faults import BadInput, Fault
from jackrail.pitch import class_name, parse_chord
from jackrail.tune.model import DEFAULT_QUARTERS_PER_MINUTE, Tune

from .parts import Parts
from .strokes import check_strum
from .taste import Prefer, Taste, preferred

_KEY = re.compile(r"([A-Ga-g])([#b♯♭]?)\s*(major|maj|minor|min|m)?")
_TEMPO = re.compile(r"(\d+(?:\.\d+)?)\s*(%?)")
Leave = Literal["late", "early"]
Ornaments = Literal["none", "graces", "all"]
Harmony = Literal["any", "written", "none"]
Repeats = Literal["alike", "free"]
Slides = Literal["none", "written", "free"]
Strokes = Literal["single", "double", "tremolo"]
Dynamics = Literal["even", "beats", "written"]
_FURTHEST = 48
"""Semitones of the furthest transposition: four octaves."""
_WORDS = {
    "leave": Leave,
    "ornaments": Ornaments,
    "harmony": Harmony,
    "prefer": Prefer,
    "repeats": Repeats,
    "slides": Slides,
    "strokes": Strokes,
    "dynamics": Dynamics,
}


@dataclass(frozen=True)
class Wishes:
    """What the caller wants fixed; None leaves it to the fit.

    key: tonic to play in, as "G" or "Em". transpose: semitones, instead of key. tempo: quarter notes a minute as "96", or
    a share of the written tempo as "80%". leave: "late" lets each note ring at its pitch as long as the travel allows,
    "early" moves as soon as a note has spoken, so that the bar is heard sliding. ornaments: small notes to try as well, of
    grace notes alone or of all `Tune.ornaments`. harmony: "any" also takes chords estimated from the file's accompaniment and,
    where there are none at all, proposes some from the machine's chord bars; "written" only those written; "none" none.

    prefer: what matters most, see `preferred`. repeats: "alike" arranges what comes again as it was the first time, "free" each time
    for itself. strum: when chords are struck, see `strokes.chord_moments`. slides: a bar may glide into a note instead of its being struck,
    nowhere, where a slide is written, or wherever that keeps a note. strokes: "double" strikes long notes again halfway, "tremolo" as
    fast as the pick can. vibrato: bars sway under long notes. rolled: notes that start together begin one after the other, the highest
    on the beat. dynamics: how hard hammers strike that can do so softly: all the same, by the beat, or as written (by the beat where
    nothing is written). point: this point of the trade-off
    (`front.front_of`) instead of the setting of least cost.
    """

    key: str | None = None
    transpose: int | None = None
    tempo: str | None = None
    leave: Leave = "late"
    ornaments: Ornaments = "none"
    harmony: Harmony = "any"
    prefer: Prefer = "balance"
    repeats: Repeats = "alike"
    strum: str = "downbeats"
    slides: Slides = "none"
    strokes: Strokes = "single"
    vibrato: bool = False
    rolled: bool = False
    dynamics: Dynamics = "written"
    point: int | None = None
    taste: Taste = field(default_factory=Taste)

    def __post_init__(self) -> None:
        """Raises BadInput for a word that is none of those above."""
        faults = [
            Fault("option", "is not one of the words it can be", f"--{name}", repr(getattr(self, name)), " or ".join(get_args(choice)))
            for name, choice in _WORDS.items()
            if getattr(self, name) not in get_args(choice)
        ]
        try:
            check_strum(self.strum)
        except BadInput as bad:
            faults += bad.faults
        if faults:
            raise BadInput(faults)

    @property
    def weights(self) -> Taste:
        """The weights of the fit, with what is preferred."""
        return preferred(self.taste, self.prefer)


def transpositions_for(parts: Parts, wishes: Wishes) -> list[int]:
    """The transpositions in semitones that a fit may choose from. Raises BadInput for wishes that cannot be met."""
    if wishes.transpose is not None:
        if wishes.key is not None:
            raise BadInput(Fault("option", "give a key or a transposition, not both", "--key, --transpose"))
        if abs(wishes.transpose) > _FURTHEST:
            limit = f"-{_FURTHEST} to {_FURTHEST} semitones"
            raise BadInput(Fault("option", "is too far to move a tune", "--transpose", str(wishes.transpose), limit))
        return [wishes.transpose]
    every = [transpose for transpose in parts.transpositions() if abs(transpose) <= _FURTHEST] or [0]
    if wishes.key is None:
        written = [transpose for transpose in every if transpose % 12 == 0] if wishes.prefer == "key" else []
        return written or every
    shift = _shift_to(wishes.key, parts.tune)
    return [transpose for transpose in every if transpose % 12 == shift] or [shift if shift <= 6 else shift - 12]


def _shift_to(key: str, tune: Tune) -> int:
    """Semitones, 0 to 11, from the tune's tonic up to the tonic of a key such as "G", "Em" or "Bb major"."""
    match = _KEY.fullmatch(key.strip())
    if match is None:
        hint = "write a tonic, with m for minor: G, Bb, Em; H is B"
        raise BadInput(Fault("option", "cannot be read as a key", "--key", repr(key), hint=hint))
    if tune.key is None or tune.key.tonic_fifths is None:
        raise BadInput(Fault("option", "the tune states no key, so it cannot be moved to one", "--key", key, hint="use --transpose"))
    tonic, mode = parse_chord(match[1].upper() + match[2]).root, match[3] or ""
    if mode in ("m", "min", "minor") and not tune.key.minor:
        hint = f"the tune is {tune.key.mode}: write --key {class_name(tonic)}"
        raise BadInput(Fault("option", "the tune cannot be moved into a minor key", "--key", key, hint=hint))
    if mode in ("maj", "major") and tune.key.minor:
        hint = f"the tune is {tune.key.mode}: write --key {class_name(tonic)}"
        raise BadInput(Fault("option", "the tune cannot be moved into a major key", "--key", key, hint=hint))
    return (tonic - 7 * tune.key.tonic_fifths) % 12


def slowdown_for(tune: Tune, wishes: Wishes) -> float | None:
    """How much longer everything takes than written, or None to search for it. Raises BadInput."""
    if wishes.tempo is None:
        return 1.0 if wishes.prefer == "tempo" else None
    match = _TEMPO.fullmatch(wishes.tempo.strip())
    if match is None:
        hint = 'write quarter notes a minute, like 96, or a share of the written tempo, like "80%"'
        raise BadInput(Fault("option", "cannot be read as a tempo", "--tempo", repr(wishes.tempo), hint=hint))
    factor = float(match[1]) / (100.0 if match[2] else written_tempo(tune))
    if not 0.05 <= factor <= 4.0:
        raise BadInput(Fault("option", "this tempo is out of range", "--tempo", f"{factor:.3g} times the written tempo", "0.05 to 4 times"))
    return 1.0 / factor


def written_tempo(tune: Tune) -> float:
    """Quarter notes a minute at the start of the tune."""
    return tune.tempo[0].quarters_per_minute if tune.tempo else DEFAULT_QUARTERS_PER_MINUTE
