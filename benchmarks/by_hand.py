"""What one would do by hand, as an honest rival of the fit: the best single transposition, then slower until everything fits.

By hand: take the transposition that brings most of the melody onto the machine in its own octave (of equals the one with more
chords, then the nearest), leave out what has no place there, give each note to the first voice that has it and is not taken
at that moment, strike every chord symbol whose bar there is (a seventh as its plain triad too, as a player would), and slow
the whole tune down, without limit, until every move, pluck and stroke fits. Nothing else is left out, nothing is moved by octaves.
Written apart from the fit: it shares with it the machine's voices, the tune, and what a note weighs.
"""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.motion.voice import Voice
from jackrail.pitch import Chord, parse_chord
from jackrail.setting.melody import melody_of
from jackrail.setting.taste import note_weights
from jackrail.tune.model import Tune

LEAST_RING_S = 0.06


@dataclass(frozen=True)
class ByHand:
    """What is kept. tempo: share of the written one; weight: kept share of what the melody weighs; notes, chords: kept of all."""

    transpose: int
    tempo: float
    weight: float
    notes: int
    notes_total: int
    chords: int
    chords_total: int


def set_by_hand(tune: Tune, voices: tuple[Voice, ...]) -> ByHand:
    """The best transposition at the tempo at which all that it brings onto the machine can be played."""
    places = _places(voices)
    bars = {v: parse_chord(voice.chord) for v, voice in enumerate(voices) if voice.part == "chord"}
    symbols = [(tune.seconds_at(one.onset_q), one.chord) for one in tune.chords if not one.silent]
    melody = sorted(melody_of(tune))
    weights = note_weights(tune)

    def struck(transpose: int) -> list[tuple[float, int]]:
        return [(at_s, bar) for at_s, chord in symbols if (bar := _bar(chord.transposed(transpose), bars)) is not None]

    def worth(transpose: int) -> tuple[int, int, int]:
        found = sum(tune.notes[n].midi + transpose in places for n in melody)
        return found, len(struck(transpose)), -abs(transpose)

    transpose = max(range(-48, 49), key=worth)
    given = _given(tune, places, transpose, melody)
    strokes = struck(transpose)
    kept = sum(weights[n] for n, _, _ in given)
    return ByHand(
        transpose,
        1.0
        / max(
            1.0,
            _slowdown([(tune.seconds_at(tune.notes[n].onset_q), v, p) for n, v, p in given], voices),
            _slowdown([(s, v, 0) for s, v in strokes], voices),
        ),
        kept / sum(weights[n] for n in melody),
        len(given),
        len(melody),
        len(strokes),
        len(symbols),
    )


def _places(voices: tuple[Voice, ...]) -> dict[int, list[tuple[int, int]]]:
    places: dict[int, list[tuple[int, int]]] = {}
    for v, voice in enumerate(voices):
        for p, place in enumerate(voice.places):
            if voice.part == "melody" and place.midi is not None:
                places.setdefault(place.midi, []).append((v, p))
    return places


def _bar(chord: Chord, bars: dict[int, Chord]) -> int | None:
    """The bar with the chord's tones, else with its plain triad."""
    triad = frozenset((chord.root + interval) % 12 for interval in chord.intervals[:3])
    for wanted in (chord.classes, triad):
        for v, bar in bars.items():
            if bar.classes == wanted:
                return v
    return None


def _given(tune: Tune, places: dict[int, list[tuple[int, int]]], transpose: int, melody: list[int]) -> list[tuple[int, int, int]]:
    """(note, voice, place): each note of the melody to the voice that has it and is free for longest; one voice never starts two."""
    last: dict[int, float] = {}
    given = []
    for n in melody:
        at_s = tune.seconds_at(tune.notes[n].onset_q)
        free = [(v, p) for v, p in places.get(tune.notes[n].midi + transpose, ()) if last.get(v, -1.0) < at_s]
        if free:
            v, p = min(free, key=lambda way: last.get(way[0], -1.0))
            last[v] = at_s
            given.append((n, v, p))
    return given


def _slowdown(sounded: list[tuple[float, int, int]], voices: tuple[Voice, ...]) -> float:
    """How much slower everything must go so that each voice can do all its notes, one after the other."""
    last: dict[int, tuple[float, int]] = {}
    slowest = 0.0
    for at_s, v, p in sounded:
        if v in last:
            before_s, q = last[v]
            voice = voices[v]
            need_s = voice.rearm_s if p == q else max(voice.rearm_s, LEAST_RING_S + voice.move_s[q][p])
            slowest = max(slowest, need_s / (at_s - before_s))
        last[v] = (at_s, p)
    return slowest
