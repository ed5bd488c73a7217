"""Several rolls in flash, sound and not, and the play button: by docs/SPEC-link.md, docs/SPEC-roll.md and docs/formats.md."""

import pytest
from board_bench import HOMING, MARK_REASON, NOT_HOMED, PLAYING, READY, REFUSED, STOPPING, Bench, words_of
from emulated import needs_rig

from jackrail.board.link_format import Verb
from jackrail.rehearsal.driver import Driver
from jackrail.rehearsal.plant_run import KINDS
from jackrail.roll.format import HEADER, crc16
from jackrail.roll.machine_block import pack_machine
from jackrail.work import do_work
from workshop import changed, ensemble_of, machine, tune

pytestmark = needs_rig
BELLS, CHIMES = machine("harbour_carillon"), machine("tower_chimes")
ZITHER = changed(
    "quay_zither",
    ("switches = [\n", 'switches = [\n  { id = "button", closed = "low" },\n'),
    ('rail = "five"\n\n[board.pins]', 'rail = "five"\nplay_button = "button"\n\n[board.pins]'),
    ('home = "A0"', 'home = "A0"\nbutton = "A3"'),
)
DAMAGED, OTHER_VERSION, OTHER_MACHINE, NO_TUNE = (words_of(code) for code in (16, 17, 18, 19))
ASKED, FINISHED = 2, 1


def roll(title, at=BELLS):
    return do_work(at, tune((67, "1"), (None, "2"), (79, "1"), title=title)).roll_block


def damaged(block, at):
    return block[:at] + bytes([block[at] ^ 0x40]) + block[at + 1 :]


def of_version(block, version):
    """The same block with another version and the CRC that belongs to it."""
    values, payload_at = HEADER.unpack(block, 0)
    head = HEADER.pack(**{**values, "version": version})
    return HEADER.pack(**{**values, "version": version, "crc": crc16(head[:6] + block[payload_at:])}) + block[payload_at:]


def press(board, for_s=0.08):
    """A finger on the button, which bounces for a millisecond."""
    for level in (0, 1, 0, 1, 0):
        board.drive(board.pin("button"), level)
        board.run(0.00025)
    board.run(for_s)
    for level in (1, 0, 1):
        board.drive(board.pin("button"), level)
        board.run(0.00025)
    board.run(0.05)


def tune_of(board):
    """The number in `status`."""
    return int(board.say("status").partition("tune ")[2].partition(";")[0])


def to_the_end(board):
    assert board.until(lambda: board.state == PLAYING)
    assert board.until(lambda: board.state not in (PLAYING, STOPPING))
    board.run(0.01)  # it says so


# The play button


def test_each_press_plays_the_next_tune_and_behind_the_last_the_first():
    with Bench(BELLS, roll("One"), roll("Two"), roll("Three")) as board:
        board.home()
        numbers = []
        for _ in range(5):
            press(board)
            numbers.append(tune_of(board))
            to_the_end(board)
            assert board.last(MARK_REASON) == FINISHED
        assert numbers == [1, 2, 3, 1, 2]


def test_a_press_while_it_plays_stops_and_the_next_plays_the_next():
    with Bench(BELLS, roll("One"), roll("Two")) as board:
        board.home()
        press(board)
        assert (board.state, tune_of(board)) == (PLAYING, 1)
        press(board)
        assert (board.state, board.last(MARK_REASON)) == (READY, ASKED)
        press(board)
        assert (board.state, tune_of(board)) == (PLAYING, 2)


def test_a_press_before_home_finds_home_first_and_then_plays():
    with Bench(ZITHER, roll("One", ZITHER)) as board:
        press(board)
        assert board.state == HOMING
        to_the_end(board)
        assert (board.state, board.last(MARK_REASON), len(board.zeros())) == (READY, FINISHED, 1)


def test_a_press_while_it_finds_home_stops_that():
    with Bench(ZITHER, roll("One", ZITHER)) as board:
        press(board)
        board.run(0.3)
        press(board)
        assert board.until(lambda: board.state == NOT_HOMED, 1)
        board.run(5)
        assert (board.state, board.zeros()) == (NOT_HOMED, [])


def test_a_button_that_is_held_plays_once():
    with Bench(BELLS, roll("One"), roll("Two")) as board:
        board.home()
        board.drive(board.pin("button"), 0)
        board.run(8)
        assert (board.state, len(board.zeros())) == (READY, 1)


def test_a_click_shorter_than_20_ms_is_no_press():
    with Bench(BELLS, roll("One")) as board:
        board.home()
        for _ in range(20):
            board.drive(board.pin("button"), 0)
            board.run(0.02)
            board.drive(board.pin("button"), 1)
            board.run(0.001)
        assert (board.state, board.zeros()) == (READY, [])


def test_a_button_that_is_stuck_from_the_start_moves_nothing():
    """A wrong `closed` in the machine file, or a wire that touches: nobody pressed, and nothing may move by itself."""
    with Bench(ZITHER, roll("One", ZITHER)) as board:
        board.drive(board.pin("button"), 0)
        board.reset("power-on")
        board.run(1)
        assert board.last(2) in (None, NOT_HOMED)
        board.drive(board.pin("button"), 1)
        board.run(0.1)
        press(board)
        assert board.state == HOMING  # pressed by a person now


def test_the_button_passes_over_a_tune_that_cannot_be_played():
    with Bench(BELLS, roll("One"), roll("Foreign", CHIMES), roll("Three")) as board:
        board.home()
        played = []
        for _ in range(4):
            press(board)
            if board.state == PLAYING:
                played.append(tune_of(board))
                to_the_end(board)
        assert set(played) == {1, 3}


