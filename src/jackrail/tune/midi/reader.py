"""The tune in a Standard MIDI File: its melody, bars, tempo, keys and chords.

Which channel of which track is the melody: see `melody`. Where its notes sound together for longer than legato playing explains, the
highest line of them (`inference.line`) is taken and a warning says how many were left out; `Choice.line` "all" keeps every note, "top"
asks for that line, which also cuts what legato holds over. Notes end where their keys are released: the sustain pedal is not
followed, as a plucked or struck melody would only be blurred by it. Chords: see `harmony`; quantising: see `inference.grid`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from jackrail.faults import BadInput, Fault
from jackrail.tune.choice import Choice, Offer
from jackrail.tune.inference.grid import by_hand, follows_beat, quantised
from jackrail.tune.inference.line import TOGETHER_Q, skyline
from jackrail.tune.model import TempoMark, Tune, TuneNote
from jackrail.tune.score.written import Notes

from .conductor import MAX_QUARTERS, Scale, bars_of, doubt_key, key_marks, scale_of, tempo_marks
from .harmony import Accompaniment, estimated_chords, written_chords
from .melody import candidates, choose, chosen_unasked
from .smf import Smf, read_smf
from .strands import Strand
from .track import DRUMS, RawNote, Track

_LONG_REST = 2
"""Bars of rest before the first note that are named."""


def list_midi(data: bytes) -> list[Offer]:
    """Each channel of each track that has notes; drums stand without options among them. Raises BadInput."""
    smf = read_smf(data, Notes())
    strands = candidates(smf)
    chosen = chosen_unasked(smf, strands) if strands else None
    offers = [
        Offer(
            "track",
            strand.track.number,
            strand.track.title,
            strand.options,
            ("a tune of its own, " if smf.kind == 2 else "") + strand.about,
            len(strand.notes),
            min(key for _, _, key in strand.notes),
            max(key for _, _, key in strand.notes),
            strand.together,
            strand is chosen,
        )
        for strand in strands
    ]
    offers += [
        Offer("track", track.number, track.title, (), "drums (channel 10), not read", len(track.notes[DRUMS]))
        for track in smf.tracks
        if DRUMS in track.notes
    ]
    return sorted(offers, key=lambda offer: offer.number)


def read_midi(data: bytes, title: str, choice: Choice) -> Tune:
    """The melody of a file. title: used when the file has none. Raises BadInput."""
    notes = Notes()
    smf = read_smf(data, notes)
    strands = candidates(smf)
    melody = choose(smf, strands, choice, notes)
    conductors = [melody.track] if smf.kind == 2 else smf.tracks
    _say_unfollowed(conductors, melody, notes)
    quarters = scale_of(smf.ticks_per_beat)
    raw, line, under = _lines(melody, choice, smf, notes)
    end_q = quarters(max(off for _, off, _ in raw))
    if end_q > MAX_QUARTERS:
        raise BadInput(Fault("range", "is far too long for a tune", value=f"{float(end_q):.0f} quarters", limit=f"at most {MAX_QUARTERS}"))
    loud = _loudness(melody, raw)
    tune = Tune(
        title=conductors[0].name or title,
        notes=tuple([TuneNote(quarters(on), quarters(off - on), key, velocity=loud(on, key)) for on, off, key in raw]),
        keys=key_marks(conductors, melody.track, quarters, end_q),
    )
    doubt_key(tune.keys, tune.notes, notes)
    if smf.ticks_per_second is not None:
        tune = _in_seconds(tune, conductors, choice, notes)
    else:
        bars = bars_of(conductors, quarters, end_q, notes)
        pickup_q = Fraction(0) if bars[0].downbeat else bars[0].length_q
        tune = replace(tune, tempo=tempo_marks(conductors, quarters, end_q, notes), bars=bars, pickup_q=pickup_q)
        _say_late_entry(tune, notes)
        tune = _on_the_beat(tune, [on for on, _, _ in raw], smf.ticks_per_quarter, choice, notes)
    others = [strand for strand in strands if strand is not melody and strand.track in conductors]
    tune = _with_chords(tune, conductors, Accompaniment.beside(line, others, under, smf.ticks_per_quarter), quarters, notes)
    return replace(tune, warnings=notes.sentences(), remarks=notes.remarks())


def _lines(melody: Strand, choice: Choice, smf: Smf, notes: Notes) -> tuple[Sequence[RawNote], Sequence[RawNote], Sequence[RawNote]]:
    """The notes to play, the highest line of the melody's notes, and what stands under that."""
    raw = melody.notes
    if melody.one_by_one:
        return raw, raw, ()
    line, left = skyline(raw, ceil(TOGETHER_Q * smf.ticks_per_beat))
    if left and choice.line is None:
        were = "were" if len(left) > 1 else "was"
        notes.say(
            f"notes sound together: the highest line was taken, {len(left)} of {len(raw)} notes {were} left out; --line all keeps them"
        )
    played = choice.line == "top" or (left and choice.line is None)
    return line if played else raw, line, left


