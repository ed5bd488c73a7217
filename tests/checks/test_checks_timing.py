"""Moves and comparisons: what the checks of time count."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.checks.timing import late_findings
from jackrail.performance import Comparison, Difference, Performance, SoundedNote, Stroke, compare
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work
from workshop import MACHINE_NAMES, ensemble, examples, machine, tune, tunes


def note(onset_s, midi=60, cents=0.0, voice="v"):
    return SoundedNote(onset_s, 0.5, midi, cents, voice, "s")


def heard(*notes, strokes=()):
    return Performance(tuple(notes), tuple(strokes), 10.0)


def test_a_late_and_sharp_note_is_told_in_seconds_and_cents():
    (found,) = compare(heard(note(1.0)), heard(note(1.004, 60, 7.0))).differences
    assert found == Difference(1.0, "v", pytest.approx(0.004), pytest.approx(7.0))


def test_a_key_name_apart_is_a_hundred_cents_apart():
    assert compare(heard(note(1.0, 60, 50.0)), heard(note(1.0, 61, -50.0))).worst_cents == pytest.approx(0.0, abs=1e-9)
    assert compare(heard(note(1.0, 60)), heard(note(1.0, 59))).worst_cents == pytest.approx(100.0)


def test_another_voice_does_not_stand_in():
    found = compare(heard(note(1.0, voice="a")), heard(note(1.0, voice="b")))
    assert [d.voice for d in found.missing] == ["a"]
    assert found.extra == ((1.0, "b"),)


def test_each_sound_counts_once():
    found = compare(heard(note(1.0), note(1.02)), heard(note(1.01)))
    assert (len(found.missing), len(found.extra)) == (1, 0)


@pytest.mark.parametrize("late_s, seen", [(0.0499, True), (0.0501, False), (-0.0499, True), (-0.0501, False)])
def test_the_window_is_fifty_milliseconds_either_way(late_s, seen):
    found = compare(heard(note(1.0)), heard(note(1.0 + late_s)))
    assert (found.missing == ()) is seen


@examples(60)
@given(tunes(), st.sampled_from(MACHINE_NAMES))
def test_a_performance_compared_with_itself_has_no_differences(made, name):
    performance = do_work(machine(name), made).performance
    found = compare(performance, performance)
    assert (found.worst_late_s, found.worst_cents, found.missing, found.extra) == (0.0, 0.0, (), ())


def test_an_extra_sound_alone_is_an_error_too():
    (finding,) = late_findings(Comparison((), ((1.5, "bar_g"),)))
    assert (finding.code, finding.severity, finding.place) == ("time.late", "error", "1.500 s")


def test_a_stroke_is_compared_by_time_alone():
    one = Performance((), (Stroke(1.0, "bar", "G", ("g",)),), 2.0)
    other = Performance((), (Stroke(1.001, "bar", "C", ("c",)),), 2.0)
    assert compare(one, other).worst_late_s == pytest.approx(0.001)


@examples(40)
@given(tunes(), st.sampled_from(MACHINE_NAMES))
def test_no_move_has_less_than_no_time_to_spare_and_the_tightest_stands_first(made, name):
    work = do_work(machine(name), made)
    spares = [move.spare_s for move in work.moves]
    assert spares == sorted(spares)
    assert min(spares, default=0.0) >= -1e-6
    voices = ensemble(name).voice_ids
    assert all(move.voice in voices and move.origin != move.target and move.takes_s > 0 for move in work.moves)


def test_the_tightest_move_is_the_one_that_a_person_finds():
    # Half notes at 60: 2 s for each. D4 to D6 is by far the longest way.
    made = tune((62, "2"), (64, "2"), (62, "2"), (86, "2"), tempo=60.0, bars=2)
    first = do_work(machine("quay_zither"), made, Wishes(transpose=0, tempo="100%")).moves[0]
    assert (first.origin, first.target, first.place) == ("D4", "D6", "bar 2 beat 3")
    assert first.spare_s == pytest.approx(2.0 - first.takes_s - 0.06)
