"""Findings about a rehearsal: limits at their edges, what is named, and what does not concern them."""

import pytest

from jackrail.checks.heard import rehearsal_findings, skipped_finding
from jackrail.rehearsal.model import Notice
from made_rehearsals import a_rail, a_rehearsal, a_status, sound

NOTICED_S, NOTICED_CENTS = 0.006, 10.0
"""What people notice in an even row of tones and in a melody: check values G25 (Friberg & Sundberg 1995), G24 (Hill & Summers 2007)."""


def found(*sounds, **changes):
    return rehearsal_findings(a_rehearsal(*sounds, **changes))


def the_one(*sounds, **changes):
    (finding,) = found(*sounds, **changes)
    return finding


def test_when_all_went_as_planned_nothing_is_found():
    assert found() == []
    assert found(sound(late_s=0.0005, sharp_cents=5.0), sound(late_s=-0.0005, sharp_cents=-5.0)) == []


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("late_s, severity", [(0.000501, "warning"), (NOTICED_S, "warning"), (NOTICED_S + 1e-6, "error"), (0.05, "error")])
def test_a_sound_away_from_its_moment_is_an_error_when_people_notice_it(late_s, severity, sign):
    finding = the_one(sound(), sound(late_s=sign * late_s, onset_s=2.5, voice="bar_g"), sound(late_s=sign * 0.0004))
    assert (finding.code, finding.severity, finding.place) == ("heard.late", severity, "2.500 s")
    assert finding.message.startswith("bar_g sounds ")
    assert finding.message.endswith("late" if sign > 0 else "early")
    assert (finding.value, finding.limit, finding.unit) == (pytest.approx(sign * 1000 * late_s, abs=0.001), 0.5, "ms")


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    "off_cents, severity", [(5.001, "warning"), (NOTICED_CENTS, "warning"), (NOTICED_CENTS + 0.001, "error"), (700, "error")]
)
def test_a_note_away_from_its_pitch_is_an_error_when_people_notice_it(off_cents, severity, sign):
    finding = the_one(sound(sharp_cents=-4), sound(sharp_cents=sign * off_cents, onset_s=3.25))
    assert (finding.code, finding.severity, finding.place) == ("heard.pitch", severity, "3.250 s")
    assert ("sharp" if sign > 0 else "flat") in finding.message
    assert (finding.value, finding.limit, finding.unit) == (pytest.approx(sign * off_cents, abs=0.06), 5.0, "cents")


def test_the_worst_is_told_whichever_way_it_is_off():
    finding = the_one(sound(late_s=0.003), sound(late_s=-0.004), sound(late_s=0.002))
    assert finding.value == -4.0


def test_what_was_not_heard_is_neither_late_nor_off_and_all_are_counted():
    finding = the_one(sound(), sound(late_s=None, onset_s=4.0, voice="bar_c"), sound(late_s=None, onset_s=5.0))
    assert (finding.code, finding.severity, finding.place, finding.value) == ("heard.missing", "error", "4.000 s", 2)
    assert "2 of 3 sounds" in finding.message
    assert "bar_c" in finding.message
    assert [one.code for one in found(sound(late_s=None))] == ["heard.missing"]


def test_sounds_that_nobody_asked_for_are_counted_and_the_first_is_placed():
    finding = the_one(extra=[(0.75, "bar_d"), (0.9, "melody")])
    assert (finding.code, finding.severity, finding.place, finding.value) == ("heard.extra", "warning", "0.750 s", 2)
    assert "bar_d" in finding.message


@pytest.mark.parametrize(
    "reason, word", [(0, "started anew"), (2, "asked"), (9, "detent missed"), (21, "watchdog"), (99, "no answer"), (None, "no answer")]
)
def test_a_board_that_did_not_play_to_the_end_says_why(reason, word):
    finding = the_one(reason=reason)
    assert (finding.code, finding.severity) == ("heard.stopped", "error")
    assert finding.message.endswith(word)
    assert finding.advice.startswith("free the carriage" if reason == 9 else "send home" if reason == 21 else "see the board's reasons")