def _loudness(melody: Strand, raw: Sequence[RawNote]) -> Callable[[int, int], int | None]:
    """The velocity of a note, by its tick and key; None for all where it is the same for all, as of programs that know no loudness."""
    velocities, channel = melody.track.velocities, melody.channel
    if len({velocities.get((channel, on, key)) for on, _, key in raw}) < 2:
        return lambda _on, _key: None
    return lambda on, key: velocities.get((channel, on, key))


def _in_seconds(tune: Tune, conductors: Sequence[Track], choice: Choice, notes: Notes) -> Tune:
    """A tune of a file with SMPTE division, which counts in seconds and has no beats. Raises BadInput when they are asked for."""
    if choice.quantise:
        raise BadInput(
            Fault("option", "has times in seconds (SMPTE division) and no beats", "--quantise", f"{choice.quantise:g}", hint="leave it out")
        )
    notes.say("times are in seconds (SMPTE division): a quarter note stands for one second, there are no bars")
    if any(track.tempos for track in conductors):
        notes.say("tempo marks mean nothing beside times in seconds and are passed over")
    return replace(tune, tempo=(TempoMark(Fraction(0), 60.0),))


def _on_the_beat(tune: Tune, onsets: Sequence[int], ticks_per_quarter: int, choice: Choice, notes: Notes) -> Tune:
    """The tune quantised if that is asked for, and what is to be said of how it was played. onsets: in ticks."""
    human = by_hand(onsets, ticks_per_quarter)
    if human and not follows_beat(tune.notes, tune.bars):
        notes.say("the notes do not follow the beat of the file, as in a recording without it: bars and quantising mean little")
    elif human and choice.quantise is None:
        notes.say("the notes lie off the beat's grid, as played by hand: --quantise 1 moves them onto it, --quantise 0.5 half-way")
    return replace(tune, notes=quantised(tune.notes, tune.bars, choice.quantise)) if choice.quantise else tune


def _say_late_entry(tune: Tune, notes: Notes) -> None:
    """Name a long rest before the melody, such as an introduction or a count-in: it is kept."""
    bar = tune.bar_at(tune.notes[0].onset_q)
    if bar is not None and len(tune.bars) > _LONG_REST and bar.onset_q >= tune.bars[_LONG_REST].onset_q:
        rest_q = float(tune.notes[0].onset_q)
        rest = "1 quarter of rest stands" if rest_q == 1 else f"{rest_q:g} quarters of rest stand"
        notes.remark(f"the melody begins in bar {bar.number}: {rest} before it")


def _with_chords(tune: Tune, conductors: Sequence[Track], beside: Accompaniment, quarters: Scale, notes: Notes) -> Tune:
    written = written_chords(conductors, quarters, tune, notes)
    if written:
        return replace(tune, chords=written, harmony="written")
    chords = estimated_chords(tune, beside, notes)
    return replace(tune, chords=chords, harmony="estimated") if chords else tune


def _say_unfollowed(conductors: Sequence[Track], melody: Strand, notes: Notes) -> None:
    """Name what changes how the melody sounds and is not followed."""
    place = f"channel {melody.channel + 1} of track {melody.track.number}"
    if any(melody.channel in track.bent for track in conductors):
        notes.say(f"pitch bends in {place} are not followed")
    if any(melody.channel in track.retuned for track in conductors):
        notes.say(f"{place} is tuned to other keys (registered parameter 2), which is not followed: its notes may be meant higher or lower")
    if any(melody.channel in track.pedalled for track in conductors):
        notes.say(f"the sustain pedal in {place} is not followed: notes end where their keys are released")
