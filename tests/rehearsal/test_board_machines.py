"""What no other example has: a chain of shift registers, and a third and fourth motor; the firmware plays them as expected."""

import random
from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from board_bench import MARK_REASON, PLAYING, READY, STOPPING, Bench
from emulated import needs_rig
from two_bars import two_bars

from jackrail import api
from jackrail.tune.model import TuneNote
from jackrail.tune.read import read_tune
from jackrail.work import do_work
from workshop import ROOT, changed, machine, tune

pytestmark = needs_rig
BELLS = machine("harbour_carillon")
TUNES = [ROOT / "tunes" / name for name in ("gull_steps.abc", "nine_lamps.abc", "ropewalk.musicxml", "tide_table.mid")]
OUTPUT_ENABLE = 10
"""D10 holds the output enable of the registers low while the program runs: docs/formats.md."""
US = 16
"""Cycles of a microsecond."""
GRID_US = 50
BEATS = 15
ASKED = 2


def sound(rehearsal, within_s, within_cents=1.0):
    """Played to the end, nothing missing, extra, unsafe or late."""
    comparison = rehearsal.comparison
    assert rehearsal.finished, rehearsal.ended
    assert comparison.differences
    assert (rehearsal.unsafe, comparison.missing, comparison.extra) == ((), (), ())
    assert comparison.worst_late_s <= within_s
    assert comparison.worst_cents <= within_cents
    status = rehearsal.status
    assert (status.late, status.index_missed, status.detent_missed, status.overruns, status.bad_frames) == (0, 0, 0, 0, 0)


# Shift registers


@pytest.mark.parametrize(
    "path", [pytest.param(path, id=path.stem, marks=pytest.mark.slow if path.stem == "nine_lamps" else ()) for path in TUNES]
)
def test_the_carillon_plays_every_tune_on_time(path):
    work = do_work(BELLS, read_tune(path))
    assert work.setting.notes_kept == work.setting.notes_total  # every semitone from G4 to F#6 is there
    sound(api.rehearse_work(work), 0.0005)


def test_the_carillon_plays_what_is_streamed():
    sound(api.rehearse_work(do_work(BELLS, read_tune(TUNES[3])), stream=True), 0.0005)


def test_every_output_of_the_chain_is_its_own_coil():
    """S0 is QA of the first register, docs/SPEC-roll.md: the emulated chain is filled bit by bit, as the datasheet says."""
    with Bench(BELLS) as board:
        board.home()
        for number, coil in enumerate(board.numbering.coils):
            at = board.cycle
            board.say(f"pulse {number}")
            edges = board.edges()
            shown = edges[(edges["cycle"] > at) & (edges["pin"] >= 32)]
            shown = shown[shown["pin"] < 32 + 24]  # behind the third register there is none
            assert [(int(edge["pin"]), int(edge["level"])) for edge in shown] == [(board.pin(coil), 1), (board.pin(coil), 0)]


def all_off(board):
    """Whether every output of the chain was last seen low."""
    edges = board.edges()
    last = [edges[edges["pin"] == board.pin(coil)]["level"] for coil in board.numbering.coils]
    return all(len(levels) and levels[-1] == 0 for levels in last)


def while_bells_are_struck(board):
    """Run until five coils are on at once."""
    board.home()
    board.type("play\r")
    assert board.until(lambda: sum(board.plant.coil(coil).on for coil in board.numbering.coils) == 5, 10, 0.001)


@cache
def chords():
    """Five bells at once, eight times."""
    made = tune((67, "8"), tempo=240.0)
    keys = (67, 71, 74, 79, 83)
    notes = tuple(TuneNote(Fraction(n), Fraction(1), key) for n in range(8) for key in keys)
    return do_work(BELLS, replace(made, notes=notes)).roll_block


def test_stop_switches_all_bells_off_at_once():
    with Bench(BELLS, chords()) as board:
        while_bells_are_struck(board)
        at = board.cycle
        board.type("stop\r")
        board.run(0.001)
        assert board.last(MARK_REASON) == ASKED
        assert all_off(board)
        offs = board.edges()
        assert offs[(offs["cycle"] > at) & (offs["pin"] >= 32) & (offs["pin"] < 56)]["level"].tolist() == [0] * 5


@pytest.mark.parametrize("cause", ["external", "watchdog", "brown-out"])
def test_a_reset_lets_go_of_the_output_enable_and_then_empties_the_chain(cause):
    with Bench(BELLS, chords()) as board:
        assert board.level(OUTPUT_ENABLE) == 0
        while_bells_are_struck(board)
        at = board.cycle
        board.reset(cause)
        # in a reset, however long the boot loader takes: the registers keep what they show, D10 floats, 10 kohm pull it up
        assert board.level(OUTPUT_ENABLE) == 2
        assert not all_off(board)
        board.run(0.05)
        assert board.level(OUTPUT_ENABLE) == 0
        assert all_off(board)
        edges = board.edges()
        after = edges[edges["cycle"] > at]
        enabled = int(after[(after["pin"] == OUTPUT_ENABLE) & (after["level"] == 0)]["cycle"][0])
        emptied = int(after[after["pin"] >= 32]["cycle"][-1])
        assert emptied - enabled < 100 * US  # a coil that shows for so long moves nothing


