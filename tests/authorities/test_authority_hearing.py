"""Our tolerances against what listeners notice: authorities/hearing.toml."""

import inspect

import mir_eval
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.checks.machine import OFF_PITCH_CENTS
from jackrail.checks.timing import LATE_S, OFF_CENTS
from jackrail.performance import Performance, Stroke, compare
from jackrail.roll.fuse import TOLERANCE_US
from workshop import authority

VALUES = authority("hearing")


def noticed_s(between_onsets_s):
    """G25: the smallest displacement noticed in an even sequence."""
    row = VALUES["G25"]
    return row["fast_ms"] / 1000 if between_onsets_s < 0.24 else row["slow_share"] * between_onsets_s


def test_g25_the_published_rule_is_even_at_its_corner():
    assert noticed_s(0.2399) == pytest.approx(noticed_s(0.24), rel=0.01)
    assert noticed_s(0.5) == pytest.approx(0.0125)


def test_g25_what_packing_may_shift_is_far_below_what_is_noticed_at_any_tempo():
    shift_s = TOLERANCE_US / 1e6
    for between_s in (0.05, 0.1, 0.24, 0.5, 1.0):
        assert shift_s < LATE_S < noticed_s(between_s) / 10


def test_g24_a_stop_is_called_off_only_when_it_is_heard_and_a_plan_is_held_to_far_less():
    assert VALUES["G24"]["cents"] / 10 >= OFF_CENTS
    assert VALUES["G24"]["cents"] <= OFF_PITCH_CENTS <= 2 * VALUES["G24"]["cents"]


def test_g28_the_window_of_comparison_is_that_of_mir_eval():
    defaults = inspect.signature(mir_eval.onset.f_measure).parameters["window"].default
    assert inspect.signature(compare).parameters["window_s"].default == defaults == VALUES["G28"]["window_s"]


def strokes(times):
    return Performance((), tuple(Stroke(at, "bar", "G", ("g",)) for at in times), 60.0)


@given(
    st.lists(st.integers(0, 500), max_size=20, unique=True),
    st.lists(st.floats(-0.04, 0.04), min_size=20, max_size=20),
    st.sets(st.integers(0, 19)),
)
def test_g28_as_many_onsets_are_found_as_by_mir_eval_when_they_stand_clearly_apart(places, shifts, lost):
    expected = sorted(place * 0.12 for place in places)
    heard = sorted(at + shift for i, (at, shift) in enumerate(zip(expected, shifts, strict=False)) if i not in lost)
    found = compare(strokes(expected), strokes(heard))
    matched = mir_eval.util.match_events(np.array(expected), np.array(heard), 0.05)
    assert len(found.differences) - len(found.missing) == len(matched)
    assert len(found.extra) == len(heard) - len(matched)
