"""Which chords for the bars, and which stops for the melody string, serve a songbook best: both proven.

The model. A tune is played in one key: of all transpositions those that bring nearly as much of its melody onto the machine's places as the
best does. What a set of chord bars gives a tune is the share of its chord time that has its triad among them; what a set
of stops gives it is the share of its melody's weight that has its key among them. Speed does not count here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from jackrail.machine.geometry import stop_position_mm
from jackrail.machine.instrument import Instrument
from jackrail.machine.mechanism import TravellingStop
from jackrail.motion.voice import Voice
from jackrail.pitch import class_name, parse_chord, pitch_name
from jackrail.setting.melody import melody_of
from jackrail.setting.taste import note_weights
from jackrail.tune.model import Tune

from .columns import Chosen, Row, enumerated, programmed, value_of

NEARLY = 0.02
"""A key that brings so much less of the melody's weight onto the machine will still do."""
_FURTHEST = 24
_KINDS: dict[tuple[int, ...], str] = {(0, 4, 7): "", (0, 3, 7): "m", (0, 3, 6): "dim", (0, 4, 8): "aug"}
Triad = tuple[int, str]


@dataclass(frozen=True)
class Advised:
    """A choice of chords or stops. names: chosen; share: of what the songbook asks for; now: what the machine gives as it is."""

    names: tuple[str, ...]
    share: float
    bound: float
    now: float
    proven: bool

    def to_json(self) -> dict[str, object]:
        """The stable JSON of a choice in `jackrail advise --json`, see docs/formats.md."""
        shares = {"share": round(self.share, 6), "bound": round(self.bound, 6), "now": round(self.now, 6)}
        return {"names": list(self.names), **shares, "proven": self.proven}


def best_bars(tunes: Sequence[Tune], voices: Sequence[Voice], sizes: Iterable[int]) -> list[Advised]:
    """For each number of chord bars the chords that give the songbook most, as long as more give more; empty without chord symbols.

    Exact: all sets are gone through, as far as they could win. Chords of one tune count as much as those of another.
    """
    times = [(tune, _chord_times(tune)) for tune in tunes]
    groups = [(time, _keys(tune, voices)) for tune, time in times if time]
    triads = sorted({_moved(triad, key) for time, keys in groups for triad in time for key in keys})
    table = [[_chord_row(time, key, triads) for key in keys] for time, keys in groups]
    own = [_triad(voice.chord) for voice in voices if voice.part == "chord"]
    mine = [column for column, triad in enumerate(triads) if triad in own]
    names = [_named(triad) for triad in triads]
    found = [_advised(enumerated(table, size), table, mine, names, size) for size in sizes if size > 0] if table else []
    return [one for one, before in zip(found, [None, *found], strict=False) if before is None or one.names != before.names]


def best_stops(tunes: Sequence[Tune], instrument: Instrument, part: TravellingStop, limit_s: float = 60.0) -> Advised | None:
    """The stops, as many as the bar has, that let it sound most of the songbook's melodies; None for a bar that stands anywhere.

    Exact by an integer programme, with its bound when `limit_s` is reached.
    """
    if part.stops is None:
        return None
    string = instrument.string(part.string)
    positions = {key: stop_position_mm(string.scale_length_mm, key - string.midi) for key in range(string.midi, string.midi + 37)}
    keys = [key for key, at_mm in positions.items() if part.carriage.lowest_mm <= at_mm <= part.carriage.highest_mm]
    table = [_stop_rows(tune, keys) for tune in tunes]
    mine = [column for column, key in enumerate(keys) if pitch_name(key) in part.stops]
    chosen = programmed([rows for rows in table if rows], len(part.stops), limit_s)
    return _advised(chosen, table, mine, [pitch_name(key) for key in keys], len(part.stops))


def _advised(chosen: Chosen, table: Sequence[Sequence[Row]], mine: Sequence[int], names: Sequence[str], size: int) -> Advised:
    """What was chosen, or what the machine has where nothing is better."""
    whole, now = float(len(table)), value_of(table, mine)
    stay = len(mine) <= size and now >= chosen.value - 1e-9
    columns = mine if stay else chosen.columns
    return Advised(
        tuple(names[c] for c in columns), max(chosen.value, now if stay else 0.0) / whole, chosen.bound / whole, now / whole, chosen.proven
    )


def _weights(tune: Tune) -> dict[int, float]:
    """Share of the melody's weight that each of its keys has."""
    weights, melody = note_weights(tune), melody_of(tune)
    whole = sum(weights[n] for n in melody)
    shares: dict[int, float] = {}
    for n in melody:
        shares[tune.notes[n].midi] = shares.get(tune.notes[n].midi, 0.0) + weights[n] / whole
    return shares


def _keys(tune: Tune, voices: Sequence[Voice]) -> list[int]:
    """Semitones, 0 to 11, by which the tune can be moved so that the machine has places for nearly as much of it as it can."""
    places = {place.midi for voice in voices for place in voice.places if voice.part == "melody" and place.midi is not None}
    shares = _weights(tune)
    found = {t: sum(share for key, share in shares.items() if key + t in places) for t in range(-_FURTHEST, _FURTHEST + 1)}
    best = max(found.values())
    return sorted({t % 12 for t, share in found.items() if share >= best - NEARLY})


def _stop_rows(tune: Tune, keys: Sequence[int]) -> list[Row]:
    """What each key of the string would give the tune, for each transposition that brings something onto it."""
    shares = _weights(tune)
    rows = (tuple(shares.get(key - t, 0.0) for key in keys) for t in range(keys[0] - max(shares), keys[-1] - min(shares) + 1))
    return [row for row in rows if any(row)]


def _chord_times(tune: Tune) -> dict[Triad, float]:
    """Share of its chord time that the tune spends on each triad."""
    times: dict[Triad, float] = {}
    for chord, end_q in zip(tune.chords, [*(later.onset_q for later in tune.chords), tune.end_q][1:], strict=True):
        triad = None if chord.silent else _triad(chord.symbol)
        if triad is not None:
            times[triad] = times.get(triad, 0.0) + float(end_q - chord.onset_q)
    whole = sum(times.values())
    return {triad: time / whole for triad, time in times.items()} if whole else {}


def _chord_row(times: dict[Triad, float], key: int, triads: Sequence[Triad]) -> Row:
    moved = {_moved(triad, key): time for triad, time in times.items()}
    return tuple(moved.get(triad, 0.0) for triad in triads)


def _triad(symbol: str) -> Triad | None:
    """Root and kind of the triad of a symbol; None for chords that have none of the usual ones."""
    chord = parse_chord(symbol)
    kind = _KINDS.get(tuple(chord.intervals[:3]))
    return None if kind is None else (chord.root, kind)


def _moved(triad: Triad, semitones: int) -> Triad:
    return (triad[0] + semitones) % 12, triad[1]


def _named(triad: Triad) -> str:
    return class_name(triad[0]) + triad[1]
