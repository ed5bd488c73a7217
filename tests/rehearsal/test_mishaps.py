"""Whatever can be made to go wrong is noticed, as what it is, and ends with everything off and still."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from rehearsed import RESTING, SHORT, assert_safe, carriages_off_mm, codes, edges_of, news, rehearsed, tune_of, work_of

from jackrail import api
from jackrail.board.reasons import State
from jackrail.faults import BadInput
from jackrail.machine.board import pin_number
from jackrail.rehearsal.mishaps import CATALOGUE, mishaps_of
from jackrail.rehearsal.rig import CLOCK_HZ
from rehearsing import needs_rehearsal
from workshop import changed, fault_codes, machine

pytestmark = needs_rehearsal
ZITHER = "quay_zither"
MOTORS = ("carriage", "pick")
WATCHDOG_S = 32768 / 128000
"""32K cycles of the watchdog's own 128 kHz (ATmega328P datasheet DS40002061, table of watchdog time-outs, from memory)."""
STOPPED = {"heard.stopped", "heard.missing"}


@dataclass(frozen=True)
class Told:
    """How a mishap shows. ended: the board's word; codes: exactly these findings; news: exactly these besides the usual; counters
    of the board that are not 0; state: whether it still claims to know where its carriages are; perhaps: findings, news and
    counters that may come, too, where it hangs on microseconds how far a motor slips that lacks voltage."""

    ended: str
    codes: frozenset
    news: frozenset = frozenset()
    counters: tuple = ()
    state: State = State.READY
    perhaps: frozenset = frozenset()


def missed(what, device):
    """Three moves in a row that their switch does not confirm: no slip that finding home again could mend."""
    return frozenset({(f"{what} missed", device), (f"stopped: {what} missed", device)})


def anew(cause, why):
    return frozenset({(f"started anew: {cause}", ""), (f"lost: it was started anew ({why})", "")})


WATCHDOG = "watchdog: the firmware hung, and was started again with everything off; send home; tell us how it came about"
BROWN_OUT = "brown-out: the supply fell too low, and the board was started again; check the supply and its wires under load"
DETENT = Told("detent missed", frozenset(STOPPED | {"heard.missed"}), missed("detent", "carriage"), ("detent_missed",), State.NOT_HOMED)
INDEX = Told("index missed", frozenset(STOPPED | {"heard.missed"}), missed("index", "pick"), ("index_missed",), State.NOT_HOMED)
WELL = Told("finished", frozenset())
TOLD = {
    "lost-steps": Told(DETENT.ended, DETENT.codes | {"heard.pitch", "heard.slipped"}, DETENT.news, DETENT.counters, DETENT.state),
    "stalled": Told(DETENT.ended, DETENT.codes | {"heard.pitch", "heard.slipped"}, DETENT.news, DETENT.counters, DETENT.state),
    "detent-open": DETENT,
    "detent-closed": DETENT,
    "index-missing": INDEX,
    "home-open": Told(
        "home never closed",
        frozenset(STOPPED | {"heard.slipped"}),
        frozenset({("stopped: home never closed", "carriage")}),
        state=State.NOT_HOMED,
    ),
    "home-closed": Told(
        "home never opened", frozenset(STOPPED), frozenset({("stopped: home never opened", "carriage")}), state=State.NOT_HOMED
    ),
    "home-bounces": WELL,
    "late-coil": Told("finished", frozenset({"heard.late"})),
    "coil-left-on": Told("coil on too long", frozenset(STOPPED), frozenset({("stopped: coil on too long", "coil_g")})),
    "damaged-machine-block": Told("machine block damaged", frozenset(STOPPED), state=State.REFUSED),
    "damaged-roll": Told("roll damaged", frozenset(STOPPED)),
    "noise-10": Told("finished", frozenset(), counters=("bad_frames",)),
    "noise-30": Told("finished", frozenset(), counters=("bad_frames",)),
    "host-vanishes": Told("link lost", frozenset(STOPPED)),
    "hang": Told("watchdog", frozenset(STOPPED | {"heard.missed"}), anew("watchdog", WATCHDOG), ("overruns",), State.NOT_HOMED),
    "reset-power-on": Told(
        "started anew",
        frozenset(STOPPED),
        frozenset({("lost: it was started anew", "")}),
        state=State.NOT_HOMED,
    ),
    "reset-external": Told(
        "reset",
        frozenset(STOPPED),
        anew("reset from outside", "reset: the board was reset from outside; send home"),
        state=State.NOT_HOMED,
    ),
    "reset-brown-out": Told("brown-out", frozenset(STOPPED), anew("brown-out", BROWN_OUT), state=State.NOT_HOMED),
    "reset-watchdog": Told("watchdog", frozenset(STOPPED), anew("watchdog", WATCHDOG), state=State.NOT_HOMED),
    "overrun": Told("finished", frozenset({"heard.missed"}), counters=("overruns",)),
    "weak-supply": Told(
        INDEX.ended,
        INDEX.codes | {"heard.extra", "heard.supply", "heard.slipped"},
        INDEX.news,
        INDEX.counters,
        INDEX.state,
        frozenset({"heard.late", ("detent missed", "carriage"), "detent_missed"}),
    ),
}
COUNTERS = ("late", "index_missed", "detent_missed", "rehomed", "bad_frames", "overruns")


