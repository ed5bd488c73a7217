"""The serial line, framing and flash images against data sheets and specifications: authorities/link.toml."""

import pytest

from jackrail.board import cobs, link_format
from jackrail.board.frames import Packet, from_line, to_line
from jackrail.board.hex_file import read_hex, write_hex
from workshop import authority

VALUES = authority("link")
CLOCK_HZ = 16_000_000


def off_percent(baud, divider):
    """The datasheet's formula for double speed: the rate is clock / (8 (UBRR + 1))."""
    return 100 * (CLOCK_HZ / (8 * (divider + 1)) / baud - 1)


@pytest.mark.parametrize(
    "baud, divider",
    [(link_format.BAUD, link_format.BAUD_UBRR), (link_format.FALLBACK_BAUD, link_format.FALLBACK_UBRR)],
)
def test_g59_both_rates_have_the_divider_and_the_error_of_the_datasheet(baud, divider):
    row = VALUES["G59"]
    assert row["rates"][str(baud)][0] == divider
    assert row["rates"][str(baud)][1] == pytest.approx(off_percent(baud, divider), abs=row["tolerance_percent"])


def test_g60_the_first_rate_is_as_recommended_and_the_other_still_within_what_a_receiver_bears():
    row = VALUES["G60"]
    assert abs(off_percent(link_format.BAUD, link_format.BAUD_UBRR)) <= row["recommended"]
    fallback = off_percent(link_format.FALLBACK_BAUD, link_format.FALLBACK_UBRR)
    assert fallback > row["recommended"]
    # a sender that is exact is slower than a receiver that is fast: what arrives is this share of the receiver's own rate
    assert row["slowest"] < 100 / (1 + fallback / 100) < row["fastest"]


def test_g71_a_frame_ends_with_that_crc_low_byte_first():
    """The text of the check value as a frame: type "1", number "2", payload "3456789"."""
    row = authority("board")["G71"]
    line = to_line(Packet(ord("1"), ord("2"), b"3456789"))
    assert line == b"\x00\x0c" + row["text"].encode() + row["used"].to_bytes(2, "little") + b"\x00"
    for other in row["others"].values():
        assert from_line(b"\x0c" + row["text"].encode() + other.to_bytes(2, "little")) is None


@pytest.mark.parametrize("plain, coded", VALUES["G72"]["coded"])
def test_g72_cobs_of_the_paper(plain, coded):
    assert cobs.encode(bytes.fromhex(plain)) == bytes.fromhex(coded)
    assert cobs.decode(bytes.fromhex(coded)) == bytes.fromhex(plain)


def test_g73_an_image_file_has_the_records_of_the_specification():
    row = VALUES["G73"]
    data = bytes.fromhex(row["data"])
    assert write_hex({row["address"]: data}).splitlines() == [row["record"], row["end"]]
    assert read_hex(f"{row['record']}\n{row['end']}\n") == b"\xff" * row["address"] + data
    assert int(row["record"][-2:], 16) == row["checksum"]
