"""Soft and loud notes on the emulated board: what is heard has the strengths of the setting, from flash and over the line.

The plant knows the touches of the machine file and how long each coil was on, nothing of the setting.
"""

from dataclasses import replace

import pytest
from any_rolls import block_of, end_of, literal
from board_bench import PLAYING, STOPPING, Bench
from rehearsed import assert_safe, codes, news, rehearsed

from jackrail import api
from jackrail.roll.format import ROLL_HEAD, ROLL_KIND, Op, wrap
from jackrail.roll.machine_block import machine_id, pack_machine
from jackrail.work import do_work
from rehearsing import needs_rehearsal
from workshop import changed, ensemble_of, machine, tune

pytestmark = [needs_rehearsal, pytest.mark.slow]
BELLS = "harbour_carillon"
LATE_S = 0.0005
VELOCITIES = (36, 127, 60, 20, 100, 63, 90, 45)
STRENGTHS = (0.4, 1.0, 0.7, 0.4, 1.0, 0.7, 1.0, 0.4)
"""Nearest of 1, 0.7 and 0.4 to a velocity over 90, by hand: 45 / 90 = 0.5 is nearest to 0.4."""


def soft_and_loud(some_machine, keys=(67, 69, 71, 72, 74, 76, 78, 90)):
    made = tune(*[(key, "1/2") for key in keys], tempo=120.0, bars=1)
    made = replace(made, notes=tuple(replace(note, velocity=loud) for note, loud in zip(made.notes, VELOCITIES, strict=True)))
    return do_work(some_machine, made, api.Wishes(transpose=0, tempo="100%"))


@pytest.mark.parametrize("stream", [False, True], ids=["from flash", "streamed"])
@pytest.mark.parametrize("keys", [(67, 69, 71, 72, 74, 76, 78, 90), (72,) * 8], ids=["bells of all sizes", "one bell"])
def test_soft_and_loud_notes_are_heard_as_planned(stream, keys):
    work = soft_and_loud(machine(BELLS), keys)
    rehearsal, truth = rehearsed(work, stream=stream)
    assert [note.strength for note in work.performance.notes] == list(STRENGTHS)
    assert [note.strength for note in rehearsal.heard.notes] == pytest.approx(STRENGTHS, abs=0.002)
    assert rehearsal.comparison.missing == rehearsal.comparison.extra == ()
    assert rehearsal.comparison.worst_late_s <= LATE_S
    assert (rehearsal.ended, codes(rehearsal), news(rehearsal)) == ("finished", set(), set())
    assert_safe(rehearsal, truth, work.machine)


def test_hammers_that_are_not_as_their_file_says_are_heard_to_be_so():
    """Planned for the shipped file, played on bells whose middle touch is really softer: 0.5 for 0.7 is 2.9 dB."""
    work = soft_and_loud(machine(BELLS))
    other = replace(work, machine=changed(BELLS, ("strength = 0.7", "strength = 0.5")))
    rehearsal, _ = rehearsed(other)
    assert codes(rehearsal) == {"heard.strength"}


def played(number, op=Op.PULSE):
    """(what the board says in the end, times on of the first bell's coil in ms) for one record of that number."""
    bells = machine(BELLS)
    block = pack_machine(ensemble_of(bells), bells.board)
    try:
        roll = block_of(literal(op, number, 90_000, ()) + end_of(()), (), block)
    except api.BadInput:  # the program refuses it, too: the head as it would be
        head = ROLL_HEAD.pack(machine_id=machine_id(block), cues=1, length_us=590_000, horizon_ms=20, waits=0, title_bytes=0)
        roll = wrap(ROLL_KIND, head + literal(op, number, 90_000, ()) + end_of(()))
    with Bench(bells, roll) as board:
        board.home()
        board.type("play\r")
        board.until(lambda: board.state == PLAYING, 1.0)
        board.until(lambda: board.state not in (PLAYING, STOPPING), 3)
        board.run(0.05)
        return board.hear().strip().splitlines()[-1], [round((off - on) / 16e3, 1) for on, off in board.strokes("coil_g4")]


@pytest.mark.parametrize("number, on_ms", [(0, 18.0), (24, 11.0), (25, 9.0)])
def test_a_pulse_names_a_coil_or_one_of_its_touches(number, on_ms):
    """24 coils, so 24 and 25 are the two touches of the first bell: 11 and 9 ms in the machine file."""
    said, on = played(number)
    assert said.endswith("finished")
    assert on == [on_ms]


@pytest.mark.parametrize("number, op", [(24 + 48, Op.PULSE), (255, Op.PULSE), (24, Op.HOLD), (24, Op.RELEASE)])
def test_a_number_that_is_no_coil_and_no_touch_is_refused(number, op):
    said, on = played(number, op)
    assert said.endswith("bad record")
    assert on == []