def test_every_mishap_of_the_catalogue_is_told_of_here():
    assert set(TOLD) == set(CATALOGUE)


@pytest.mark.parametrize("name", TOLD)
def test_a_mishap_is_noticed_as_what_it_is_and_ends_safely(name):
    rehearsal, truth = rehearsed(work_of(ZITHER), name)
    expected = TOLD[name]
    assert rehearsal.injected == (name,)
    assert rehearsal.ended == expected.ended
    assert codes(rehearsal) - expected.perhaps == expected.codes
    if not name.startswith("noise"):  # news is not sent again: what the noise spoils is not heard
        assert news(rehearsal) - expected.perhaps == expected.news
    counters = [counter for counter in COUNTERS if getattr(rehearsal.status, counter) and counter not in expected.perhaps]
    assert tuple(counters) == expected.counters
    assert rehearsal.status.state == expected.state
    assert_safe(rehearsal, truth, machine(ZITHER))


def test_without_a_mishap_nothing_is_told():
    rehearsal, truth = rehearsed(work_of(ZITHER))
    assert (rehearsal.injected, rehearsal.ended, codes(rehearsal), news(rehearsal)) == ((), "finished", set(), set())
    assert not any(getattr(rehearsal.status, counter) for counter in COUNTERS)
    assert_safe(rehearsal, truth, machine(ZITHER))


# ---- each in its own way


def cents_if_off_mm(off_mm, semitones):
    """Cents by which a string of 640 mm is off whose bar stands some mm beyond the place of a pitch: 1200 log2 of the lengths."""
    length_mm = 640 / 2 ** (semitones / 12)
    return 1200 * math.log2(length_mm / (length_mm - off_mm))


def test_lost_steps_are_heard_by_as_much_as_was_lost():
    """Six electrical cycles of four full steps, 40 mm a turn of 200: 4.8 mm. The note that is sounding is D5, 14 semitones up."""
    rehearsal, _ = rehearsed(work_of(ZITHER), "lost-steps")
    first = next(one for one in rehearsal.comparison.differences if one.sharp_cents is not None and abs(one.sharp_cents) > 1)
    assert first.onset_s == pytest.approx(3.5)
    assert first.sharp_cents == pytest.approx(cents_if_off_mm(4.8, 14), abs=0.5)


def test_after_lost_steps_a_board_finds_home_at_the_next_rest_and_plays_on_in_tune():
    rehearsal, truth = rehearsed(work_of(ZITHER, RESTING), "lost-steps")
    assert rehearsal.ended == "finished"
    assert rehearsal.status.rehomed == 1
    assert 1 <= rehearsal.status.detent_missed <= 2
    assert codes(rehearsal) == {"heard.pitch", "heard.missed", "heard.slipped"}
    after = [one for one in rehearsal.comparison.differences if one.onset_s > 5]
    assert len(after) == 3
    assert all(abs(one.sharp_cents) < 1 and abs(one.late_s) < 0.0005 for one in after)
    assert_safe(rehearsal, truth, machine(ZITHER))


