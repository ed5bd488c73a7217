"""What a person types at the board, by the section "Words for people" of docs/SPEC-link.md, and what it makes the machine do."""

import re

import numpy as np
import pytest
from board_bench import HOMING, MARK_REASON, NOT_HOMED, PLAYING, READY, STOPPING, Bench, words_of
from emulated import needs_rig

from jackrail.board.link_format import BAUD, FALLBACK_BAUD
from jackrail.rehearsal.plant import Assumptions
from jackrail.work import do_work
from workshop import ROOT, machine, tune

pytestmark = needs_rig
QUAY = machine("quay_zither")
CARRIAGE, PICK = 0, 1
STEP_MM, HOME_MM, LENGTH_STEPS = 0.025, 60.0, 17_800
"""40 mm a turn of 200 steps in 8 microsteps; home_at; (505 - 60) mm / 0.025 mm: of machines/quay_zither.toml."""
YES, MICROSTEPS_A_TURN, ASKED = "yes\r\n", 1600, 2
ROLL = do_work(QUAY, tune((67, "1"), (74, "1"), (67, "1"), chords=((0, "G"),), bars=1)).roll_block


def no(reason):
    return f"no: {words_of(reason)}\r\n"


NOT_YET, BEYOND, BUSY, NO_TUNE, BAD = no(5).replace("\r\n", ", type home\r\n"), no(11), no(12), no(19), no(20)


@pytest.fixture
def board():
    with Bench(QUAY, ROLL) as one:
        yield one


@pytest.fixture
def homed(board):
    board.home()
    return board


def place(board):
    """Where the carriage truly is, in steps from home."""
    return (board.plant.motor("carriage").position - HOME_MM) / STEP_MM


def acts(board):
    """How many steps and coil strokes there have been."""
    pins = [board.pin(device) for device in board.machine.board.pins if device.endswith(".step") or device.startswith("coil")]
    edges = board.edges()
    return int(np.count_nonzero(np.isin(edges["pin"], pins) & (edges["level"] == 1)))


def rest(board):
    """Run until no motor has been stepped for a tenth of a second."""

    def still():
        steps = [board.edges_of(board.pin(f"{motor}.step"))[0] for motor in ("carriage", "pick")]
        return all(not len(at) or board.cycle - at[-1] > 1.6e6 for at in steps)

    assert board.until(still)


def test_help_names_every_command_of_the_spec(board):
    text = (ROOT / "docs" / "SPEC-link.md").read_text(encoding="utf-8").partition("<!-- commands -->")[2].partition("<!-- /commands -->")[0]
    commands = re.findall(r"^\| `(\w+)[^`]*` \|", text, re.MULTILINE)
    assert len(commands) == 9
    said = board.say("help")
    assert [word for word in commands if word != "help" and not re.search(rf"\b{word}\b", said)] == []
    assert "fingers" in said  # a caution stands with what moves


@pytest.mark.parametrize("word", ["play", "play 1", "jog 0 10", "turn 1", "pulse 0"])
def test_nothing_moves_before_home(board, word):
    before = acts(board)
    assert board.say(word) == NOT_YET
    board.run(0.3)
    assert acts(board) == before
    assert board.last(MARK_REASON) in (None, 0)


def test_home_is_found_where_the_switch_closes(board):
    board.home()
    assert board.steps() == [0, 0]
    # a microstep, and the half full step (4 microsteps) that friction may leave a rotor behind its field
    assert abs(place(board)) < 5
    assert board.plant.motor("pick").position % 1 == pytest.approx(0, abs=0.02) or board.plant.motor("pick").position % 1 > 0.98


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_a_line_ends_with_either_or_both_and_is_obeyed_once(homed, end):
    homed.hear()
    homed.type(f"jog 0 100{end}")
    homed.run(0.3)
    assert homed.hear() == YES
    assert homed.steps() == [100, 0]


@pytest.mark.parametrize("typed", ["jog 0 25\x080", "jog 0 25\x7f0", "xyz\b\b\bjog 0 20", "\b\bjog 0 20", "jog 0 20\t", "jog 0 20\x1b"])
def test_backspace_takes_back_and_what_is_no_letter_is_left_out(homed, typed):
    assert homed.say(typed) == YES
    rest(homed)
    assert homed.steps() == [20, 0]


@pytest.mark.parametrize("typed", ["go", "HOME", "homes", "jogg 0 10", "p", "0 10", "stop!", "?", "jo g 0 10"])
def test_what_is_no_command_moves_nothing_and_gets_help(homed, typed):
    before = acts(homed)
    assert homed.say(typed).startswith("home: ")
    assert acts(homed) == before


