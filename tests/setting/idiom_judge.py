"""What a played setting must keep, reckoned afresh from the machine file and the cues, with none of the program's own tables.

Moves by the closed form of constant acceleration (textbook: d >= v^2/a takes d/v + v/a, less takes 2 sqrt(d/a)), pitches by
x = L (1 - 2^(-k/12)), coils by the duty rule of docs/SPEC-roll.md stepped through in milliseconds.
"""

import math
from itertools import pairwise

import pytest

from jackrail.machine.mechanism import FrettedString, Hammer, KickedPick, TravellingStop

LEAST_RING_S = 0.06
"""How long a note must sound before its bar may leave (docs/fitting.md)."""


def takes_s(distance_mm, carriage):
    v, a = carriage.speed_mm_s, carriage.acceleration_mm_s2
    return distance_mm / v + v / a if distance_mm >= v * v / a else 2 * math.sqrt(distance_mm / a)


def stands_mm(string, midi):
    return string.scale_length_mm * (1 - 2 ** (-(midi - string.midi) / 12))


def moves_of(work, carriage):
    """(start, end, from mm, to mm) of each move of a carriage, in order."""
    motor = work.machine.mechanism.motor(carriage.motor)
    step_mm = carriage.travel_per_turn_mm / (motor.steps_per_turn * motor.microsteps)
    at, moves = carriage.home_at_mm, []
    for cue in work.cues:
        if cue.device == carriage.motor and cue.action == "move":
            to = carriage.home_at_mm + step_mm * cue.value
            if to != at:
                moves.append((cue.time_s, cue.time_s + takes_s(abs(to - at), carriage), at, to))
            at = to
    return moves


def strikes_of(work):
    """Moments at which each voice strikes, by its id: of a setting's notes, strokes and beats."""
    ids = work.ensemble.voice_ids
    strikes = {ident: [] for ident in ids}
    for note in work.setting.notes:
        strikes[ids[note.voice]] += [*([] if note.slid else [note.onset_s]), *note.again_s]
    for one in (*work.setting.strokes, *work.setting.beats):
        strikes[ids[one.voice]].append(one.onset_s)
    return {ident: sorted(times) for ident, times in strikes.items()}


def judged(work):
    """Assert that nothing in a work is late, lost on the way, too soon for its mechanism, out of reach or too hot."""
    assert [finding.message for finding in work.findings if finding.severity == "error"] == []
    assert work.comparison.missing == work.comparison.extra == ()
    assert work.comparison.worst_late_s < 0.001
    strikes = strikes_of(work)
    for part in work.machine.mechanism.voices:
        struck = strikes[part.id]
        coil = part.coil if isinstance(part, Hammer) else part.pluck.coil if isinstance(getattr(part, "pluck", None), KickedPick) else None
        if isinstance(part, Hammer) and part.touches:
            _hammer_flies(work, part, struck)
        elif coil is not None:
            _coil_bears(work.machine.mechanism, coil, part.pulse_s if isinstance(part, Hammer) else part.pluck.pulse_s, struck)
        if isinstance(part, TravellingStop):
            _bar_stands(work, part, struck)
        if isinstance(part, FrettedString):
            _finger_is_down(work, part)


def _hammer_flies(work, hammer, struck):
    """Each blow of a hammer with touches comes when its touch says after a pulse of that length, none before it is back from the last.

    Let go before it arrives it flies, so it is back a release after its blow; else a release after it is let go.
    """
    coil = work.machine.mechanism.coil(hammer.coil)
    arrives_s = {round(1e6 * touch.pulse_s): touch.pull_in_s for touch in hammer.touches} | {round(1e6 * hammer.pulse_s): coil.pull_in_s}
    pulses = [(cue.time_s, cue.value) for cue in work.cues if cue.device == coil.id]
    blows = [(on_s, on_s + pulse_s, on_s + arrives_s[round(1e6 * pulse_s)]) for on_s, pulse_s in pulses]
    assert [blow_s for *_, blow_s in blows] == pytest.approx(struck, abs=1e-6)
    for (_, off_s, blow_s), (on_s, *_) in pairwise(blows):
        assert on_s >= max(off_s, blow_s) + coil.release_s
    heat_s, at_s = 0.0, 0.0
    for on_s, off_s, _ in blows:
        heat_s = max(0.0, heat_s - (on_s - at_s) * coil.max_duty) + (off_s - on_s) * (1 - coil.max_duty)
        assert heat_s <= coil.max_on_s * (1 - coil.max_duty) + 1e-9
        at_s = off_s