@pytest.mark.parametrize("policy, ended, most", [("stop", "detent missed", 1), ("go on", "finished", 99)])
def test_what_a_missed_detent_leads_to_is_the_makers_choice(policy, ended, most):
    made = changed(ZITHER, ("[board]\n", f'[board]\non_mismatch = "{policy}"\n'))
    rehearsal, truth = rehearsed(api.do_work(made, tune_of(SHORT), api.Wishes(transpose=0, harmony="written")), "lost-steps")
    assert rehearsal.ended == ended
    assert 1 <= rehearsal.status.detent_missed <= most
    assert "heard.missed" in codes(rehearsal)
    assert not any(truth.coils.values())
    if policy == "stop":
        assert_safe(rehearsal, truth, made)
    else:  # it was told to believe itself: then it stands elsewhere than it says, and that is told
        assert carriages_off_mm(rehearsal, truth, made)["carriage"] == pytest.approx(4.8, abs=0.2)
        assert [text for text in rehearsal.unsafe if text.startswith("carriage stands +4.")]


def test_a_home_switch_that_bounces_long_gives_the_same_home():
    """Within a full step of where the switch closes: the slow approach ends on the edge, not on a bounce."""
    rehearsal, truth = rehearsed(work_of(ZITHER), "home-bounces")
    assert abs(carriages_off_mm(rehearsal, truth, machine(ZITHER))["carriage"]) < 40 / 200


def test_a_coil_that_comes_late_is_late_by_as_much_and_no_other():
    rehearsal, _ = rehearsed(work_of(ZITHER), "late-coil")
    late = {round(one.onset_s, 1): one for one in rehearsal.comparison.differences if abs(one.late_s) > 0.0005}
    assert set(late) == {4.5}  # the only G chord behind a third of the tune
    assert late[4.5].voice == "bar_g"
    assert late[4.5].late_s == pytest.approx(0.020, abs=0.0005)


@pytest.mark.parametrize("name", [ZITHER, "tower_chimes", "twin_lute"])
def test_a_coil_left_on_is_switched_off_in_time_and_all_others_with_it(name):
    rehearsal, truth = rehearsed(work_of(name), "coil-left-on")
    assert rehearsal.ended == "coil on too long"
    assert_safe(rehearsal, truth, machine(name))


@pytest.mark.parametrize("name, state", [("damaged-machine-block", State.REFUSED), ("damaged-roll", State.READY)])
def test_a_damaged_block_is_refused_before_anything_sounds(name, state):
    rehearsal, _ = rehearsed(work_of(ZITHER), name)
    assert rehearsal.zero_cycle is None
    assert rehearsal.status.state == state
    highs = rehearsal.edges[rehearsal.edges["level"] == 1]
    coils = [pin_number(machine(ZITHER).board.pins[coil.id]) for coil in machine(ZITHER).mechanism.coils]
    assert not np.isin(highs["pin"], coils).any()
    if state == State.REFUSED:
        steps = [pin_number(machine(ZITHER).board.pins[f"{motor}.step"]) for motor in MOTORS]
        assert not np.isin(highs["pin"], steps).any()


def since_zero(rehearsal):
    """By pin: cycles from time zero, and levels, of all edges from there on."""
    edges = rehearsal.edges[rehearsal.edges["cycle"] >= rehearsal.zero_cycle]
    pins = {pin: edges[edges["pin"] == pin] for pin in np.unique(edges["pin"]).tolist()}
    return {pin: (mine["cycle"].astype(np.int64) - rehearsal.zero_cycle, mine["level"]) for pin, mine in pins.items()}