@pytest.mark.parametrize(
    "typed",
    [
        "jog",
        "jog 0",
        "jog x 10",
        "jog 0 +x",
        "jog 0 1 2",
        "turn",
        "turn x",
        "pulse",
        "pulse x",
        "pulse 0 1",
        "pulse 0x",
        "pulse -",
        "play x",
    ],
)
def test_half_a_command_moves_nothing(homed, typed):
    """`jog AXIS STEPS`, `turn AXIS`, `pulse COIL`, `play N`: numbers that are missing, none or too many are no command."""
    before = acts(homed)
    said = homed.say(typed)
    homed.run(0.2)
    assert acts(homed) == before
    assert said.startswith(("no: ", "home: "))


@pytest.mark.parametrize(
    "typed", ["jog 0 " + 30 * " " + "500", "jog 0 500" + 40 * "0", "pulse 0" + 40 * " " + "now", 200 * "x", "play 1" + 30 * " " + "9"]
)
def test_a_line_that_is_too_long_is_not_obeyed_in_part(homed, typed):
    before = acts(homed)
    homed.say(typed)
    homed.run(0.2)
    assert acts(homed) == before
    assert homed.say("jog 0 10") == YES  # and the next one is heard


@pytest.mark.parametrize("steps", [LENGTH_STEPS + 1, -1, 32_767, -32_768, 65_546, 65_536 + 100, -65_530, 4_294_967_306])
def test_a_jog_beyond_the_limits_is_refused(homed, steps):
    before = acts(homed)
    assert homed.say(f"jog 0 {steps}") in (BEYOND, BAD)  # what is no 16-bit number is no command
    homed.run(0.2)
    assert acts(homed) == before


def test_a_jog_goes_to_either_limit_and_back(homed):
    for steps, at in ((LENGTH_STEPS, LENGTH_STEPS), (1, LENGTH_STEPS), (-LENGTH_STEPS, 0), (-1, 0), (1, 1)):
        stays = homed.steps()[CARRIAGE] + steps not in range(LENGTH_STEPS + 1)
        assert homed.say(f"jog 0 {steps}") == (BEYOND if stays else YES)
        rest(homed)
        homed.run(0.1)
        assert homed.steps() == [at, 0]
        assert abs(place(homed) - at) < 5


@pytest.mark.parametrize(
    "typed, said",
    [
        ("jog 1 10", BEYOND),
        ("jog 2 10", BEYOND),
        ("jog 256 10", BEYOND),
        ("turn 0", BEYOND),
        ("turn 2", BEYOND),
        ("turn 257", BEYOND),
        ("pulse 5", BEYOND),
        ("pulse 256", BEYOND),
        ("play 2", NO_TUNE),
        ("play 0", NO_TUNE),
        ("play 257", NO_TUNE),
    ],
)
def test_a_device_or_tune_that_is_not_there_is_refused(homed, typed, said):
    before = acts(homed)
    assert homed.say(typed) in (said, BAD)  # what is no 8-bit number is no command
    homed.run(0.1)
    assert acts(homed) == before


def test_a_turn_is_one_turn_and_plucks_once(homed):
    before, at = homed.plant.motor("pick").position, homed.cycle
    assert homed.say("turn 1") == YES
    rest(homed)
    assert homed.plant.motor("pick").position - before == pytest.approx(1, abs=0.005)
    events = homed.plant.events()
    assert len(events[(events["cycle"] > at) & (events["kind"] == 1)]) == 1
    cycles, levels = homed.edges_of(homed.pin("pick.step"))
    assert np.count_nonzero(levels[cycles > at]) == MICROSTEPS_A_TURN


def test_a_pulse_is_as_long_as_the_machine_file_says(homed):
    at = homed.cycle
    assert homed.say("pulse 3") == YES  # coil_em: pulse = "60 ms"
    homed.run(0.2)
    ((on, off),) = homed.strokes("coil_em", since=at)
    assert (off - on) / 16e3 == pytest.approx(60, abs=0.03)


def test_a_coil_without_a_pulse_is_tried_for_60_ms():
    with Bench(machine("twin_lute")) as board:
        board.home()
        assert board.say("pulse 0") == YES  # press_high_2, a finger
        board.run(0.2)
        ((on, off),) = board.strokes("press_high_2")
        assert (off - on) / 16e3 == pytest.approx(60, abs=0.03)


