"""Rolled chords: from the lowest to the highest, the highest on the beat, and none earlier than its voice is free."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from idiom_judge import judged, on_at_once

from jackrail.setting.wishes import Wishes
from jackrail.tune.model import TuneNote
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, examples, machine, tune, tunes

KEEP = Wishes(transpose=0, tempo="100%", rolled=True)


def chords(*rows, tempo=60.0, symbols=()):
    """A tune of chords: each row is its keys, how many quarters it lasts."""
    at, notes = Fraction(0), []
    for keys, quarters in rows:
        notes += [TuneNote(at, Fraction(quarters), key) for key in sorted(keys)]
        at += Fraction(quarters)
    return replace(tune((67, "1"), tempo=tempo, bars=4, chords=symbols), notes=tuple(notes))


def by_pitch(work):
    return sorted(work.setting.notes, key=lambda note: (note.onset_s + note.ahead_s, note.midi))


def test_a_chord_begins_with_its_lowest_note_and_is_complete_on_the_beat():
    """25 to 35 ms apart (common practice, no source)."""
    work = do_work(machine("slipway_harp"), chords(((60, 67, 76), "2"), ((60, 67, 76), "2")), KEEP)
    judged(work)
    for low, middle, high in (by_pitch(work)[:3], by_pitch(work)[3:]):
        assert 0.025 <= middle.onset_s - low.onset_s <= 0.035
        assert 0.025 <= high.onset_s - middle.onset_s <= 0.035
        assert high.ahead_s == 0.0
        assert low.onset_s + low.ahead_s == pytest.approx(high.onset_s)
    assert by_pitch(work)[5].onset_s - by_pitch(work)[2].onset_s == pytest.approx(2.0)


def test_short_chords_are_rolled_faster():
    """Fifths of a tenth of a second: a quarter of that is the most."""
    work = do_work(machine("tower_chimes"), chords(((67, 71, 74), "1/10"), tempo=60.0), KEEP)
    low, middle, high = by_pitch(work)
    assert high.onset_s - low.onset_s == pytest.approx(0.025)
    assert middle.onset_s - low.onset_s == pytest.approx(0.0125)


def test_a_voice_that_is_not_free_is_not_early():
    """The lute's low string strikes G3 and again, as soon as it can: pulse and way back of its pick, or its finger, leave no time."""
    lute = machine("twin_lute")
    rearm_s = next(voice for voice in do_work(lute, tune((67, "1")), Wishes()).ensemble.voices if voice.id == "low").rearm_s
    for spare_s, most in ((0.002, 0.003), (0.1, 0.031)):
        gap = Fraction(rearm_s + spare_s).limit_denominator(10_000)
        made = chords(((55,), gap), ((55, 67), "2"), tempo=60.0)
        work = do_work(lute, made, KEEP)
        judged(work)
        _, low, high = by_pitch(work)
        assert high.ahead_s == 0.0
        assert 0.0 < low.ahead_s <= most
        assert low.ahead_s == pytest.approx(min(0.03, spare_s), abs=2e-4)


def test_the_first_chord_is_rolled_after_everything_is_ready():
    work = do_work(machine("slipway_harp"), chords(((60, 67, 76), "2")), KEEP)
    assert min(cue.time_s for cue in work.cues) >= 0
    judged(work)
    slow = do_work(
        changed(
            "slipway_harp",
            ('pull_in = "12 ms"', 'pull_in = "200 ms"'),
            ('pulse = "30 ms"', 'pulse = "220 ms"'),
            ('max_on = "120 ms"', 'max_on = "600 ms"'),
        ),
        chords(((60, 67, 76), "2")),
        KEEP,
    )
    judged(slow)