def test_without_a_tune_a_press_does_nothing():
    with Bench(BELLS) as board:
        board.home()
        press(board)
        assert (board.state, board.zeros()) == (READY, [])


# What is in flash


def test_tunes_are_listed_with_their_numbers_and_titles_and_each_can_be_played():
    titles = ["Gull steps", "A title cut at forty letters, no further", "x"]
    with Bench(BELLS, *(roll(title) for title in titles)) as board:
        assert board.say("tunes") == "".join(f"{number} {title}\r\n" for number, title in enumerate(titles, 1))
        board.home()
        for number in (2, 3, 1):
            assert board.say(f"play {number}") == "yes\r\n"
            assert tune_of(board) == number
            to_the_end(board)
        assert board.say("play") == "yes\r\n"
        assert tune_of(board) == 1


@pytest.mark.parametrize(
    "middle, told, reached",
    [
        pytest.param(roll("Two", CHIMES), OTHER_MACHINE, True, id="of another machine"),
        pytest.param(damaged(roll("Two"), 20), DAMAGED, False, id="damaged"),
        pytest.param(damaged(roll("Two"), 4), DAMAGED, False, id="with a wrong length"),
        pytest.param(of_version(roll("Two"), 1), OTHER_VERSION, False, id="of version 1"),
        pytest.param(of_version(roll("Two"), 2), OTHER_VERSION, False, id="of version 2"),
        pytest.param(of_version(roll("Two"), 4), OTHER_VERSION, False, id="of version 4"),
        pytest.param(b"JR" + bytes([ord("M")]) + roll("Two")[3:], DAMAGED, False, id="a machine block"),
    ],
)
def test_a_roll_that_cannot_be_played_is_told_by_name(middle, told, reached):
    with Bench(BELLS, roll("One"), middle, roll("Three")) as board:
        lines = board.say("tunes").splitlines()
        assert lines == ["1 One", f"2 {told}"] + (["3 Three"] if reached else [])
        board.home()
        assert board.say("play 2") == f"no: {told}\r\n"
        board.run(0.5)
        assert (board.state, board.zeros()) == (READY, [])
        assert board.say("play 1") == "yes\r\n"
        to_the_end(board)
        if reached:
            assert board.say("play 3") == "yes\r\n"


def test_what_is_left_in_flash_behind_the_last_tune_is_no_tune():
    for behind in (b"", b"\0\0\0\0", b"\xff\xffJR", roll("Cut short")[:40]):
        with Bench(BELLS, roll("One"), behind) as board:
            board.home()
            lines = board.say("tunes").splitlines()
            assert lines[0] == "1 One"
            assert lines[1:] in ([], [f"2 {DAMAGED}"])  # not erased: told, and not played
            assert board.say("play 2") in (f"no: {NO_TUNE}\r\n", f"no: {DAMAGED}\r\n")


@pytest.mark.parametrize(
    "spoil, code",
    [
        pytest.param(lambda block: damaged(block, 60), 13, id="damaged"),
        pytest.param(lambda block: of_version(block, 1), 14, id="another version"),
        pytest.param(lambda block: b"\xff" * len(block), 15, id="none"),
    ],
)
def test_a_machine_block_that_cannot_be_used_is_told_and_nothing_is_switched(spoil, code):
    block = spoil(pack_machine(ensemble_of(ZITHER), ZITHER.board))
    with Bench(ZITHER, roll("One", ZITHER), machine_block=block) as board:
        assert (board.last(2), board.last(MARK_REASON)) == (REFUSED, code)
        for word in ("home", "play", "jog 0 10", "turn 1", "pulse 0", "stop"):
            assert board.say(word) == f"no: {words_of(code)}\r\n"
        assert board.say("status").startswith(f"refused, {words_of(code)}; ")
        press(board)
        board.run(0.5)
        assert {int(pin) for pin in board.edges()["pin"]} <= {1}  # the serial line alone


def test_sixty_tunes_are_as_quickly_told_to_a_host_as_one():
    """docs/SPEC-link.md: a host without an answer within 30 ms says HELLO again; so a board answers within that."""
    with Bench(BELLS, *(roll(f"Tune {number}") for number in range(60))) as board:
        driver = Driver(board)
        began_s = driver.now_s
        assert driver.greet()
        assert driver.now_s - began_s < 0.03
        assert (driver.infos[-1].tunes, driver.session.resent) == (60, 0)
        driver.session.do(Verb.HOME)
        assert driver.until(lambda: board.state == READY, 1)
        driver.session.do(Verb.PLAY, 60)
        assert driver.until(lambda: board.state == PLAYING, 1)
        assert driver.greet()  # in the middle of a tune
        driver.session.ask()
        driver.until(lambda: not driver.session.busy, 1)
        assert driver.status is not None
        assert (driver.status.tune, driver.status.late) == (60, 0)


def test_sixty_tunes_listed_while_home_is_found_do_not_let_the_carriage_pass_its_switch():
    with Bench(ZITHER, *(roll(f"Tune {number}", ZITHER) for number in range(60))) as board:
        board.type("home\r")
        for _ in range(40):
            board.run(0.2)
            if board.state == HOMING:
                board.type("tunes\r")
        assert "hits" not in {KINDS[kind] for kind in board.plant.events()["kind"]}
        assert board.state == READY