@pytest.mark.parametrize("noise", ["noise-10", "noise-30"])
@pytest.mark.parametrize("name", [ZITHER, "tower_chimes", "twin_lute"])
def test_noise_on_the_line_changes_nothing_that_is_played(name, noise):
    """Edge for edge the same; when an interrupt comes may differ by what the line's own interrupts last: 20 us at most."""
    clean, _ = rehearsed(work_of(name), stream=True)
    noisy, truth = rehearsed(work_of(name), noise)
    assert noisy.ended == clean.ended == "finished"
    before, after = since_zero(clean), since_zero(noisy)
    assert set(before) == set(after)
    for pin, (cycles, levels) in before.items():
        assert np.array_equal(after[pin][1], levels)
        assert np.abs(after[pin][0] - cycles).max() <= 20e-6 * CLOCK_HZ
    assert noisy.comparison.missing == noisy.comparison.extra == ()
    assert noisy.comparison.worst_late_s < 0.0005
    assert noisy.comparison.worst_cents < 1
    assert_safe(noisy, truth, machine(name))


def test_a_host_that_vanishes_is_missed_after_a_second_and_not_before():
    """docs/SPEC-link.md: no good frame for 1000 ms during a stream is a lost link. Its last frame came at most 300 ms (the
    keep-alive) before it fell silent."""
    work = work_of(ZITHER)
    rehearsal, truth = rehearsed(work, "host-vanishes")
    last_s = max(note.onset_s for note in (*rehearsal.heard.notes, *rehearsal.heard.strokes))
    vanished_s = work.performance.end_s / 3
    assert vanished_s < last_s < vanished_s + 1.1
    reasons = rehearsal.marks[(rehearsal.marks["place"] == 1) & (rehearsal.marks["value"] == 3)]
    at_s = (int(reasons["cycle"][0]) - rehearsal.zero_cycle) / CLOCK_HZ
    assert vanished_s + 0.7 - 0.25 < at_s < vanished_s + 1.0 + 0.25 + 0.05  # the host looks at the clock every 0.25 s
    assert_safe(rehearsal, truth, machine(ZITHER))


RESETS = [name for name in TOLD if name.startswith("reset")]


def floating_cycle(rehearsal):
    """The cycle in which pins let go after play began."""
    loose = rehearsal.edges[(rehearsal.edges["level"] == 2) & (rehearsal.edges["cycle"] > rehearsal.zero_cycle)]
    assert len(set(loose["cycle"].tolist())) == 1
    return int(loose["cycle"][0])


@pytest.mark.parametrize("name", RESETS)
@pytest.mark.parametrize("on", [ZITHER, "tower_chimes", "twin_lute"])
def test_a_reset_lets_all_pins_go_in_its_cycle_and_none_goes_high_again_unasked(on, name):
    rehearsal, truth = rehearsed(work_of(on), name)
    (reset,) = truth.resets
    assert floating_cycle(rehearsal) == reset
    assert_quiet_after(rehearsal, machine(on), reset)
    assert_safe(rehearsal, truth, machine(on))


def assert_quiet_after(rehearsal, made, reset):
    """Every coil and step line floats from that cycle on, is then low, and stays so: nothing was asked of the new start."""
    devices = [coil.id for coil in made.mechanism.coils] + [f"{motor.id}.step" for motor in made.mechanism.motors]
    for device in devices:
        cycles, levels = edges_of(rehearsal, made, device)
        after = levels[cycles >= reset].tolist()
        assert after[0] == 2
        assert set(after[1:]) == {0}


def test_a_program_that_hangs_is_started_again_within_the_watchdogs_time():
    rehearsal, truth = rehearsed(work_of(ZITHER), "hang")
    (hung,) = truth.hangs
    reset = floating_cycle(rehearsal)
    assert 0 < (reset - hung) / CLOCK_HZ <= WATCHDOG_S + 0.001
    assert_quiet_after(rehearsal, machine(ZITHER), reset)


def test_a_flooded_line_loses_words_and_nothing_that_is_played():
    clean, _ = rehearsed(work_of(ZITHER))
    flooded, _ = rehearsed(work_of(ZITHER), "overrun")
    assert flooded.status.overruns > 0
    before, after = since_zero(clean), since_zero(flooded)
    for pin, (cycles, levels) in before.items():
        assert np.array_equal(after[pin][1], levels)
        assert np.abs(after[pin][0] - cycles).max() <= 20e-6 * CLOCK_HZ


