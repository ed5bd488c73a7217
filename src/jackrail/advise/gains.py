"""What would it take? For one tune: what each single change to the machine would gain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from jackrail.machine.machine import Machine
from jackrail.motion.ensemble import make_ensemble
from jackrail.motion.voice import Voice
from jackrail.setting.fit import arrange
from jackrail.setting.model import SetNote, Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Tune

from .changes import Change, changes_of, exchanges_of

_LEAST = 1e-6
_MOST_MOVES = 5
_MOST_KEYS = 6
"""Places are tried for so many keys at most: those that the tune wants most."""


@dataclass(frozen=True)
class Gain:
    """What a change would gain. tempo: added to the share of the written tempo; notes, chords: kept more; cost: less of it.

    at_least: it was only tried in the key as it is and at the written tempo, so there may be more to gain.
    """

    name: str
    caution: str
    tempo: float
    notes: int
    chords: int
    cost: float
    at_least: bool = False

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a gain in `jackrail fit --changes --json`, see docs/formats.md."""
        return {
            "change": self.name,
            "caution": self.caution,
            "tempo": round(self.tempo, 6),
            "notes": self.notes,
            "chords": self.chords,
            "cost": round(self.cost, 6),
            "at_least": self.at_least,
        }


@dataclass(frozen=True)
class TightMove:
    """A move with hardly any time to spare: where it arrives, from and to which place, what it needs with its ringing and what it has.

    freed: changes under which it needs less, each with what it then needs, the least first.
    """

    place: str
    origin: str
    target: str
    needs_s: float
    has_s: float
    freed: tuple[tuple[str, float], ...]

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a move in `jackrail fit --changes --json`, see docs/formats.md."""
        where = {"place": self.place, "from": self.origin, "to": self.target}
        times = {"needs_s": round(self.needs_s, 6), "has_s": round(self.has_s, 6)}
        return {**where, **times, "freed": [{"change": name, "needs_s": round(needs_s, 6)} for name, needs_s in self.freed]}


def tight_moves(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> tuple[TightMove, ...]:
    """The moves with the least time to spare of a tune, and what would free them; each pair of places once."""
    wishes = wishes or Wishes()
    voices = make_ensemble(machine.instrument, machine.mechanism).voices
    played, now = arrange(tune, voices, machine.name, wishes)
    changes = [change for change in changes_of(machine) if not change.slow and change.voices is not None]
    least_s = wishes.weights.least_ring_s
    found: dict[tuple[int, int, int], TightMove] = {}
    for early, late in sorted(_moves(now.notes), key=lambda move: _spare_s(move, voices)):
        v, p, q = early.voice, early.place, late.place
        if (v, p, q) in found or len(found) == _MOST_MOVES:
            continue
        needs_s = least_s + voices[v].move_s[p][q]
        quicker = [(change.name, least_s + change.voices[v].move_s[p][q]) for change in changes if change.voices is not None]
        freed = sorted((one for one in quicker if one[1] < needs_s - 1e-6), key=lambda one: one[1])
        place = played.place(played.notes[late.index].onset_q)
        names = voices[v].places[p].name, voices[v].places[q].name
        found[v, p, q] = TightMove(place, *names, needs_s, late.onset_s - early.onset_s, tuple(freed))
    return tuple(found.values())


def _moves(notes: Sequence[SetNote]) -> list[tuple[SetNote, SetNote]]:
    """Each note and the next of its voice, where that is at another place."""
    before: dict[int, SetNote] = {}
    found = []
    for note in notes:
        early = before.get(note.voice)
        if early is not None and early.place != note.place:
            found.append((early, note))
        before[note.voice] = note
    return found


def _spare_s(move: tuple[SetNote, SetNote], voices: Sequence[Voice]) -> float:
    early, late = move
    return late.onset_s - early.onset_s - voices[early.voice].move_s[early.place][late.place]


def gains_of(machine: Machine, tune: Tune, wishes: Wishes | None = None, *, strings: bool = True) -> tuple[Gain, ...]:
    """What each single change to a machine would gain for a tune, the most first; what gains nothing is left out.

    strings: also second melody strings, which take a second or so. Raises BadInput like `arrange`.
    """
    wishes = wishes or Wishes()
    voices = make_ensemble(machine.instrument, machine.mechanism).voices
    played, now = arrange(tune, voices, machine.name, wishes)
    changes = [*changes_of(machine, _wanted(played, now, voices), _chords_lost(now)), *_exchanges(machine, played, now, voices)]
    gains = [_gain(change, tune, now, wishes) for change in changes if strings or not change.slow]
    return tuple(sorted((gain for gain in gains if gain.cost > _LEAST), key=lambda gain: -gain.cost))


def _gain(change: Change, tune: Tune, now: Setting, wishes: Wishes) -> Gain:
    if change.slow:
        wishes = replace(wishes, transpose=now.transpose_semitones, key=None, tempo=wishes.tempo or "100%", repeats="free", point=None)
    assert change.voices is not None  # noqa: S101 - others are not offered
    then = arrange(tune, change.voices, "", wishes)[1]
    return Gain(
        change.name,
        change.caution,
        then.tempo_factor - now.tempo_factor,
        then.notes_kept - now.notes_kept,
        then.chords_kept - now.chords_kept,
        now.cost - then.cost,
        change.slow,
    )


def _wanted(tune: Tune, setting: Setting, voices: Sequence[Voice]) -> list[int]:
    """Keys that the tune has in its place and no voice sounds, those of most time first; then those within the machine's range."""
    places = {place.midi for voice in voices for place in voice.places if voice.part == "melody" and place.midi is not None}
    if not places:
        return []
    lengths: dict[int, float] = {}
    for note in tune.notes:
        key = note.midi + setting.transpose_semitones
        if key not in places:
            lengths[key] = lengths.get(key, 0.0) + float(note.duration_q)
    within = [key for key in range(min(places), max(places)) if key not in places and key not in lengths]
    return [*sorted(lengths, key=lambda key: -lengths[key]), *within][:_MOST_KEYS]


def _chords_lost(setting: Setting) -> list[str]:
    """Chord symbols, as they sound, that are not played as written; none where the tune was moved, and names would not be those of bars."""
    lost = [loss.written for loss in setting.losses if loss.kind in ("chord-lost", "chord-changed")]
    return list(dict.fromkeys(lost)) if not setting.transpose_semitones % 12 else []


def _exchanges(machine: Machine, tune: Tune, setting: Setting, voices: Sequence[Voice]) -> Iterator[Change]:
    """A stop that stands idle in this tune moved to where one is wanted."""
    used = {(note.voice, note.place) for note in setting.notes}
    for v, voice in enumerate(voices):
        idle = [place.name for p, place in enumerate(voice.places) if (v, p) not in used]
        if voice.travels and idle:
            for key in _wanted(tune, setting, voices)[:2]:
                yield from exchanges_of(machine, key, idle[0])
            return
