"""What the board does when a detent or an index was missed, `on_mismatch` of the machine file, on a carriage that is knocked."""

import math

import pytest
from board_bench import NOT_HOMED, PLAYING, READY, STOPPING, Bench
from emulated import needs_rig

from jackrail.board.link_format import News, Verb
from jackrail.performance import compare
from jackrail.rehearsal.driver import Driver
from jackrail.rehearsal.heard import heard_performance, told
from jackrail.rehearsal.plant import configure
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work
from workshop import changed, tune

pytestmark = needs_rig
FINISHED, DETENT_MISSED, INDEX_MISSED = 1, 9, 8
AS_WRITTEN = Wishes(transpose=0, tempo="100%", harmony="written")
KNOCK_CYCLES = 6
"""Electrical cycles by which the rotor is thrown: 24 full steps, 4.8 mm on a belt of 40 mm a turn of 200 steps."""
RIGHT_CENTS, OFF_CENTS = 1.0, 15.0
"""A stop that is met is right to a full step; 4.8 mm on a string of 640 mm are 15 cents and more (1731 * 4.8 / (640 - position))."""
REST = [(67, "1"), (69, "1"), (71, "1"), (72, "1"), (None, "16"), (74, "1"), (71, "1"), (67, "1"), (69, "1"), (62, "1")]
"""At 120: four notes, eight seconds of rest, five notes."""


def zither(words):
    return changed("quay_zither", ('rail = "five"\n\n[board.pins]', f'rail = "five"\non_mismatch = "{words}"\n\n[board.pins]'))


class Night:
    """One tune, with what happens to the machine in it. cents: off the pitch of each expected note, None where none was heard."""

    def __init__(self, words, notes, happen, at_note):
        machine = zither(words)
        work = do_work(machine, tune(*notes), AS_WRITTEN)
        with Bench(machine, work.roll_block) as board:
            driver = Driver(board)
            assert driver.greet()
            assert driver.home()
            driver.session.do(Verb.PLAY, 1)
            assert driver.until(lambda: driver.zero_cycle is not None, 5)
            happens_s = driver.zero_cycle / 16e6 + work.performance.notes[at_note].onset_s + 0.05
            driver.until(lambda: driver.now_s >= happens_s, 60)
            happen(board.plant, board.cycle)
            assert driver.until(lambda: driver.state not in (PLAYING, STOPPING), 60)
            driver.session.ask()
            assert driver.until(lambda: not driver.session.busy, 1)
            self.status, self.news, self.state = driver.status, [one.kind for one in driver.happenings], driver.state
            heard = told(board.plant.events(), board.plant.places(), configure(machine), driver.zero_cycle)
            known_mm = 60 + driver.status.positions[0] * 0.025
            self.astray_mm = abs(board.plant.motor("carriage").position - known_mm)
        differences = compare(work.performance, heard_performance(machine, heard, work.performance.end_s)).differences
        self.cents = [one.sharp_cents for one in differences]
        self.late_s = [abs(one.late_s) for one in differences if one.late_s is not None]


def knock(plant, cycle):
    plant.fault("lost steps", "carriage", cycle, KNOCK_CYCLES)


def block(plant, cycle):
    plant.fault("stuck open", "detent", cycle)


def lose_index(plant, cycle):
    plant.fault("stuck open", "index", cycle)


def nothing(*_):
    pass


def off(cents):
    return [cent is not None and abs(cent) > OFF_CENTS for cent in cents]


def right(cents):
    return [cent is not None and abs(cent) < RIGHT_CENTS for cent in cents]


@pytest.mark.parametrize("words", ["go on", "home again", "stop"])
def test_a_sound_machine_misses_nothing(words):
    night = Night(words, REST, nothing, 2)
    assert all(right(night.cents))
    assert (night.status.reason, night.status.detent_missed, night.status.index_missed, night.status.rehomed) == (FINISHED, 0, 0, 0)


def test_go_on_plays_to_the_end_and_counts():
    night = Night("go on", REST, knock, 2)
    assert right(night.cents) == [True] * 3 + [False] * 6
    assert off(night.cents[3:]) == [True] * 6
    assert (night.status.reason, night.status.detent_missed, night.status.rehomed) == (FINISHED, 6, 0)
    assert night.news.count(News.DETENT_MISSED) == 6


