"""The roll played on paper: any tune on any machine sounds as its setting says, and a wrong roll is seen to be wrong."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.performance import compare
from jackrail.roll.dry_run import play_on_paper
from jackrail.roll.due import RollCue
from jackrail.roll.format import Op
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work
from workshop import MACHINE_NAMES, ensemble, examples, machine, tune, tunes

WORST_LATE_S = 0.000051
"""A packed command may be 50 us off; the rest is half a timer tick of rounding and the floating point."""
MS = 2000
"""Timer ticks of 0.5 us in a millisecond."""


@examples(60)
@given(tunes(), st.sampled_from(MACHINE_NAMES), st.sampled_from(["late", "early"]), st.sampled_from([None, "40%", "100%", "150%"]))
def test_any_tune_on_any_machine_sounds_as_its_setting_says(made, name, leave, tempo):
    work = do_work(machine(name), made, Wishes(leave=leave, tempo=tempo))
    assert work.comparison.worst_late_s <= WORST_LATE_S
    assert work.comparison.worst_cents <= 0.01
    assert work.comparison.missing == ()
    assert work.comparison.extra == ()
    assert len(work.performance.notes) == work.setting.notes_kept
    assert not [finding for finding in work.findings if finding.code == "time.late"]


ZITHER_TUNE = tune((62, "2"), (79, "2"), (67, "2"), chords=[(0, "G")], tempo=60.0)
LUTE_TUNE = tune((64, "1"), (66, "1"), (64, "1"), tempo=60.0)


def heard_when(name, made, change):
    """Comparison of what a roll would sound once each of its cues went through `change` (None drops it)."""
    work = do_work(machine(name), made, Wishes(transpose=0))
    cues = tuple(sorted(cue for cue in map(change, work.roll.cues) if cue is not None))
    return compare(work.performance, play_on_paper(replace(work.roll, cues=cues), work.numbering, ensemble(name)))


def later(op, ticks):
    return lambda cue: RollCue(cue.tick + ticks, cue.op, cue.argument) if cue.op is op else cue


def test_an_unchanged_roll_is_heard_as_meant():
    assert heard_when("quay_zither", ZITHER_TUNE, lambda cue: cue).worst_late_s <= WORST_LATE_S


def test_a_pick_turned_8_ms_late_is_heard_8_ms_late():
    found = heard_when("quay_zither", ZITHER_TUNE, later(Op.TURN, 8 * MS))
    assert found.worst_late_s == pytest.approx(0.008, abs=WORST_LATE_S)


def test_a_carriage_that_leaves_100_ms_late_is_heard_off_pitch():
    assert heard_when("quay_zither", ZITHER_TUNE, later(Op.MOVE, 100 * MS)).worst_cents > 1


def test_a_missing_move_is_heard_as_the_note_before():
    found = heard_when("quay_zither", ZITHER_TUNE, lambda cue: None if cue.op is Op.MOVE and cue.tick > 0 else cue)
    assert found.worst_cents == pytest.approx(1700, abs=1)  # G5 was meant and D4 sounds


def test_a_missing_pulse_is_a_missing_chord_and_a_doubled_one_is_extra():
    assert len(heard_when("quay_zither", ZITHER_TUNE, lambda cue: None if cue.op is Op.PULSE else cue).missing) == 1
    work = do_work(machine("quay_zither"), ZITHER_TUNE, Wishes(transpose=0))
    pulse = next(cue for cue in work.roll.cues if cue.op is Op.PULSE)
    more = replace(work.roll, cues=tuple(sorted((*work.roll.cues, RollCue(pulse.tick + 125 * MS, pulse.op, pulse.argument)))))
    assert len(compare(work.performance, play_on_paper(more, work.numbering, ensemble("quay_zither"))).extra) == 1


def test_a_finger_that_presses_late_or_lifts_early_or_never_is_heard():
    assert heard_when("twin_lute", LUTE_TUNE, later(Op.HOLD, 30 * MS)).worst_cents == pytest.approx(400, abs=1)
    assert heard_when("twin_lute", LUTE_TUNE, later(Op.RELEASE, -1000 * MS)).worst_cents >= 200
    # the F#4 finger is never lifted and lies above the E4 that follows
    assert heard_when("twin_lute", LUTE_TUNE, lambda cue: None if cue.op is Op.RELEASE else cue).worst_cents == pytest.approx(200, abs=1)


def test_a_finger_pressed_again_before_it_is_lifted_is_heard_as_lifted():
    # As on the board: the release comes last, so the finger is up, whatever was meant.
    work = do_work(machine("twin_lute"), tune((64, "8"), (64, "8"), (64, "8"), tempo=60.0), Wishes(transpose=0))
    assert sum(cue.op is Op.HOLD for cue in work.roll.cues) == 3  # eight seconds each, so pressed afresh
    releases = [cue.tick for cue in work.roll.cues if cue.op is Op.RELEASE]
    holds = [cue.tick for cue in work.roll.cues if cue.op is Op.HOLD]
    late_one = RollCue(holds[1] + 1, Op.RELEASE, next(cue.argument for cue in work.roll.cues if cue.op is Op.RELEASE))
    late = tuple(sorted(late_one if cue.op is Op.RELEASE and cue.tick == releases[0] else cue for cue in work.roll.cues))
    heard = play_on_paper(replace(work.roll, cues=late), work.numbering, ensemble("twin_lute"))
    assert compare(work.performance, heard).worst_cents == pytest.approx(200, abs=1)  # the open D4 instead of E4


@pytest.mark.parametrize("late_ms, seen", [(6.6, True), (6.4, False)])
def test_a_finger_that_lifts_too_late_is_heard_on_paper(late_ms, seen):
    """E4 then the open D4 on the lute: the lift is planned 6.5 ms (settling and guard) before the string must be free."""
    work = do_work(machine("twin_lute"), tune((64, "2"), (62, "2"), tempo=60.0), Wishes(transpose=0))
    cues = tuple(sorted(RollCue(c.tick + round(late_ms * MS), c.op, c.argument) if c.op is Op.RELEASE else c for c in work.roll.cues))
    heard = compare(work.performance, play_on_paper(replace(work.roll, cues=cues), work.numbering, ensemble("twin_lute")))
    assert (heard.worst_cents > 100) == seen
