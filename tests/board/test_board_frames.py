"""Frames and lines of text on one line: worked bytes, a library as judge, any bytes at all."""

import struct
from binascii import crc_hqx

import pytest
from cobs import cobs as judge
from hypothesis import given
from hypothesis import strategies as st
from serial_line import framed

from jackrail.board import cobs
from jackrail.board.frames import Packet, Receiver, from_line, to_line
from jackrail.board.link_format import Frame
from jackrail.board.messages import Ack, Happening, Info, Status, read_message
from workshop import examples

PACKETS = st.builds(Packet, st.sampled_from([int(kind) for kind in Frame]), st.integers(0, 255), st.binary(max_size=64))
TEXTS = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), min_size=1, max_size=120)


@examples(200)
@given(st.one_of(st.binary(max_size=254), st.lists(st.sampled_from([0, 1, 255]), max_size=254).map(bytes)))
def test_cobs_agrees_with_a_library_both_ways(data):
    assert cobs.encode(data) == judge.encode(data)
    assert cobs.decode(judge.encode(data)) == data


@examples(300)
@given(st.one_of(st.binary(max_size=40), st.lists(st.integers(0, 4), max_size=12).map(bytes)))
def test_cobs_refuses_what_a_library_refuses(coded):
    try:
        wanted = judge.decode(coded) if coded else None  # no encoder makes nothing at all
    except judge.DecodeError:
        wanted = None
    assert cobs.decode(coded) == wanted


def test_cobs_takes_what_fits_in_one_run_and_no_more():
    assert cobs.decode(cobs.encode(b"\x01" * 254)) == b"\x01" * 254
    with pytest.raises(ValueError, match="254 at most"):
        cobs.encode(b"\x01" * 255)


@examples(200)
@given(PACKETS)
def test_a_frame_is_the_one_that_a_library_makes_and_reads_back(packet):
    line = to_line(packet)
    assert line == framed(packet.kind, packet.sequence, packet.payload)
    assert from_line(line[1:-1]) == packet
    assert len(line) <= 71


def test_a_payload_of_65_bytes_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="64 at most"):
        to_line(Packet(5, 0, bytes(65)))
    assert from_line(framed(5, 0, bytes(65))[1:-1]) is None


def test_a_frame_whose_one_bit_is_flipped_is_refused_wherever_it_is():
    """CRC-16 finds every error of up to 16 bits in a row (common knowledge of cyclic codes); behind COBS one flip can be more."""
    coded = to_line(Packet(5, 9, bytes(range(40))))[1:-1]
    for bit in range(8 * len(coded)):
        damaged = bytearray(coded)
        damaged[bit // 8] ^= 1 << bit % 8
        assert from_line(bytes(damaged)) is None


@examples(200)
@given(st.lists(st.one_of(PACKETS, TEXTS), max_size=8), st.data())
def test_packets_and_lines_are_told_apart_however_they_arrive(items, data):
    ends = [data.draw(st.sampled_from(["\r", "\n", "\r\n", "\r\r\n"])) if isinstance(item, str) else "" for item in items]
    stream = b"".join(to_line(item) if isinstance(item, Packet) else (item + end).encode() for item, end in zip(items, ends, strict=True))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    receiver, found = Receiver(), []
    for begin, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += receiver.feed(stream[begin:end])
    assert found == items
    assert receiver.bad_frames == 0


@pytest.mark.parametrize("length", range(1, 20))
def test_a_frame_whose_first_byte_reads_as_an_end_of_line_is_still_a_frame(length):
    """COBS begins with the distance to the first zero: 10 and 13 are LF and CR."""
    packet = Packet(0x81, 1, b"\x01" * length + b"\x00")
    assert list(Receiver().feed(b"help\r\n" + to_line(packet) + b"status\r\n")) == ["help", packet, "status"]


@examples(300)
@given(st.binary(max_size=600), PACKETS)
def test_after_any_bytes_the_next_frame_but_one_is_heard(noise, packet):
    receiver = Receiver()
    list(receiver.feed(noise))
    assert packet in list(receiver.feed(to_line(packet) + to_line(packet)))


@examples(100)
@given(st.integers(0, 255), st.binary(max_size=64))
def test_any_packet_is_a_message_or_none(kind, payload):
    message = read_message(Packet(kind, 0, payload))
    assert message is None or isinstance(message, Ack | Info | Status | Happening)


def test_messages_of_a_newer_board_with_more_at_their_end_are_read_and_shorter_ones_are_not():
    payload = struct.pack("<BHBB", 4, 300, 2, 1)
    assert read_message(Packet(0x81, 0, payload + b"more")) == Ack(4, 300, 2, 1)
    assert read_message(Packet(0x81, 0, payload[:-1])) is None
    assert read_message(Packet(0x84, 0, struct.pack("<BBBI", 2, 3, 255, 61_000))) == Happening(2, 3, 255, 61_000)
    assert read_message(Packet(0x84, 0, struct.pack("<BBBI", 99, 3, 255, 61_000))) is None
    assert read_message(Packet(0x83, 0, bytes(10) + b"\x02" + bytes(7))) is None


@pytest.mark.parametrize("body", [b"", b"\x05"])
def test_a_frame_without_type_or_number_is_none_though_its_crc_is_right(body):
    assert from_line(judge.encode(body + crc_hqx(body, 0xFFFF).to_bytes(2, "little"))) is None


@pytest.mark.parametrize("noise", [b"a" * 300, b"\xff" * 80, b"\xff" * 100_000, b"\r\n" * 5000])
def test_noise_without_end_takes_no_memory_and_ends_with_its_line(noise):
    receiver = Receiver()
    assert list(receiver.feed(noise)) == []
    assert len(receiver._held) < 300
    assert list(receiver.feed(b"\r\nhelp\r\n")) == ["help"]


def test_a_line_of_250_letters_is_heard_and_one_of_251_is_not():
    assert list(Receiver().feed(b"a" * 250 + b"\r")) == ["a" * 250]
    assert list(Receiver().feed(b"a" * 251 + b"\r")) == []


def test_the_crc_lies_low_byte_first():
    body = from_line_bytes(to_line(Packet(2, 1, b"")))
    assert int.from_bytes(body[-2:], "little") == crc_hqx(b"\x02\x01", 0xFFFF)


def from_line_bytes(line):
    return judge.decode(line[1:-1])