def test_chord_bars_and_the_melody_stay_together():
    made = chords(((55, 67), "2"), ((55, 71), "2"), symbols=[(0, "G"), (2, "G")])
    work = do_work(machine("twin_lute"), made, KEEP)
    judged(work)
    tops = [note.onset_s for note in work.setting.notes if note.midi > 60]
    assert [stroke.onset_s for stroke in work.setting.strokes if not stroke.repeated] == pytest.approx(tops)
    assert all(note.ahead_s > 0 for note in work.setting.notes if note.midi < 60)


def test_one_note_at_a_time_is_left_alone():
    made = tune((67, "1"), (71, "1"), (69, "2"), bars=1)
    for name in MACHINE_NAMES:
        assert do_work(machine(name), made, Wishes(rolled=True)).roll_block == do_work(machine(name), made, Wishes()).roll_block


@examples(60)
@given(tunes(), st.sampled_from(["slipway_harp", "twin_lute", "tower_chimes", "harbour_carillon"]), st.sampled_from(["late", "early"]))
def test_rolling_never_makes_a_note_late_or_lost(made, name, leave):
    """Doubled notes of the random tunes are chords of two."""
    work, plain = (do_work(machine(name), made, Wishes(rolled=rolled, leave=leave)) for rolled in (True, False))
    judged(work)
    unrolled = {note.index: note for note in plain.setting.notes}
    assert unrolled.keys() == {note.index for note in work.setting.notes}
    chords_at: dict[float, list] = {}
    for note in work.setting.notes:
        beat_s = unrolled[note.index].onset_s
        assert note.onset_s == pytest.approx(beat_s - note.ahead_s, abs=1e-9)
        assert 0 <= note.ahead_s <= 0.03 * 12
        assert (note.voice, note.place) == (unrolled[note.index].voice, unrolled[note.index].place)
        chords_at.setdefault(beat_s, []).append(note)
    for notes in chords_at.values():
        rising = sorted(notes, key=lambda note: note.midi)
        assert rising[-1].ahead_s == 0.0
        assert all(low.ahead_s >= high.ahead_s - 1e-9 for low, high in pairwise(rising))


def test_a_lowest_note_that_cannot_be_early_keeps_those_above_from_being_earlier():
    """The harp's low pick strikes again after 30 ms on, 25 ms back and half a millisecond: 5 ms are left of 60.5."""
    harp = machine("slipway_harp")
    made = chords(((60,), "121/2000"), ((60, 67, 76), "2"))
    work = do_work(harp, made, KEEP)
    judged(work)
    assert [note.ahead_s for note in by_pitch(work)[1:]] == pytest.approx([0.005, 0.005, 0.0], abs=2e-4)


def test_a_coil_that_would_grow_hot_by_rolling_is_left_on_its_beats():
    """Each pulse of 30 ms gathers 0.9 x 30 = 27, each 70 ms of rest lose 7: five strokes a tenth of a second apart make 107 of 108 that are
    borne (0.9 x 120); the last 30 ms earlier would be 110 (duty rule of docs/SPEC-roll.md)."""
    for duty, ahead in ((0.1, False), (0.2, True)):
        lute = changed("twin_lute", ('release = "25 ms", max_on = "120 ms"', f'release = "25 ms", max_on = "120 ms", max_duty = {duty}'))
        work = do_work(lute, chords(*[((55,), "1/10")] * 4, ((55, 67), "2")), KEEP)
        judged(work)
        assert [note.ahead_s > 0 for note in by_pitch(work)] == [False] * 4 + [ahead, False]


def test_no_more_coils_are_on_at_once_than_without_rolling():
    """Four bells, the same again as soon as they can, and two others half a roll later: the lower of those would fall among the four."""
    four = (71, 74, 78, 81)
    made = chords((four, "3/50"), (four, "3/100"), ((76, 83), "2"), tempo=60.0)
    work, plain = (do_work(machine("harbour_carillon"), made, replace(KEEP, rolled=rolled)) for rolled in (True, False))
    assert work.setting.notes_kept == 10
    judged(work)
    assert on_at_once(plain) == 4
    assert on_at_once(work) <= 4
    assert any(note.ahead_s > 0 for note in work.setting.notes)
