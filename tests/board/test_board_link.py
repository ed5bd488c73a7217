"""The session against a board in memory, on a clean line, a damaged one, and one that goes dead."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serial_line import Board, Talk, framed

from jackrail.board.link import Lost, Session, Taken
from jackrail.board.link_format import Verb
from jackrail.board.messages import Info, Status
from jackrail.faults import BadInput
from workshop import examples

END = b"\xee"


def opened(board=None, **line):
    talk = Talk(Session(line.pop("sequence", 0)), board or Board(), **line)
    talk.session.hello()
    talk.until_quiet()
    return talk


def records_of(seed, count):
    """Records as a tune has them, 2 to 6 bytes, none of them the END of these tests; END last."""
    chance = random.Random(seed)  # noqa: S311 - the same each time
    return [bytes(chance.randrange(256) for _ in range(chance.randint(1, 5))) + b"\x01" for _ in range(count)] + [END]


def lost(talk):
    return [event.why for event in talk.events if isinstance(event, Lost)]


def test_hello_tells_who_the_board_is():
    talk = opened()
    assert talk.session.phase == "open"
    assert [type(event) for event in talk.events] == [Info]
    assert (talk.session.info.machine_id, talk.session.info.stream_bytes, talk.session.state) == (7, 256, 2)


def test_hello_begins_with_a_knock_for_a_board_at_the_other_rate():
    session = Session(9)
    session.hello()
    assert session.give(0.0) == bytes(16) + framed(0x01, 9)
    assert session.give(0.01) == b""
    assert session.give(0.03) == bytes(16) + framed(0x01, 9)


def test_what_an_earlier_session_left_on_the_line_is_not_heard():
    session = Session()
    session.hello()
    session.give(0.0)
    assert session.take(framed(0x81, 4, bytes([77, 0, 0, 2, 0])) + framed(0x84, 5, bytes([2, 1, 0, 0, 0, 0, 0])), 0.001) == []
    assert session.phase == "greeting"


def test_asking_tells_how_it_does_with_all_positions():
    talk = opened()
    talk.session.ask()
    talk.until_quiet()
    talk.run(talk.now_s + 0.01)
    assert talk.events[-1] == Status(2, 0, 0, 0, 0, 0, 0, 0, 0, 0, (-5, 70_000))
    assert talk.session.resent == 0


def test_a_verb_and_its_arguments_reach_the_board_as_written():
    talk = opened()
    talk.session.do(Verb.JOG, 1, -300)
    talk.session.do(Verb.PULSE, 9)
    talk.until_quiet()
    assert talk.board.taken == [bytes.fromhex("04 01 D4 FE"), bytes.fromhex("06 09")]  # -300 = 0xFED4, low byte first
    assert [event.verb for event in talk.events if isinstance(event, Taken)] == [Verb.JOG, Verb.PULSE]


@pytest.mark.parametrize("arguments", [(1, 32768), (1, -32769), (256, 1)])
def test_an_argument_out_of_range_is_refused_before_anything_is_sent(arguments):
    talk = opened()
    with pytest.raises(BadInput):
        talk.session.do(Verb.JOG, *arguments)
    with pytest.raises(ValueError):
        talk.session.do(Verb.JOG, 1)
    assert not talk.session.busy


@pytest.mark.parametrize("sequence", [0, 1, 250, 255])
def test_a_stream_arrives_whole_also_where_sequence_numbers_begin_again(sequence):
    talk = opened(sequence=sequence)
    records = records_of(1, 3000)
    talk.session.stream(7, 200, records)
    talk.until_quiet()
    assert bytes(talk.board.cues) == b"".join(records)
    assert talk.session.resent == 0


@pytest.mark.parametrize("machine_id, state, reason", [(8, 2, 18), (7, 0, 5)])
def test_a_refused_stream_is_told_and_no_cue_is_sent(machine_id, state, reason):
    talk = opened(Board(state=state))
    talk.session.stream(machine_id, 200, records_of(1, 50))
    talk.until_quiet()
    assert talk.events[-1] == Taken(None, state, reason)
    assert 0x05 not in talk.board.heard


def test_a_board_that_stops_by_itself_gets_no_more_cues():
    talk = opened(Board(eats_per_s=1000))
    talk.session.stream(7, 200, records_of(1, 2000))
    talk.run(talk.now_s + 0.5)
    talk.board.state, talk.board.reason = 2, 8
    talk.until_quiet()
    assert (talk.session.state, talk.session.reason) == (2, 8)
    assert len(talk.board.cues) < 1000


def test_stop_takes_back_a_stream_that_was_not_sent_yet():
    talk = opened()
    talk.session.stream(7, 200, records_of(1, 50))
    talk.session.do(Verb.STOP)
    talk.until_quiet()
    assert talk.board.heard[-1] == 0x03
    assert 0x04 not in talk.board.heard


def test_payloads_are_no_longer_than_the_board_says():
    talk = opened(Board(frame_bytes=20))
    records = records_of(1, 100)
    talk.session.stream(7, 200, records)
    talk.until_quiet()
    assert bytes(talk.board.cues) == b"".join(records)


def test_stop_overtakes_what_was_not_yet_sent():
    talk = opened(Board(eats_per_s=1000))
    talk.session.stream(7, 200, records_of(1, 2000))
    talk.run(talk.now_s + 0.5)
    before = len(talk.board.cues)
    talk.session.do(Verb.STOP)
    talk.until_quiet(talk.now_s + 0.05)
    assert talk.board.taken == [bytes([2])]
    assert (talk.session.state, talk.session.reason, talk.session.busy) == (2, 2, False)
    assert len(talk.board.cues) <= before + 128


BOARDS = st.builds(
    Board,
    eats_per_s=st.sampled_from([300.0, 3000.0, 1e9]),
    stream_bytes=st.sampled_from([128, 192, 600]),
    closing_zero_opens=st.booleans(),
    acks_asks=st.booleans(),
)
LINES = st.fixed_dictionaries(
    {
        "share": st.sampled_from([0.1, 0.3]),
        "seed": st.integers(0, 10**9),
        "sequence": st.integers(0, 255),
        "baud": st.sampled_from([115_200, 250_000]),
        "delay_s": st.sampled_from([0.0, 0.004, 0.02]),
    }
)


@examples(60)
@given(BOARDS, LINES, st.integers(0, 400), st.integers(0, 999))
def test_on_a_damaged_line_all_is_taken_once_and_in_order(board, line, count, steps):
    talk = opened(board, **line)
    records = records_of(count, count)
    talk.session.do(Verb.JOG, 0, steps)
    talk.session.stream(7, 200, records)
    talk.session.do(Verb.TURN, 1)
    talk.until_quiet()
    assert talk.session.phase == "open"
    assert bytes(board.cues) == b"".join(records)
    assert board.taken == [b"\x04\x00" + steps.to_bytes(2, "little"), b"\x05\x01"]
    assert board.fullest <= board.stream_bytes


@examples(60)
@given(share=st.sampled_from([0.5, 0.8, 0.95]), seed=st.integers(0, 10**9))
def test_on_a_hopeless_line_what_is_taken_is_a_true_beginning_or_all(share, seed):
    talk = opened(Board(), share=share, seed=seed)
    if talk.session.phase == "open":
        records = records_of(seed, 100)
        talk.session.stream(7, 200, records)
        talk.until_quiet()
        sent = b"".join(records)
        assert sent.startswith(bytes(talk.board.cues))
        assert bytes(talk.board.cues) == sent or lost(talk)
    assert talk.session.phase == ("lost" if lost(talk) else "open")


@pytest.mark.parametrize("share", [0.1, 0.3])
def test_the_line_of_these_tests_is_as_bad_as_it_says(share):
    talk = opened(share=share, seed=5)
    talk.session.stream(7, 200, records_of(5, 4000))
    talk.until_quiet()
    assert talk.session.resent > 0
    assert talk.board.bad_frames > 0
    assert talk.session.bad_frames > 0


@pytest.mark.parametrize("after_s", [0.0, 0.1, 0.33])
def test_a_board_that_falls_silent_is_lost_a_second_later(after_s):
    talk = opened(Board(eats_per_s=500))
    talk.session.stream(7, 200, records_of(1, 2000))
    talk.run(talk.now_s + after_s)
    talk.board.silent, silent_s = True, talk.now_s
    talk.run(talk.now_s + 5, lambda talk: talk.session.phase == "lost")
    assert lost(talk) == ["it does not answer"]
    assert 0.99 <= talk.now_s - silent_s <= 1.34  # 1000 ms after the first unanswered frame, at most a keep-alive and a resend later
    assert not talk.session.busy


def test_a_board_that_is_not_there_is_lost_and_hello_finds_it_once_it_is():
    talk = Talk(Session(), Board(silent=True))
    talk.session.hello()
    talk.run(3.0)
    assert lost(talk) == ["it does not answer"]
    talk.board.silent = False
    talk.session.hello()
    talk.until_quiet()
    assert talk.session.phase == "open"


def test_a_board_that_was_reset_in_the_middle_has_forgotten_the_session():
    talk = opened(Board(eats_per_s=500), sequence=100)
    talk.session.stream(7, 200, records_of(1, 2000))
    talk.run(talk.now_s + 0.3)
    talk.board.reset()
    talk.run(talk.now_s + 1, lambda talk: talk.session.phase == "lost")
    assert lost(talk)[0].startswith("it was started anew (reset: the board was reset from outside")


def test_a_board_of_another_version_of_the_link_is_not_talked_to():
    talk = opened(Board(link=2))
    assert "version 2" in lost(talk)[0]


def test_a_session_with_nothing_to_do_asks_every_300_ms():
    talk = opened()
    talk.run(talk.now_s + 3.05)
    assert 9 <= sum(isinstance(event, Status) for event in talk.events) <= 11


@pytest.mark.parametrize("eats_per_s, stream_bytes", [(200, 128), (1500, 256), (6000, 192), (12_500, 192)])
def test_a_board_that_plays_never_runs_dry(eats_per_s, stream_bytes):
    """Up to 2,500 records of 5 bytes a second: from its first full buffer to the last frame it always has cues left."""
    board = Board(eats_per_s=eats_per_s, stream_bytes=stream_bytes)
    talk = opened(board)
    talk.session.stream(7, 200, [bytes(range(1, 6))] * 1000 + [END])
    lowest = []

    def watch(talk):
        if board.state == 3 and board.fullest >= stream_bytes - 64 and len(board.cues) < 4900:
            lowest.append(board.filled - (talk.now_s - board.ate_s) * eats_per_s)
        return not talk.session.busy

    talk.run(600.0, watch)
    assert min(lowest) > 0


@pytest.mark.parametrize("baud", [250_000, 115_200])
def test_a_clean_line_is_always_busy(baud):
    """12 records of 5 bytes in 67 bytes of line are 4,477 records a second at 250000 baud; the demand is 2,500."""
    talk = opened(baud=baud)
    began_s = talk.now_s
    talk.session.stream(7, 200, [bytes(range(1, 6))] * 5000 + [END])
    talk.until_quiet()
    rate = 5000 / (talk.now_s - began_s)
    assert 0.99 <= rate / (12 * baud / 10 / 67) <= 1
