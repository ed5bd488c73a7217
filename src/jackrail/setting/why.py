"""Why this tempo and why this key: which moves hold the tempo, what the written key would have cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.findings import count
from jackrail.pitch import moved_signature

from .hindrance import gap, move_named, needed
from .naming import interval, spelt_name
from .parts import Parts
from .search import Found
from .solver import Event, Option
from .wishes import Wishes

_JUST_S = 1e-6
_SAME = 5e-4
_MOST_NAMES = 4


@dataclass(frozen=True)
class _Change:
    """From one note of a voice, before, to its next, index. have_s: between their onsets; spare_s: what of that is not needed."""

    before: int
    index: int
    have_s: float
    spare_s: float
    early: Option
    late: Option


def why(parts: Parts, found: Found, wishes: Wishes) -> tuple[str, ...]:
    """A sentence on the tempo and one on the key of an arrangement."""
    return f"Tempo: {_tempo(parts, found, wishes)}.", f"Key: {_key(parts, found, wishes)}."


def _tempo(parts: Parts, found: Found, wishes: Wishes) -> str:
    asked = f"--tempo {wishes.tempo.strip()}" if wishes.tempo else "--prefer tempo" if wishes.prefer == "tempo" else _point(wishes)
    if asked:
        return f"{_share(found)}, as asked for ({asked})"
    changes = sorted(_changes(parts, found), key=lambda change: change.spare_s)
    if found.slowdown > 1:
        return f"{_share(found)}, held by {_holding(parts, found, changes)}"
    lost = sum(option is None for option in found.notes.options)
    if lost:
        return f"as written; a slower one costs more than it would save of the {count(lost, 'note')} left out"
    if not changes:
        return "as written; nothing has to move"
    return f"as written; the tightest move is {_named(parts, changes[0])}, with {1000 * max(0.0, changes[0].spare_s):.0f} ms to spare"


def _point(wishes: Wishes) -> str:
    return "" if wishes.point is None else f"--point {wishes.point}"


def _share(found: Found) -> str:
    """The tempo beside the written one."""
    return "as written" if abs(found.slowdown - 1) < _SAME else f"{100 / found.slowdown:.3g} % of the written one"


def _holding(parts: Parts, found: Found, changes: list[_Change]) -> str:
    """The first of the moves that would not fit in less time, or the first note that would be cut short."""
    just = [change for change in changes if change.spare_s < _JUST_S]
    rings = [] if just else _just_ringing(parts, found, changes)
    if not just and not rings:
        return "what slower or faster would cost in all"
    first = min(just or rings, key=lambda change: change.index)
    many = len(just or rings) - 1
    if rings:
        return f"{_named(parts, first)}: faster, the note before would be cut short" + (f", as would {many} more" if many else "")
    more = f", as {'does' if many == 1 else 'do'} {many} more" if many else ""
    needs = needed(parts, first.early, first.late)
    return f"{_named(parts, first)}, which needs {needs} and has just that{more}: faster, one of its notes would have to go"


def _just_ringing(parts: Parts, found: Found, changes: list[_Change]) -> list[_Change]:
    """The moves before which a note rings for just as long as it should."""
    events, ringing = parts.notes(found.transpose), []
    for change in changes:
        hold_s, moves_s = events[change.before].hold_s, parts.voices[change.early.voice].move_s
        leaves_s = change.have_s - moves_s[change.early.place][change.late.place]
        if hold_s and change.early.place != change.late.place and abs(leaves_s - hold_s * found.slowdown) < _JUST_S:
            ringing.append(change)
    return ringing


def _named(parts: Parts, change: _Change) -> str:
    voice = parts.voices[change.early.voice]
    a, b = voice.places[change.early.place], voice.places[change.late.place]
    return f"{move_named(voice, a, b)} (into {parts.tune.place(parts.tune.notes[change.index].onset_q)})"


def _changes(parts: Parts, found: Found) -> Iterator[_Change]:
    """Every pair of notes that one voice sounds one after the other."""
    before: dict[int, tuple[int, Option]] = {}
    for index, option in enumerate(found.notes.options):
        if option is not None:
            if option.voice in before:
                early, by = before[option.voice]
                have_s, need_s = gap(parts, found.slowdown, (early, by), (index, option))
                yield _Change(early, index, have_s, have_s - need_s, by, option)
            before[option.voice] = (index, option)


def _key(parts: Parts, found: Found, wishes: Wishes) -> str:
    asked = f"--key {wishes.key.strip()}" if wishes.key else "" if wishes.transpose is None else f"--transpose {wishes.transpose}"
    asked = asked or ("--prefer key" if wishes.prefer == "key" else _point(wishes))
    if asked:
        return f"{f'moved {interval(found.transpose)}' if found.transpose else 'as written'}, as asked for ({asked})"
    if found.transpose == 0:
        return "as written; no other gives up less" if found.proven else "as written; none was found that gives up less"
    there, here = _without_place(parts, 0), _without_place(parts, found.transpose)
    moved = f"moved {interval(found.transpose)}"
    if there[1] == here[1]:
        there, here = (there[0], []), (here[0], [])  # the same chords either way are no reason
    if len(there[0]) + len(there[1]) <= len(here[0]) + len(here[1]):
        return f"{moved}, where the moves fit better; as written there is a place for as much, but less of it in time"
    return f"{moved}, where {_missing(parts, here, found.transpose)}; as written {_missing(parts, there, 0)}"


def _without_place(parts: Parts, transpose: int) -> tuple[list[int], list[str]]:
    """Notes (by index) that no voice has in their octave, and chord symbols that no bar has, in a key."""
    notes = [index for index, event in enumerate(parts.notes(transpose)) if _out_of_reach(event)]
    symbols = [moment.symbol for moment in parts.moments if not moment.repeated]
    return notes, [symbol.symbol for symbol in symbols if not parts.chord_options(symbol.chord.transposed(transpose))]


def _out_of_reach(event: Event) -> bool:
    return not any(option.octaves == 0 for option in event.options)


def _missing(parts: Parts, without: tuple[list[int], list[str]], transpose: int) -> str:
    notes, chords = without
    said = []
    if notes:
        names = _some([_sounding(parts, index, transpose) for index in notes])
        said.append(f"{count(len(notes), 'note')} {'has' if len(notes) == 1 else 'have'} no voice ({names})")
    if chords:
        said.append(f"{count(len(chords), 'chord')} {'has' if len(chords) == 1 else 'have'} no bar ({_some(chords)})")
    return " and ".join(said) or "every note has its place"


def _sounding(parts: Parts, index: int, transpose: int) -> str:
    note = parts.tune.notes[index]
    return spelt_name(note.midi + transpose, moved_signature(parts.tune.sharps_at(note.onset_q), transpose))


def _some(names: list[str]) -> str:
    different = list(dict.fromkeys(names))
    return ", ".join(different[:_MOST_NAMES]) + (" and others" if len(different) > _MOST_NAMES else "")
