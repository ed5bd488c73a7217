"""Which channel of which track is the melody.

The rule. Drums (channel 10) never. Asked for by `track` and `channel`: what was asked for. Else tracks whose name says backing, bass,
harmony, chord or accompaniment are looked at only where there are no others. Then a track named like a melody (melody, lead, tune, vocal,
voice, solo, soprano, right and the like, see `tune.part_names`). Else the best sum of five marks, each 0 to 1 with its weight in
`_WEIGHTS`, the first of equals: plays one note at a time; lies high, from the lowest mean key of the candidates to the highest; sounds for
much of the tune, beside the one that sounds longest; begins notes often, beside the one that does most; and its General MIDI family: winds,
strings, synth lead and ethnic 1, bass, pads, percussion and effects 0, the others, or no program, a half. A remark says why, and what was
left out by the words that choose it. In a file of format 2 each track is a tune of its own: the first with notes is read.
"""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import Choice
from jackrail.tune.part_names import says_accompaniment, says_melody
from jackrail.tune.score.written import Notes

from .smf import Smf
from .strands import Strand, has_drums, listed, names_differ, strands_of
from .track import DRUMS

_WEIGHTS = {"one": 2.5, "high": 1.5, "sounds": 1.0, "many": 0.5, "family": 1.0}
"""Judgements: they choose as a person would in the files of the tests; no source."""
_REASONS = {
    "one": "plays one note at a time",
    "high": "lies highest",
    "sounds": "sounds for most of the tune",
    "many": "begins notes most often",
    "family": "has the instrument of a melody",
}
_LEADING = {"strings", "brass", "reed", "pipe", "synth lead", "ethnic"}
_FOLLOWING = {"bass", "synth pad", "synth effects", "percussive", "sound effects"}


def candidates(smf: Smf) -> list[Strand]:
    """Every strand of a file; in a file of format 2 a channel name says nothing across tracks, so each track is looked at alone."""
    if smf.kind != 2:
        return strands_of(smf.tracks)
    return [strand for track in smf.tracks for strand in strands_of([track])]


def choose(smf: Smf, strands: Sequence[Strand], choice: Choice, notes: Notes) -> Strand:
    """The melody by the rule above. Raises BadInput when there is none, or none that was asked for."""
    drums = has_drums(smf.tracks)
    if not strands:
        what = "holds only drums (channel 10), which are not read" if drums else "holds no note that sounds"
        raise BadInput(Fault("tune", f"the file {what}", hint="was it exported with all its tracks?"))
    fitting = _asked_for(smf, strands, choice)
    if drums:
        notes.remark("drums (channel 10) are left out")
    rivals = fitting
    if smf.kind == 2:
        rivals = [strand for strand in fitting if strand.track is fitting[0].track]
    chosen, why = _best(rivals)
    if smf.kind == 2 and choice.track is None:
        why = f"{why}; each track is a tune of its own (format 2)" if len(rivals) > 1 else "each track is a tune of its own (format 2)"
    if len(fitting) == 1 and len(strands) > 1:
        why = "as asked for"
    others = [strand for strand in strands if strand is not chosen]
    if others and not (smf.kind == 2 and choice.track is not None and chosen.alone):
        tell = notes.say if smf.kind == 2 else notes.remark  # whether such tracks are tunes or parts, the file does not say
        tell(_said(chosen, why, others))
    return chosen


def chosen_unasked(smf: Smf, strands: Sequence[Strand]) -> Strand:
    """The one that is read when nothing is asked for."""
    return choose(smf, strands, Choice(), Notes())


def _asked_for(smf: Smf, strands: Sequence[Strand], choice: Choice) -> list[Strand]:
    fitting = [
        strand
        for strand in strands
        if choice.track in {None, strand.track.number} and (choice.channel is None or choice.channel == strand.channel + 1)
    ]
    if fitting:
        return fitting
    looked_in = [track for track in smf.tracks if choice.track in {None, track.number}]
    what = "has no notes " + ("on the channel asked for" if choice.track is None else "in the track asked for")
    if choice.channel == DRUMS + 1 and has_drums(looked_in):
        what = "holds drums on channel 10, and drums are not read"
    elif choice.track is not None and choice.channel is not None:
        what = "has no notes on that channel of that track"
    asked = [f"track {choice.track}"] * (choice.track is not None) + [f"channel {choice.channel}"] * (choice.channel is not None)
    rows: dict[int, list[int]] = {}
    for strand in strands:
        rows.setdefault(strand.track.number, []).append(strand.channel + 1)
    known = [f"track {number} channel {', '.join(map(str, channels))}" for number, channels in rows.items()]
    limit = "; ".join(known[:12]) + ("; ..." if len(known) > 12 else "")
    raise BadInput(Fault("option", what, value=" ".join(asked), limit=limit, hint="`jackrail read FILE --list` shows them"))


def _best(rivals: Sequence[Strand]) -> tuple[Strand, str]:
    """The best of the strands, and why."""
    if len(rivals) == 1:
        return rivals[0], "the only one with notes"
    several = len({strand.track.number for strand in rivals}) > 1
    forward = [strand for strand in rivals if not says_accompaniment(strand.track.title)]
    if len(forward) == 1:
        return forward[0], "the only one whose name does not say accompaniment"
    rivals = forward or rivals
    named = [strand for strand in rivals if says_melody(strand.track.title)]
    if named and several:
        if len(named) == 1:
            return named[0], "named like a melody"
        best, why = _highest_marks(named)
        return best, f"named like a melody and of several it {why}"
    best, why = _highest_marks(rivals)
    return best, f"it {why}"


def _highest_marks(rivals: Sequence[Strand]) -> tuple[Strand, str]:
    marks = _marks(rivals)
    sums = [sum(_WEIGHTS[name] * value for name, value in row.items()) for row in marks]
    best = sums.index(max(sums))
    others = [row for index, row in enumerate(marks) if index != best]
    lead = {name: _WEIGHTS[name] * (value - sum(row[name] for row in others) / len(others)) for name, value in marks[best].items()}
    reasons = [_REASONS[name] for name in sorted(lead, key=lambda name: -lead[name]) if lead[name] > 0.2 and marks[best][name] > 0.75]
    return rivals[best], " and ".join(reasons[:2]) or "comes first of those much alike"


def _marks(rivals: Sequence[Strand]) -> list[dict[str, float]]:
    low = min(strand.mean_key for strand in rivals)
    span = max(strand.mean_key for strand in rivals) - low or 1.0
    length = max(strand.sounding for strand in rivals)
    most = max(strand.beginnings for strand in rivals)
    return [
        {
            "one": 1 - strand.together,
            "high": (strand.mean_key - low) / span,
            "sounds": strand.sounding / length,
            "many": strand.beginnings / most,
            "family": 1.0 if strand.family in _LEADING else 0.0 if strand.family in _FOLLOWING else 0.5,
        }
        for strand in rivals
    ]


def _said(chosen: Strand, why: str, others: Sequence[Strand]) -> str:
    named = names_differ([chosen, *others])
    rest = listed([strand.described(" ".join(strand.options), named=named) for strand in others])
    return f"{chosen.described(chosen.place, named=named)} was read: {why}; left out: {rest}"
