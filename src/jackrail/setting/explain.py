"""Explanations: each note or chord given up, with bar, beat and the cause in the maker's words and units."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from jackrail.motion.voice import Place, Voice
from jackrail.pitch import moved_signature, pitch_name
from jackrail.tune.embellish import small_notes_of
from jackrail.tune.model import Ornament, Tune, TuneNote

from .model import Loss, Setting
from .naming import spelt_name
from .parts import Parts
from .search import Found
from .solver import Option


class Explainer:
    """Tells what an arrangement gave up. lead_in_s: seconds before the tune's first moment."""

    def __init__(self, parts: Parts, found: Found, lead_in_s: float) -> None:
        self._parts, self._found, self._lead_in_s = parts, found, lead_in_s
        self._events = parts.notes(found.transpose)

    def losses(self) -> list[Loss]:
        """Everything given up, in time order."""
        return sorted([*self._note_losses(), *self._chord_losses()], key=lambda loss: loss.onset_s)

    def _note_losses(self) -> Iterator[Loss]:
        tune = self._parts.tune
        for index, (note, option) in enumerate(zip(tune.notes, self._found.notes.options, strict=True)):
            if option is not None and option.octaves == 0:
                continue
            written, midi = _written(tune, note), note.midi + self._found.transpose
            place, at_s = tune.place(note.onset_q), self._at_s(self._parts.onsets_s[index])
            if index in self._parts.barred:
                yield self._torn(index, at_s)
            elif option is None:
                yield Loss("small-lost" if note.ornamental else "note-lost", place, at_s, written, "", self._why_lost(index, midi), index)
            else:
                played = pitch_name(midi + 12 * option.octaves)
                yield Loss("note-folded", place, at_s, written, played, self._why_folded(index, midi), index)

    def _torn(self, index: int, at_s: float) -> Loss:
        """A small note of an ornament that is left out as a whole is told with it, at its main note."""
        main = self._parts.tune.notes[self._parts.lent[index]]
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
        why = self._least_hindrance(index, own or list(options)) or "keeping it would cost more of the notes around it"
        return why if own else f"no voice has {self._sounding(index, midi)}; in another octave {why}"

    def _sounding(self, index: int, midi: int) -> str:
        """A note as it would sound, spelt for the key it comes to."""
        sharps = self._parts.tune.sharps_at(self._parts.tune.notes[index].onset_q)
        return spelt_name(midi, moved_signature(sharps, self._found.transpose))

    def _why_folded(self, index: int, midi: int) -> str:
        own = [option for option in self._events[index].options if option.octaves == 0]
        if not own:
            return f"no voice has {self._sounding(index, midi)}"
        return self._least_hindrance(index, own) or "its neighbours could not be kept otherwise"

    def _least_hindrance(self, index: int, options: list[Option]) -> str:
        """What stands in the way of the option that comes nearest to fitting, "" when one would fit."""
        ways = [self._hindrance(index, option) for option in options]
        if None in ways:
            return ""
        (_, text), option = min(((way, option) for way, option in zip(ways, options, strict=True) if way), key=lambda pair: pair[0][0])
        several = len({option.voice for option in options}) > 1
        return f"{self._parts.voices[option.voice].id}: {text}" if several else text

    def _hindrance(self, index: int, option: Option) -> tuple[float, str] | None:
        """By how many seconds the event does not fit beside the chosen neighbours of that voice, at the worse side, and why."""
        chosen = self._found.notes.options
        found = []
        for others in (range(index - 1, -1, -1), range(index + 1, len(chosen))):
            neighbours = ((other, chosen[other]) for other in others)
            near = next(((other, by) for other, by in neighbours if by is not None and by.voice == option.voice), None)
            if near is not None:
                found.append(self._too_soon(*sorted([(index, option), near], key=lambda pair: pair[0])))
        return max((way for way in found if way is not None), default=None)

    def _too_soon(self, early: tuple[int, Option], late: tuple[int, Option]) -> tuple[float, str] | None:
        """Why one voice cannot sound both of two events, None if it can. Each is an event's index and how it would sound."""
        onsets_s, voice = self._parts.onsets_s, self._parts.voices[early[1].voice]
        have_s = (onsets_s[late[0]] - onsets_s[early[0]]) * self._found.slowdown
        need_s = self._parts.rules.needs[early[1].voice][early[1].place][late[1].place]
        if have_s >= need_s - 1e-9:
            return None
        a, b = voice.places[early[1].place], voice.places[late[1].place]
        return need_s - have_s, self._why_too_soon(voice, a, b, have_s, need_s)

    def _why_too_soon(self, voice: Voice, a: Place, b: Place, have_s: float, need_s: float) -> str:
        both = f"two strokes on {a.name}" if a == b else f"{a.name} and {b.name}"
        if have_s == 0 and a == b:
            return f"{a.name} is struck for another note at the same moment"
        if have_s == 0:
            return f"{both} start together and one voice sounds one note at a time"
        digits = 0 if round(1000 * have_s) < round(1000 * need_s) else 1
        have, need = f"{1000 * have_s:.{digits}f} ms", f"{1000 * need_s:.{digits}f} ms"
        if need_s <= voice.rearm_s:
            return f"{both} are {have} apart and it takes {need} to strike again"
        ring_s = self._parts.taste.least_ring_s
        move = f"{1000 * (need_s - ring_s):.{digits}f} ms after {1000 * ring_s:.0f} ms of ringing"
        how_far = f"is {abs(b.position_mm - a.position_mm):.0f} mm and takes" if voice.travels else "takes"
        return f"{a.name} to {b.name} {how_far} {move}; there are {have}"

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
                yield Loss("chord-changed", place, at_s, written, self._parts.voices[option.voice].chord, "the bar has the plain triad")

    def _why_silent(self, fitting: list[tuple[int, float]]) -> str:
        if fitting:
            return "its bar would not be ready again"
        has_bars = any(voice.part == "chord" for voice in self._parts.voices)
        return "no chord bar has these notes" if has_bars else "this machine has no chord bars"


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