@pytest.mark.parametrize("word", ["jog 0 10", "turn 1", "pulse 0", "play 1", "home"])
def test_a_second_move_waits_for_the_first(homed, word):
    homed.type("jog 0 9000\r")
    homed.run(0.05)
    assert homed.say(word, wait_s=0.005) == BUSY
    rest(homed)
    assert homed.steps() == [9000, 0]


def test_stop_in_mid_move_brakes_and_the_board_knows_where(homed):
    for typed, after_s in (("jog 0 17000", 0.11), ("jog 0 -5000", 0.03), ("jog 0 9000", 0.3), ("jog 0 2000", 0.2), ("jog 0 -300", 0.02)):
        homed.type(f"{typed}\r")
        homed.run(after_s)
        assert homed.say("stop", wait_s=0.005).endswith(f"stopped: {words_of(ASKED)}\r\n{YES}")
        assert homed.until(lambda: homed.state == READY)
        homed.run(0.2)
        assert abs(place(homed) - homed.steps()[CARRIAGE]) < 5, typed
    assert homed.plant.motor("carriage").lost_steps == pytest.approx(0, abs=0.1)
    assert homed.say("play") == YES  # it still is at home


@pytest.mark.parametrize("after_s", [0.2, 1.5, 2.5, 3.3])
def test_stop_while_homing_leaves_it_not_homed(board, after_s):
    board.type("home\r")
    board.run(after_s)
    assert board.state == HOMING
    assert board.say("stop").endswith(YES)
    assert board.until(lambda: board.state not in (HOMING, STOPPING), 5)
    assert board.state == NOT_HOMED
    assert board.say("jog 0 10") == NOT_YET


def test_status_tells_state_reason_positions_and_counters(homed):
    assert homed.say("status").startswith("ready, none; ")
    homed.say("jog 0 1234")
    rest(homed)
    said = homed.say("status")
    for words in ("at 1234 0", "missed index 0", "detent 0", "homed again 0", "late 0"):
        assert words in said
    homed.say("play")
    assert homed.until(lambda: homed.state == PLAYING)
    assert homed.say("status").startswith("playing, none; tune 1; ")
    assert homed.until(lambda: homed.state == READY)
    assert homed.hear() == f"stopped: {words_of(1)}\r\n"
    assert homed.say("status").startswith("ready, finished; ")


@pytest.mark.parametrize("first", ["help", "home", "status", "play", "pulse 8", "tunes", "stop", ""])
def test_a_terminal_at_the_other_rate_is_understood_after_some_lines(first):
    """docs/SPEC-link.md: at 115200 baud a person types `help` until the board answers, whatever was typed before."""
    with Bench(QUAY, ROLL) as board:
        board.say(first, baud=FALLBACK_BAUD)
        answers = [board.say("help", baud=FALLBACK_BAUD) for _ in range(4)]
        assert answers[-1].startswith("home: ")
        assert board.until(lambda: board.state not in (HOMING, STOPPING))
        assert "tune 0" in board.say("status", baud=FALLBACK_BAUD)
        again = [board.say("help", baud=BAUD) for _ in range(6)]
        assert again[-1].startswith("home: ")


def test_at_115200_each_answered_byte_takes_87_us(board):
    for _ in range(4):
        board.say("status", baud=FALLBACK_BAUD)
    at = board.sent()["cycle"][-20:].astype(int)
    # ten bits at 16 MHz / (8 * 17) = 117,647 baud, the nearest that the chip can (ATmega328P datasheet, table 19-10: 2.1 %; from memory)
    assert np.diff(at).min() / 16e6 == pytest.approx(10 / 117_647, rel=0.01)


@pytest.mark.parametrize("noise", [b"\0", b"\0\0\0", b"\0\x05", b"\xff\xfe\x80", b"\0\x03\x0d"])
def test_noise_before_a_word_costs_a_few_lines_at_most(board, noise):
    board.type(noise)
    board.run(0.01)
    said = [board.say("status") for _ in range(3)]
    assert said[-1].startswith("not homed")


@pytest.mark.slow
def test_a_person_who_asks_all_the_time_does_not_make_the_tune_late(homed):
    homed.say("play")
    assert homed.until(lambda: homed.state == PLAYING)
    while homed.state == PLAYING:
        homed.say("help")
        homed.say("status")
    assert "finished" in homed.say("status")
    assert homed.say("status").rstrip().endswith("late 0")


def test_from_wherever_the_carriage_stood_home_is_the_same():
    for start_mm in (58.5, 60.0, 61.0, 150.0, 504.0):
        with Bench(QUAY, assumed=Assumptions(start={"carriage": start_mm})) as board:
            board.home()
            assert abs(place(board)) < 5, start_mm