def test_a_weak_supply_is_seen_at_its_rail():
    """3 ohm of wire: what the plant's rail falls by is 3 V for each ampere that is drawn from it."""
    rehearsal, _ = rehearsed(work_of(ZITHER), "weak-supply")
    main = next(rail for rail in rehearsal.rails if rail.rail == "main")
    off_v = np.abs(main.voltage_v - (12 - 3 * main.current_a))
    assert np.median(off_v) < 0.01  # it follows a change of current in some milliseconds
    assert main.lowest_v < 9 == main.needed_v


# ---- together


@pytest.mark.parametrize(
    "together, ended, found",
    [
        (("lost-steps", "noise-30"), "detent missed", {"heard.pitch", "heard.missed"}),
        (("late-coil", "noise-10"), "finished", {"heard.late"}),
        (("coil-left-on", "noise-30"), "coil on too long", set()),
        (("late-coil", "index-missing"), "index missed", {"heard.late", "heard.missed"}),
        (("hang", "host-vanishes"), "watchdog", set()),
        (("home-bounces", "damaged-roll"), "roll damaged", set()),
        (("damaged-roll", "coil-left-on"), "roll damaged", set()),
        (("home-open", "detent-open", "weak-supply"), "home never closed", {"heard.supply"}),
        (("reset-brown-out", "weak-supply", "overrun"), "brown-out", {"heard.supply"}),
    ],
    ids=lambda value: " and ".join(value) if isinstance(value, tuple) else None,
)
def test_mishaps_do_not_hide_each_other(together, ended, found):
    rehearsal, truth = rehearsed(work_of(ZITHER), *together)
    assert set(rehearsal.injected) == set(together)
    assert rehearsal.ended == ended
    assert found <= codes(rehearsal)
    assert ("heard.stopped" in codes(rehearsal)) == (ended != "finished")
    assert_safe(rehearsal, truth, machine(ZITHER))


def test_a_board_that_stops_for_another_reason_before_it_can_know_that_steps_were_lost_is_caught_by_the_plant():
    """The supply costs the carriage one electrical cycle, four full steps of 0.2 mm: no detent tells 0.8 mm when play ends at once."""
    rehearsal, truth = rehearsed(work_of(ZITHER), "coil-left-on", "weak-supply")
    assert rehearsal.ended == "coil on too long"
    assert {"heard.supply", "heard.unsafe"} <= codes(rehearsal)
    assert carriages_off_mm(rehearsal, truth, machine(ZITHER))["carriage"] == pytest.approx(-0.8, abs=0.2)
    assert [text[:17] for text in rehearsal.unsafe] == ["carriage stands -"]


def test_both_a_slip_and_a_late_coil_are_told_when_home_is_found_again():
    rehearsal, truth = rehearsed(work_of(ZITHER, RESTING), "lost-steps", "late-coil", "noise-10")
    assert rehearsal.ended == "finished"
    assert codes(rehearsal) == {"heard.pitch", "heard.missed", "heard.late", "heard.slipped"}
    assert rehearsal.status.rehomed == 1
    assert_safe(rehearsal, truth, machine(ZITHER))


# ---- names


def test_all_names_that_are_none_are_told_at_once_with_the_nearest():
    with pytest.raises(BadInput) as bad:
        mishaps_of(["lost-step", "hang", "noise-20"])
    assert "lost-steps" in bad.value.faults[0].hint
    assert [fault.value for fault in bad.value.faults] == ["lost-step", "noise-20"]


@pytest.mark.parametrize(
    "on, name",
    [("tower_chimes", "lost-steps"), ("tower_chimes", "index-missing"), ("twin_lute", "home-open"), ("tower_chimes", "weak-supply")],
)
def test_what_cannot_befall_a_machine_is_bad_input(on, name):
    assert fault_codes(api.rehearse_work, work_of(on), [name]) == ["option"]


def test_a_tune_without_a_coil_has_none_that_could_be_left_on():
    assert fault_codes(api.rehearse_work, work_of(ZITHER, "GABd|"), ["coil-left-on"]) == ["option"]