def _coil_bears(mechanism, ident, pulse_s, struck):
    coil, relay = mechanism.coil(ident), mechanism.relay_of(mechanism.coil(ident))
    rearm_s = pulse_s + coil.release_s + (relay.release_s if relay else 0.0)
    assert all(later - earlier >= rearm_s for earlier, later in pairwise(struck))
    heat_s, at_s = 0.0, 0.0
    for strike_s in struck:
        heat_s = max(0.0, heat_s - (strike_s - at_s) * coil.max_duty)
        for _ in range(round(1000 * pulse_s)):
            heat_s += 0.001 * (1 - coil.max_duty)
        at_s = strike_s + pulse_s
        assert heat_s <= coil.max_on_s * (1 - coil.max_duty) + 1e-9


def _bar_stands(work, part, struck):
    """Each strike finds the bar where its note is, still and settled; every note rings before the bar leaves for another."""
    carriage, string = part.carriage, work.machine.instrument.string(part.string)
    moves = moves_of(work, carriage)
    assert all(next_s >= end_s - 0.001 for (_, end_s, _, _), (next_s, *_) in pairwise(moves))
    assert all(carriage.lowest_mm - 0.1 <= to <= carriage.highest_mm + 0.1 for *_, to in moves)
    notes = [note for note in work.setting.notes if work.ensemble.voice_ids[note.voice] == part.id]
    for note in notes:
        exact = stands_mm(string, note.midi)
        for strike_s in (*(() if note.slid else (note.onset_s,)), *note.again_s):
            before = [move for move in moves if move[0] <= strike_s]
            # the ramp's rounding to steps is worth 1.25 step intervals at most (tests/motion), a millisecond is more
            assert not before or before[-1][1] + carriage.settle_s <= strike_s + 0.001
            assert abs((before[-1][3] if before else carriage.home_at_mm) - exact) < 0.1
            # the next move begins once the note has spoken; the roll's grid is 50 us
            assert all(move[0] >= strike_s + LEAST_RING_S - 0.0001 for move in moves if move[0] > strike_s)
        if note.slid:
            # full speed is a whole number of timer ticks a step, up to 1 % slower than the file's: 4 ms in a move of 0.4 s
            (arrived,) = [move for move in moves if abs(move[1] - note.onset_s) < 0.004]
            assert abs(arrived[3] - exact) < 0.1


def _finger_is_down(work, part):
    """Every strike of a fretted note falls between the pressing of its finger and its lifting."""
    presses = {finger.fret: finger.coil for finger in part.fingers}
    open_midi = work.machine.instrument.string(part.string).midi
    for note in work.setting.notes:
        fret = note.midi - open_midi
        if work.ensemble.voice_ids[note.voice] == part.id and fret:
            holds = [cue for cue in work.cues if cue.device == presses[fret]]
            for strike_s in (note.onset_s, *note.again_s):
                last = [cue for cue in holds if cue.time_s <= strike_s][-1]
                assert last.action == "hold"
                assert last.time_s + work.machine.mechanism.coil(presses[fret]).pull_in_s + part.settle_s <= strike_s


def on_at_once(work):
    """How many coils are on at once at the most, by the cues."""
    spans = [(cue.time_s, cue.time_s + cue.value) for cue in work.cues if cue.action == "pulse"]
    return max(sum(on_s <= at_s < off_s for on_s, off_s in spans) for at_s, _ in spans)
