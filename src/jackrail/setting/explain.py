"""Explanations: each note or chord given up, with bar, beat and the cause in the maker's words and units."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from jackrail.pitch import class_name, moved_signature, parse_chord, pitch_name
from jackrail.tune.embellish import small_notes_of
from jackrail.tune.model import ChordSymbol, Ornament, Tune, TuneNote

from .chord_bars import TRIAD, compared
from .hindrance import Hindrance, Sounded, between, move_named
from .model import Loss, LossKind, Setting
from .naming import spelt_name
from .parts import Parts
from .search import Found
from .solver import Option
from .standing import AROUND, Standing


class Explainer:
    """Tells what an arrangement gave up. lead_in_s: seconds before the tune's first moment."""

    def __init__(self, parts: Parts, found: Found, lead_in_s: float) -> None:
        self._parts, self._found, self._lead_in_s = parts, found, lead_in_s
        self._events = parts.notes(found.transpose)
        self._standing = Standing(parts)
        self._lengths_s = parts.lengths.kept_s({index for index, option in enumerate(found.notes.options) if option is not None})

    def losses(self) -> list[Loss]:
        """Everything given up, in time order."""
        return sorted([*self._note_losses(), *self._chord_losses()], key=lambda loss: loss.onset_s)

    def _note_losses(self) -> Iterator[Loss]:
        tune = self._parts.tune
        for index, (note, option) in enumerate(zip(tune.notes, self._found.notes.options, strict=True)):
            if index in self._parts.barred:
                yield self._torn(index, self._at_s(self._parts.onsets_s[index]))
                continue
            for kind, played, reason in self._given_up(index, option):
                place, at_s = tune.place(note.onset_q), self._at_s(self._parts.onsets_s[index])
                yield Loss(kind, place, at_s, _written(tune, note), played, reason, index)

    def _given_up(self, index: int, option: Option | None) -> Iterator[tuple[LossKind, str, str]]:
        """What of one note is given up: kind, what sounds instead, and why."""
        note = self._parts.tune.notes[index]
        midi = note.midi + self._found.transpose
        if option is None:
            yield "small-lost" if note.ornamental else "note-lost", "", self._why_lost(index, midi)
            return
        if option.octaves:
            yield "note-folded", pitch_name(midi + 12 * option.octaves), self._why_folded(index, midi)
        if option.slid:
            yield "note-slid", pitch_name(midi + 12 * option.octaves), self._why_slid(index, option)
        cut = self._why_cut(index, option)
        if cut:
            yield "note-cut", pitch_name(midi + 12 * option.octaves), cut

    def _why_slid(self, index: int, option: Option) -> str:
        before = self._beside(option, range(index - 1, -1, -1))
        rearm_s = self._parts.voices[option.voice].rearm_s
        have_s = (self._parts.onsets_s[index] - self._parts.onsets_s[before[0]]) * self._found.slowdown if before else math.inf
        if have_s >= rearm_s:
            return "slid into, not struck: it follows its neighbour at once"
        return f"slid into, not struck: there are {1000 * have_s:.0f} ms, and it needs {1000 * rearm_s:.0f} ms to strike again"

    def _why_cut(self, index: int, option: Option) -> str:
        """Why a note rings for less than it should, "" when it does not."""
        event = self._events[index]
        after = self._beside(option, range(index + 1, len(self._events))) if event.hold_s else None
        if after is None or after[1].place == option.place:
            return ""
        voice = self._parts.voices[option.voice]
        leaves_s = (self._parts.onsets_s[after[0]] - self._parts.onsets_s[index]) * self._found.slowdown
        leaves_s -= voice.move_s[option.place][after[1].place]
        if leaves_s >= event.hold_s * self._found.slowdown - 1e-9:
            return ""
        move = move_named(voice, voice.places[option.place], voice.places[after[1].place])
        return f"leaves after {leaves_s:.2f} s of {self._lengths_s[index] * self._found.slowdown:.2f} s: {move}"

    def _torn(self, index: int, at_s: float) -> Loss:
        """A small note of an ornament that is left out as a whole is told with it, at its main note."""
        main = self._parts.tune.notes[self._parts.lengths.lent[index]]
        what, place = f"ornament of {_written(self._parts.tune, main)}", self._parts.tune.place(main.onset_q)
        return Loss("small-lost", place, at_s, what, "", "this machine cannot play all of it here", index)

    def _at_s(self, written_s: float) -> float:
        return self._lead_in_s + written_s * self._found.slowdown

    def _why_lost(self, index: int, midi: int) -> str:
        options = self._events[index].options
        if not options:
            sounding = self._sounding(index, midi)
            within = sounding if self._parts.tune.notes[index].ornamental else f"{sounding.rstrip('-0123456789')} within two octaves"
            return f"no voice has {within}"
        own = [option for option in options if option.octaves == 0]
        ways = self._least_hindered(index, own or list(options))
        if not ways:
            return self._as_before(index) or AROUND
        judged = self._standing.judged(index, [way.other for way in ways])
        why = f"{self._text(index, ways, own or list(options))}; {judged}{self._at_tempo(ways)}"
        return why if own else f"no voice has {self._sounding(index, midi)}; in another octave {why}"

    def _sounding(self, index: int, midi: int) -> str:
        """A note as it would sound, spelt for the key it comes to."""
        sharps = self._parts.tune.sharps_at(self._parts.tune.notes[index].onset_q)
        return spelt_name(midi, moved_signature(sharps, self._found.transpose))

    def _why_folded(self, index: int, midi: int) -> str:
        own = [option for option in self._events[index].options if option.octaves == 0]
        if not own:
            return f"no voice has {self._sounding(index, midi)}"
        ways = self._least_hindered(index, own)
        if not ways:
            return self._as_before(index) or "its neighbours could not be kept otherwise"
        return f"{self._text(index, ways, own)}; in this octave it fits{self._at_tempo(ways, 'in its own it')}"

    def _text(self, index: int, ways: list[Hindrance], options: list[Option]) -> str:
        """The worst of what stands in the way, with the voice where several could sound the note."""
        option = next(option for option in options if self._hindrances(index, option) == ways)
        several = len({option.voice for option in options}) > 1
        text = max(ways, key=lambda way: way.short_s).text
        return f"{self._parts.voices[option.voice].id}: {text}" if several else text

    def _at_tempo(self, ways: list[Hindrance], it: str = "it") -> str:
        """At which tempo the note would fit beside all that sounds; "" when no tempo would help."""
        slower = self._found.slowdown * max(way.slower for way in ways)
        if math.isinf(slower):
            return ""
        least = self._parts.taste.least_tempo
        if slower * least > 1:
            return f"; {it} would not fit even at {100 * least:.3g} % of the written tempo, the slowest that is tried"
        return f"; {it} would fit at {100 / slower:.3g} % of the written tempo"

    def _least_hindered(self, index: int, options: list[Option]) -> list[Hindrance]:
        """What stands in the way of the option that comes nearest to fitting, nothing when one would fit."""
        return min((self._hindrances(index, option) for option in options), key=lambda ways: max((way.slower for way in ways), default=0.0))

    def _hindrances(self, index: int, option: Option) -> list[Hindrance]:
        """Why an event does not fit beside the chosen ones before and after it of the same voice."""
        found = []
        for others in (range(index - 1, -1, -1), range(index + 1, len(self._events))):
            near = self._beside(option, others)
            if near is not None:
                early, late = sorted([(index, option), near], key=lambda pair: pair[0])
                found.append(between(self._parts, self._found.slowdown, early, late, near[0]))
        return [way for way in found if way is not None]

    def _beside(self, option: Option, others: range) -> Sounded | None:
        """The first of other events that the same voice sounds."""
        chosen = self._found.notes.options
        neighbours = ((other, chosen[other]) for other in others)
        return next(((other, by) for other, by in neighbours if by is not None and by.voice == option.voice), None)

    def _as_before(self, index: int) -> str:
        """That a note which would fit is treated like others that are the same music again; "" where there are none."""
        tune, chosen = self._parts.tune, self._found.notes.options
        group = next((group for group in self._parts.manner.alike if index in group), ())
        hindered = (other for other in group if other != index and _octaves(chosen[other]) == _octaves(chosen[index]))
        twin = next(hindered, None)
        return "" if twin is None else f"arranged alike with {tune.place(tune.notes[twin].onset_q)}, where the same comes again"

    def _chord_losses(self) -> Iterator[Loss]:
        tune = self._parts.tune
        for moment, option in zip(self._parts.moments, self._found.chords.options, strict=True):
            if moment.repeated:
                continue
            place, at_s = tune.place(moment.symbol.onset_q), self._at_s(moment.onset_s)
            written = moment.symbol.symbol
            fitting = self._parts.chord_options(moment.symbol.chord.transposed(self._found.transpose))
            if option is None:
                yield Loss("chord-lost", place, at_s, written, "", self._why_silent(fitting))
            elif (option.voice, 0) not in fitting:
                bar = self._parts.voices[option.voice].chord
                yield Loss("chord-changed", place, at_s, written, bar, self._why_changed(moment.symbol, bar, dict(fitting)[option.voice]))

    def _why_changed(self, symbol: ChordSymbol, bar: str, far: float) -> str:
        """What a chord bar has of a symbol, as it sounds, and how far it is from it."""
        if far == TRIAD:
            return "the bar has the plain triad"
        chord = symbol.chord.transposed(self._found.transpose)
        shared, lacking, beyond = compared(parse_chord(bar), chord)
        has = " and ".join(filter(None, [_named(lacking, "lacks"), _named(beyond, "has")]))
        return f"no bar is nearer: it shares {_listed(shared)}, {has}; distance {far:g}"

    def _why_silent(self, fitting: list[tuple[int, float]]) -> str:
        if fitting:
            return "its bar would not be ready again"
        has_bars = any(voice.part == "chord" for voice in self._parts.voices)
        return "no chord bar comes near it without a clash" if has_bars else "this machine has no chord bars"


