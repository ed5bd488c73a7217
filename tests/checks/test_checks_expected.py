"""The performance that a setting states: how long notes ring and how a sliding bar bends them."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.setting.wishes import Wishes
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, ensemble, examples, machine, tune, tunes


def performance(name, *notes, **wishes):
    return do_work(machine(name), tune(*notes, tempo=60.0), Wishes(transpose=0, **wishes)).performance


def test_a_note_under_a_sliding_bar_glides_to_the_next_stop():
    first, second = performance("quay_zither", (62, "1"), (67, "1")).notes
    assert first.glide[0].cents == pytest.approx(0.0, abs=1e-9)
    assert first.glide[-1].cents == pytest.approx(500.0 + second.cents - first.cents, abs=1e-6)
    assert [point.cents for point in first.glide] == sorted(point.cents for point in first.glide)
    # the bar stands still for its settling time, 25 ms, before the next note
    assert first.glide[-1].after_s == pytest.approx(1.0 - 0.025, abs=0.001)
    assert second.glide == ()


def test_a_bar_that_leaves_early_is_heard_sliding_early():
    late, _ = performance("quay_zither", (62, "1"), (67, "1"), leave="late").notes
    early, _ = performance("quay_zither", (62, "1"), (67, "1"), leave="early").notes
    assert early.glide[0].after_s == pytest.approx(0.06)
    assert early.glide[0].after_s < late.glide[0].after_s


def test_a_note_rings_until_its_string_is_sounded_again_or_has_died_away():
    first, second = performance("quay_zither", (62, "1"), (62, "1")).notes
    assert first.duration_s == pytest.approx(1.0)
    assert second.duration_s == pytest.approx(3.5)  # ring of the melody string, from its file


def test_a_bar_that_slides_after_its_note_has_died_away_bends_nothing():
    first, _ = performance("quay_zither", (62, "10"), (67, "1")).notes
    assert first.duration_s == pytest.approx(3.5)
    assert first.glide == ()


def test_a_lifted_finger_ends_its_note():
    first, _ = performance("twin_lute", (64, "1"), (66, "1")).notes
    assert 0.9 < first.duration_s < 1.0


@examples(40)
@given(tunes(), st.sampled_from(MACHINE_NAMES), st.sampled_from(["late", "early"]))
def test_no_voice_sounds_two_notes_at_once_and_no_glide_outlasts_its_note(made, name, leave):
    work = do_work(machine(name), made, Wishes(leave=leave))
    for voice in ensemble(name).voice_ids:
        own = [note for note in work.performance.notes if note.voice == voice]
        assert all(a.onset_s + a.duration_s <= b.onset_s + 1e-9 for a, b in itertools.pairwise(own))
    for note in work.performance.notes:
        assert note.duration_s > 0
        times = [point.after_s for point in note.glide]
        assert times == sorted(times)
        assert all(0 < at <= note.duration_s for at in times)
    assert work.performance.end_s >= max((n.onset_s for n in work.performance.notes), default=0.0)
    assert work.performance.end_s >= max((cue.time_s + cue.value * (cue.action == "pulse") for cue in work.cues), default=0.0)


@examples(40)
@given(tunes(), st.sampled_from(["100 ms", "400 ms", "8 s"]), st.sampled_from(["late", "early"]))
def test_no_fingered_note_is_stated_to_ring_on_after_its_finger_lifts(made, max_on, leave):
    lute = changed("twin_lute", ('max_on = "8 s"', f'max_on = "{max_on}"'))
    work = do_work(lute, made, Wishes(leave=leave))
    coil_of = {("high", f): f"press_high_{f}" for f in (2, 4, 5, 7, 9)} | {("low", f): f"press_low_{f}" for f in (2, 4, 5)}
    for note, meant in zip(work.performance.notes, work.setting.notes, strict=True):
        fret = work.ensemble.voices[meant.voice].places[meant.place].fret
        if fret:
            lifts = [cue.time_s for cue in work.cues if cue.device == coil_of[note.voice, fret] and cue.action == "release"]
            lift_s = next(at for at in lifts if at >= note.onset_s - 1e-9)
            assert note.onset_s + note.duration_s <= lift_s + 1e-9
