"""The beat's grid: written rhythms, played by a hand that scatters, come back; what holds for any notes.

Judge: the rhythm as it was written, before it was scattered by numbers drawn from a normal distribution.
"""

import random
from fractions import Fraction
from itertools import accumulate, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.tune.inference.grid import by_hand, follows_beat, quantised
from jackrail.tune.model import Bar, TuneNote

TICKS = 960
SIGMA_S, BEATS_A_MINUTE = 0.012, 100.0
SIGMA_TICKS = SIGMA_S * BEATS_A_MINUTE / 60 * TICKS  # 19 ticks

T, T2 = Fraction(1, 3), Fraction(2, 3)
# Lengths in quarters of two bars or more, a negative one is a rest; each row is played twenty times over.
JIG = [*[0.5] * 6, 1, 0.5, 1.5, 0.75, 0.25, 0.5, 1, 0.5, *[0.5] * 3, 0.25, 0.25, 0.5, 0.5, 1, -0.5, 1.5]
REEL = [0.75, 0.25, 0.75, 0.25, 0.5, 0.5, 0.75, 0.25, 1, 0.25, 0.75, 0.5, 0.5, 1, 0.25, 0.25, 0.25, 0.25, 1, 0.75, 0.25, 1, 0.5, -0.5]
WALTZ = [2, 1, T, T, T, 1, 0.5, 0.5, 1.5, 0.5, 1, 1, T2, T, T, T, T, 3, 2, -1]
TUNES = {"jig": (JIG, 6, 8), "reel": (REEL, 4, 4), "waltz": (WALTZ, 3, 4)}


def bars_of(beats: int, unit: int, end: Fraction) -> list[Bar]:
    length = Fraction(4 * beats, unit)
    return [Bar(n * length, length, n + 1, beats, unit) for n in range(int(end / length) + 1)]


def written(rhythm: list[float | Fraction]) -> list[TuneNote]:
    lengths = [Fraction(length) for length in rhythm] * 20
    onsets = [Fraction(0), *accumulate(map(abs, lengths))]
    return [TuneNote(on, length, 60 + n % 12) for n, (on, length) in enumerate(zip(onsets, lengths, strict=False)) if length > 0]


def played(notes: list[TuneNote], seed: int, sigma_ticks: float = SIGMA_TICKS) -> list[TuneNote]:
    """Onsets and ends scattered, on whole ticks; nothing begins before 0."""
    dice = random.Random(seed)  # noqa: S311
    out = []
    for note in notes:
        on = max(0, round(note.onset_q * TICKS + dice.gauss(0, sigma_ticks)))
        off = max(on + 1, round((note.onset_q + note.duration_q) * TICKS + dice.gauss(0, sigma_ticks)))
        out.append(TuneNote(Fraction(on, TICKS), Fraction(off - on, TICKS), note.midi))
    return sorted(out, key=lambda note: note.onset_q)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("name", TUNES)
def test_a_written_rhythm_comes_back_at_full_strength(name, seed):
    rhythm, beats, unit = TUNES[name]
    notes = written(rhythm)
    bars = bars_of(beats, unit, notes[-1].onset_q)
    got = quantised(played(notes, seed), bars, 1.0)
    assert len(got) == len(notes)
    right = sum(note == wanted for note, wanted in zip(got, notes, strict=True))
    assert right >= 0.99 * len(notes)


@pytest.mark.parametrize("name", TUNES)
def test_half_strength_halves_the_deviation(name):
    rhythm, beats, unit = TUNES[name]
    notes = written(rhythm)
    bars = bars_of(beats, unit, notes[-1].onset_q)
    rough = played(notes, 1)
    full, half = quantised(rough, bars, 1.0), quantised(rough, bars, 0.5)
    for before, now, place in zip(rough, half, full, strict=True):
        assert now.onset_q == (before.onset_q + place.onset_q) / 2
        assert now.onset_q + now.duration_q == (before.onset_q + before.duration_q + place.onset_q + place.duration_q) / 2


def test_a_written_tune_stays_as_it_is():
    for rhythm, beats, unit in TUNES.values():
        notes = written(rhythm)
        assert quantised(notes, bars_of(beats, unit, notes[-1].onset_q), 1.0) == tuple(notes)