def _named(classes: Sequence[int], verb: str) -> str:
    return f"{verb} {_listed(classes)}" if classes else ""


def _listed(classes: Sequence[int]) -> str:
    return " and ".join(class_name(one) for one in classes)


def _octaves(option: Option | None) -> int | None:
    return None if option is None else option.octaves


def with_roomless(setting: Setting, tune: Tune, ornaments: Sequence[Ornament]) -> Setting:
    """`setting` with the small notes of such ornaments as found no room in `tune` counted and told as left out."""
    lost = [_roomless(setting, tune, one) for one in ornaments for _ in range(small_notes_of(one))]
    losses = sorted([*setting.losses, *lost], key=lambda loss: loss.onset_s)
    return replace(setting, losses=tuple(losses), small_total=setting.small_total + len(lost))


def _roomless(setting: Setting, tune: Tune, one: Ornament) -> Loss:
    names = {"grace": "grace notes before", "after-grace": "grace notes after"}
    written = f"{names.get(one.kind, one.kind.replace('-', ' ') + ' of')} {_written(tune, one)}"
    early = one.kind in ("grace", "slide")
    why = "there is no time before its note" if early else "its note is too short for it at the written tempo"
    at_s = setting.lead_in_s + tune.seconds_at(one.onset_q) / setting.tempo_factor
    return Loss("small-lost", tune.place(one.onset_q), at_s, written, "", why)


def _written(tune: Tune, one: TuneNote | Ornament) -> str:
    return spelt_name(one.midi, tune.sharps_at(one.onset_q))