def test_stop_on_a_machine_with_motors_and_registers_costs_no_step():
    """All coils of the zither on registers: emptying the chain must not keep the carriage's steps waiting."""
    pins = [
        (f'{coil} = "D{n}"', f'{coil} = "S{7 * n - 14}"') for n, coil in enumerate(("coil_g", "coil_c", "coil_d", "coil_em", "coil_am"), 2)
    ]
    shifted = changed("quay_zither", *pins, ("[board.pins]", '[board.pins]\n"shift.latch" = "D2"'))
    with Bench(shifted) as board:
        board.home()
        board.type("jog 0 17000\r")
        board.run(0.5)  # full speed: 18,000 steps a second, 56 us each
        at = board.cycle
        board.type("stop\r")
        assert board.until(lambda: board.state == READY)
        board.run(0.2)
        cycles, levels = board.edges_of(board.pin("carriage.step"))
        rising = cycles[levels == 1]
        gaps_us = np.diff(rising[rising > at - 50_000]) / US
        assert gaps_us[: len(gaps_us) // 2].max() < 2 * gaps_us.min()  # none was kept waiting at full speed
        assert board.plant.motor("carriage").position == pytest.approx(60 + board.steps()[0] * 0.025, abs=0.1)


# A third and a fourth motor


def duet(count, seed, tempo=100.0):
    """Two voices that leap at the same time, so that both carriages move at once, and both picks turn at once."""
    chosen = random.Random(seed)  # noqa: S311 - a tune, not a secret
    high, low = (62, 64, 66, 67, 69, 71, 72, 74, 76), (55, 57, 59, 60, 62, 64, 66)
    upper = tune(*((chosen.choice(high), "1") for _ in range(count)), tempo=tempo, title="Duet")
    lower = [TuneNote(Fraction(n), Fraction(1), chosen.choice(low)) for n in range(count)]
    return replace(upper, notes=tuple(sorted([*upper.notes, *lower], key=lambda note: (note.onset_q, note.midi))))


@cache
def rehearsed(home, seed, stream=False):
    work = do_work(two_bars(home), duet(BEATS, seed), api.Wishes(taste=api.Taste(accompaniment=0.5)))  # both voices matter here
    assert work.setting.notes_kept == work.setting.notes_total == 2 * BEATS
    return api.rehearse_work(work, stream=stream)


@pytest.mark.parametrize("home, seed, stream", [("60 mm", 1, False), ("60 mm", 7, False), ("505 mm", 3, False), ("60 mm", 1, True)])
def test_two_bars_with_two_picks_play_a_duet(home, seed, stream):
    sound(rehearsed(home, seed, stream), 0.0005)


def risings(rehearsal, device):
    edges, pin = rehearsal.edges, int(two_bars().board.pins[f"{device}.step"][1:])
    return edges[(edges["pin"] == pin) & (edges["level"] == 1)]["cycle"].astype(np.int64)


def test_both_pairs_move_at_once():
    """Somewhere in the duet each of the four motors is stepped within one and the same 10 ms."""
    together = [set((risings(rehearsed("60 mm", 1), device) // (10_000 * US)).tolist()) for device in ("carriage", "carriage2")]
    assert len(together[0] & together[1]) > 100
    turning = [set((risings(rehearsed("60 mm", 1), device) // (10_000 * US)).tolist()) for device in ("pick", "pick2")]
    assert len(turning[0] & turning[1]) > 100


@pytest.mark.parametrize("device", ["carriage2", "pick2"])
def test_software_steps_lie_on_a_grid_of_50_us(device):
    """All on one grid: nine in ten within 5 us, late by what other interrupts take, never by a whole grid; 4,000 a second at most."""
    at = risings(rehearsed("60 mm", 1), device)
    grid = GRID_US * US
    late = (at - np.median(at % grid) + US) % grid - US
    assert np.quantile(late, 0.9) <= 5 * US
    assert np.quantile(late, 0.99) <= 25 * US
    assert late.max() <= 48 * US
    assert np.diff(at).min() >= (250 - GRID_US) * US


@pytest.mark.parametrize("device, steps_a_turn", [("pick", 1600), ("pick2", 800)])
def test_no_step_of_a_pick_is_lost_or_made_up(device, steps_a_turn):
    """From time zero on: a whole turn for each note."""
    rehearsal = rehearsed("60 mm", 7)
    at = risings(rehearsal, device)
    assert np.count_nonzero(at > rehearsal.zero_cycle) == BEATS * steps_a_turn


def test_stop_in_mid_move_of_all_four_leaves_the_board_knowing_where_they_are():
    machine_of = two_bars()
    roll = do_work(machine_of, duet(BEATS, 5)).roll_block
    for after_s in (2.1, 2.45):
        with Bench(machine_of, roll) as board:
            board.home()
            board.type("play\r")
            assert board.until(lambda: board.state == PLAYING)
            board.run(after_s)
            board.type("stop\r")
            board.run(0.002)
            assert board.until(lambda: board.state not in (PLAYING, STOPPING))
            board.run(0.2)
            for ident, step_mm in (("carriage", 0.025), ("carriage2", 0.05)):
                told = board.steps()[board.numbering.axes.index(ident)]
                assert board.plant.motor(ident).position == pytest.approx(60 + told * step_mm, abs=0.15), (ident, after_s)
