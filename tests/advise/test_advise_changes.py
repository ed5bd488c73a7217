"""Each change changes what it says and nothing else, and what it gains is what a fit to the changed machine gives."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from jackrail.advise.advice import advise
from jackrail.advise.changes import changes_of, exchanges_of, tunings_of
from jackrail.advise.gains import gains_of, tight_moves
from jackrail.advise.songbook import play, play_all, standing_of
from jackrail.faults import BadInput
from jackrail.setting.fit import fit
from jackrail.tune.read import read_tune
from workshop import MACHINE_NAMES, ROOT, changed, ensemble, ensemble_of, machine, tune

ZITHER = machine("quay_zither")
GULL, ROPEWALK = read_tune(ROOT / "tunes" / "gull_steps.abc"), read_tune(ROOT / "tunes" / "ropewalk.musicxml")


def named(changes, word):
    return next(change for change in changes if word in change.name)


def places(voices):
    return {place.midi for voice in voices for place in voice.places if voice.part == "melody"}


def test_a_quicker_carriage_is_the_machine_file_with_another_number():
    """Against the machine file with the number written into it by hand."""
    change = named(changes_of(ZITHER), "acceleration 4500 to 5400")
    by_hand = ensemble_of(changed("quay_zither", ('acceleration = "4500 mm/s^2"', 'acceleration = "5400 mm/s^2"')))
    assert change.voices == by_hand.voices
    settled = named(changes_of(ZITHER), "settling 25 to 12.5 ms")
    assert settled.voices == ensemble_of(changed("quay_zither", ('settle = "25 ms"', 'settle = "12.5 ms"'))).voices


def test_a_stop_more_and_a_stop_moved_are_where_the_scale_puts_them():
    added = named(changes_of(ZITHER, [77]), "a stop F5 more")
    assert places(added.voices) == places(ensemble("quay_zither").voices) | {77}
    (moved,) = exchanges_of(ZITHER, 77, "D4")
    assert places(moved.voices) == places(ensemble("quay_zither").voices) - {62} | {77}
    assert not [change for change in changes_of(ZITHER, [40, 100]) if "stop" in change.name]  # out of the carriage's reach


def test_a_second_string_has_its_own_motors_and_the_same_stops_higher():
    second = named(changes_of(ZITHER), "open G4").voices[-1]
    first = ensemble("quay_zither").voices[0]
    assert [place.midi - 7 for place in second.places] == [place.midi for place in first.places]
    assert second.move_s == first.move_s
    assert second.sources != first.sources


def test_a_retuned_string_keeps_its_stops_where_they_are():
    change = named(tunings_of(ZITHER), "1 semitone higher")
    first = ensemble("quay_zither").voices[0]
    assert [place.midi - 1 for place in change.voices[0].places] == [place.midi for place in first.places]
    assert [place.steps for place in change.voices[0].places] == [place.steps for place in first.places]
    assert "tension" in change.caution
    assert not tunings_of(machine("slipway_harp"))  # it has no chord bars: no tuning is better than another


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_every_machine_has_changes_that_can_be_played(name):
    changes = changes_of(machine(name), range(60, 80), ["Bm"])
    assert changes
    assert len({change.name for change in changes}) == len(changes)
    for change in changes:
        if not change.slow:
            assert fit(ROPEWALK, change.voices, "").notes_kept > 0


def test_gains_are_those_of_fitting_to_the_changed_machine():
    now = fit(GULL, ensemble("quay_zither").voices, "")
    found = {gain.name: gain for gain in gains_of(ZITHER, GULL, strings=False)}
    name = "acceleration 4500 to 5400 mm/s^2"
    then = fit(GULL, ensemble_of(changed("quay_zither", ("4500 mm/s^2", "5400 mm/s^2"))).voices, "")
    assert found[name].cost == pytest.approx(now.cost - then.cost)
    assert found[name].tempo == pytest.approx(then.tempo_factor - now.tempo_factor)
    costs = [gain.cost for gain in gains_of(ZITHER, GULL, strings=False)]
    assert costs == sorted(costs, reverse=True)
    assert min(costs) > 0


def test_the_tightest_moves_are_told_with_what_frees_them():
    for move in tight_moves(ZITHER, GULL):
        assert move.has_s >= move.needs_s - 0.06 - 1e-6
        assert all(needs_s < move.needs_s for _, needs_s in move.freed)
        assert any("acceleration" in name for name, _ in move.freed)


def test_a_songbook_stands_as_its_tunes_do():
    """One note is whole at the written tempo; D4 to D6 and back in quavers at 240 is 125 ms for 435 mm, far from whole at half of it."""
    easy = tune((67, 4), tempo=60.0, bars=1)
    hard = tune(*[(62, "1/2"), (86, "1/2")] * 4, tempo=240.0, bars=1)
    voices = ensemble("quay_zither").voices
    standing = standing_of(play(one, voices) for one in (easy, hard))
    assert standing.whole == (1, 1, 1)
    assert standing.notes_total == 9


def test_the_number_of_workers_changes_nothing():
    tunes, machines = [ROPEWALK] * 3 + [GULL] * 8, [ensemble("quay_zither").voices, ensemble("tower_chimes").voices]
    alone = play_all(tunes, machines, None, lambda: None)
    with ThreadPoolExecutor(3) as executor:
        assert play_all(tunes, machines, executor, lambda: None) == alone
    assert [len(rows) for rows in alone] == [11, 11]


def test_no_tunes_no_advice():
    with pytest.raises(BadInput):
        advise(ZITHER, [])


@pytest.mark.slow
def test_advice_counts_its_work_and_orders_what_it_found():
    seen = []
    advice = advise(ZITHER, [GULL, ROPEWALK], 1, lambda done, whole: seen.append((done, whole)))
    assert [done for done, _ in seen] == list(range(1, len(seen) + 1))
    assert {whole for _, whole in seen} == {len(seen)}
    assert advice.now.tunes == 2
    gains = [one.cost / one.beside.tunes for one in advice.bought]
    assert gains == sorted(gains, reverse=True)
    assert advice.stops is not None
    assert {"machine", "now", "changes", "chords", "stops", "tuning"} == set(advice.to_json())