def test_stop_stops_at_the_first_miss_and_does_not_trust_its_place_any_more():
    night = Night("stop", REST, knock, 2)
    assert right(night.cents[:3]) == [True] * 3
    assert night.cents[4:] == [None] * 5
    assert (night.status.reason, night.status.where, night.status.detent_missed) == (DETENT_MISSED, 0, 1)
    assert night.state == NOT_HOMED


def test_home_again_finds_home_in_the_rest_and_plays_right_again():
    night = Night("home again", REST, knock, 2)
    assert right(night.cents) == [True] * 3 + [False] + [True] * 5
    assert (night.status.reason, night.status.detent_missed, night.status.rehomed) == (FINISHED, 1, 1)
    assert max(night.late_s) < 0.001
    assert night.state == READY
    assert night.astray_mm < 0.2  # a full step


def test_home_again_may_happen_twice():
    twice = [*REST, (None, "16"), (74, "1"), (62, "1")]

    def knocks(plant, cycle):
        knock(plant, cycle)
        plant.fault("lost steps", "carriage", cycle + round(9.6 * 16e6), -KNOCK_CYCLES)

    night = Night("home again", twice, knocks, 2)
    assert (night.status.reason, night.status.rehomed) == (FINISHED, 2)
    assert right(night.cents[-2:]) == [True, True]
    assert night.astray_mm < 0.2


@pytest.mark.parametrize("rest", ["2", "4", "7"])
def test_a_rest_that_is_too_short_is_no_time_to_go_home(rest):
    """A second or three are less than the way home at a quarter of the speed and back: three misses in a row stop it."""
    notes = [(67, "1"), (69, "1"), (71, "1"), (72, "1"), (None, rest), (74, "1"), (71, "1"), (67, "1"), (69, "1")]
    night = Night("home again", notes, knock, 2)
    assert (night.status.reason, night.status.detent_missed, night.status.rehomed) == (DETENT_MISSED, 3, 0)
    assert night.state == NOT_HOMED


def test_three_misses_in_a_row_stop_play():
    night = Night("home again", [(67, "1"), (69, "1"), (71, "1"), (72, "1"), (74, "1"), (71, "1"), (67, "1"), (69, "1")], block, 1)
    assert (night.status.reason, night.status.detent_missed) == (DETENT_MISSED, 3)
    assert night.news[-1] is News.STOPPED
    assert right(night.cents[:2]) == [True, True]


def test_two_misses_and_then_none_do_not_add_up():
    """Knocked away and back after two notes, and again: four misses, never three in a row, so it plays on to the end."""

    def knocks(plant, cycle):
        for after_s, by in ((0, 1), (1, -1), (2, 1), (3, -1)):
            plant.fault("lost steps", "carriage", cycle + round(after_s * 16e6), by * KNOCK_CYCLES)

    night = Night("home again", [(67, "1"), (69, "1"), (71, "1"), (72, "1")] * 3, knocks, 2)
    assert (night.status.reason, night.status.detent_missed) == (FINISHED, 4)


@pytest.mark.parametrize("words, reason", [("go on", FINISHED), ("home again", INDEX_MISSED), ("stop", INDEX_MISSED)])
def test_an_index_that_stays_away_is_told(words, reason):
    night = Night(words, [(67, "1"), (69, "1"), (71, "1"), (72, "1"), (74, "1"), (71, "1"), (67, "1")], lose_index, 1)
    assert night.status.reason == reason
    assert night.status.index_missed == {"go on": 6, "home again": 3, "stop": 1}[words]  # seven turns, lost in the second
    if reason != FINISHED:
        assert (night.status.where, night.state) == (1, NOT_HOMED)


def test_a_blocked_carriage_is_noticed_at_once():
    night = Night("stop", REST, lambda plant, cycle: plant.fault("stalled", "carriage", cycle, math.nan), 1)
    assert (night.status.reason, night.status.detent_missed) == (DETENT_MISSED, 1)