def test_strength_0_and_a_tune_without_bars_leave_the_notes_as_played():
    notes = played(written(REEL), 3)
    assert quantised(notes, bars_of(4, 4, notes[-1].onset_q), 0.0) == tuple(notes)
    assert quantised(notes, [], 1.0) == tuple(notes)
    assert quantised([], bars_of(4, 4, Fraction(4)), 1.0) == ()


def test_a_chord_struck_not_quite_at_once_begins_together():
    chord = [TuneNote(Fraction(4 + n, TICKS), Fraction(900, TICKS), 60 + 4 * n) for n in range(3)]
    got = quantised(chord, bars_of(4, 4, Fraction(4)), 1.0)
    assert [(note.onset_q, note.duration_q, note.midi) for note in got] == [(0, 1, 60), (0, 1, 64), (0, 1, 68)]


def test_the_beat_begins_where_the_upbeat_says():
    # an upbeat of an eighth in 4/4 begins half-way into a beat: the next note, at 0.5, is a downbeat
    bars = [Bar(Fraction(0), Fraction(1, 2), 0, 4, 4, starts_q=Fraction(7, 2)), Bar(Fraction(1, 2), Fraction(4), 1, 4, 4)]
    notes = [TuneNote(Fraction(1, 100), Fraction(48, 100), 67), TuneNote(Fraction(52, 100), Fraction(1), 72)]
    got = quantised(notes, bars, 1.0)
    assert [(note.onset_q, note.duration_q) for note in got] == [(0, Fraction(1, 2)), (Fraction(1, 2), 1)]


def ticks_of(notes: list[TuneNote]) -> list[int]:
    return [int(note.onset_q * TICKS) for note in notes]


@pytest.mark.parametrize("name", TUNES)
def test_a_hand_is_told_from_a_program(name):
    notes = written(TUNES[name][0])
    assert not by_hand(ticks_of(notes), TICKS)
    assert by_hand(ticks_of(played(notes, 2)), TICKS)
    assert not by_hand(ticks_of(played(notes, 2))[:15], TICKS)  # too few to tell


def test_few_ticks_a_quarter_cannot_tell_a_hand():
    # 24 ticks a quarter: every tick is a 24th
    assert not by_hand(list(range(0, 4800, 7)), 24)


@pytest.mark.parametrize("name", TUNES)
def test_a_recording_that_does_not_keep_to_the_file_is_told(name):
    """The same playing, at 113 where the file says 100 and with a tempo that wanders by a few per cent."""
    rhythm, beats, unit = TUNES[name]
    rough = played(written(rhythm), 4)
    bars = bars_of(beats, unit, rough[-1].onset_q * 2)
    assert follows_beat(rough, bars)
    dice = random.Random(5)  # noqa: S311
    now, before, free = Fraction(0), Fraction(0), []
    for note in rough:
        now += (note.onset_q - before) * Fraction(round(dice.gauss(113, 4)), 100)
        before = note.onset_q
        free.append(TuneNote(now, note.duration_q, note.midi))
    assert not follows_beat(free, bars)


spans = st.lists(st.tuples(st.integers(0, 200), st.integers(1, 900)), min_size=1, max_size=40)


@given(spans, st.sampled_from([(4, 4), (6, 8), (3, 8), (2, 2), (7, 8), (6, 4)]), st.sampled_from([0.1, 0.5, 1.0]))
def test_no_note_is_lost_shortened_to_nothing_or_overtaken(gaps, metre, strength):
    onsets = list(accumulate(gap for gap, _ in gaps))
    notes = [TuneNote(Fraction(on, 120), Fraction(length, 120), n) for n, (on, (_, length)) in enumerate(zip(onsets, gaps, strict=True))]
    got = quantised(notes, bars_of(*metre, notes[-1].onset_q), strength)
    assert sorted(note.midi for note in got) == [note.midi for note in notes]
    assert all(note.duration_q > 0 and note.onset_q >= 0 for note in got)
    new = {note.midi: note.onset_q for note in got}
    for before, after in pairwise(notes):
        assert new[before.midi] <= new[after.midi]
        if after.onset_q - before.onset_q >= Fraction(1, 16):
            assert new[before.midi] < new[after.midi]
    if strength == 1:  # a 48th of the beats of 3/8 and 6/8 is the finest place
        assert all(note.onset_q * 96 % 1 == 0 for note in got)