def test_the_end_is_placed_where_the_board_told_it_and_names_the_device():
    told = (Notice("playing", "", 0.0), Notice("stopped: detent missed", "carriage", 4.4835))
    finding = the_one(reason=9, notices=told)
    assert finding.place in ("4.483 s", "4.484 s")
    assert "detent missed (carriage)" in finding.message
    assert the_one(reason=9).place == "rehearsal"


def test_each_thing_that_is_unsafe_is_an_error_of_its_own():
    findings = found(unsafe=("coil_g is on", "carriage is still stepping"))
    assert [(one.code, one.severity) for one in findings] == [("heard.unsafe", "error")] * 2
    assert "coil_g is on" in findings[0].message


@pytest.mark.parametrize("counter, unit", [("index_missed", "moves"), ("detent_missed", "moves"), ("late", "cues")])
def test_a_counter_of_what_was_missed_is_a_warning(counter, unit):
    finding = the_one(status=a_status(**{counter: 3}))
    assert (finding.code, finding.severity, finding.value, finding.limit, finding.unit) == ("heard.missed", "warning", 3, 0, unit)


@pytest.mark.parametrize("counter", ["rehomed", "bad_frames"])
def test_what_the_board_mended_by_itself_is_no_finding(counter):
    assert found(status=a_status(**{counter: 3})) == []


def test_a_board_that_never_answered_has_no_counters():
    assert [one.code for one in found(status=None)] == []


@pytest.mark.parametrize("lowest_v, needed_v, rings", [(8.999, 9.0, True), (9.0, 9.0, False), (4.0, 0.0, False), (11.9, 12.0, True)])
def test_a_rail_is_an_error_where_it_falls_below_what_a_driver_on_it_needs(lowest_v, needed_v, rings):
    findings = found(rails=(a_rail(12.0), a_rail(lowest_v, needed_v)))
    assert [(one.code, one.severity, one.place) for one in findings] == [("heard.supply", "error", "supply.rails.main")] * rings


def test_a_rehearsal_that_was_not_is_a_note_with_the_reason():
    finding = skipped_finding("libsimavr is not installed")
    assert (finding.code, finding.severity) == ("heard.skipped", "note")
    assert "libsimavr is not installed" in finding.message


def test_all_that_went_wrong_is_told_at_once():
    everything = found(
        sound(late_s=0.01, sharp_cents=20.0),
        sound(late_s=None),
        extra=[(1.0, "x")],
        reason=9,
        unsafe=("coil_g is on",),
        status=a_status(index_missed=1, detent_missed=1, late=1),
        rails=(a_rail(5.0),),
    )
    expected = {"stopped", "unsafe", "missing", "extra", "late", "pitch", "missed", "supply"}
    assert {one.code for one in everything} == {f"heard.{word}" for word in expected}


@pytest.mark.parametrize(
    ("heard_strength", "severity", "word"), [(0.71, "error", "louder"), (0.44, "warning", "softer"), (0.6, "warning", "louder")]
)
def test_a_soft_blow_that_sounds_otherwise_is_told_in_decibels(heard_strength, severity, word):
    """0.71 for 0.5 is 3.05 dB, 0.44 is -1.11 dB, 0.6 is 1.58 dB: 20 log10 of the ratio, worked out by hand."""
    (finding,) = rehearsal_findings(a_rehearsal(sound(strength=0.5, heard_strength=heard_strength)))
    assert (finding.code, finding.severity) == ("heard.strength", severity)
    assert word in finding.message


def test_hammers_without_touches_may_sound_as_strongly_as_they_do():
    assert rehearsal_findings(a_rehearsal(sound(heard_strength=0.6))) == []
    (finding,) = rehearsal_findings(a_rehearsal(sound(strength=0.5, heard_strength=0.5), sound(heard_strength=0.6)))
    assert finding.code == "heard.strength"
