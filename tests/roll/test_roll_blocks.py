"""Packed blocks: what goes in comes out, and no damaged byte gets through."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.motion.voice import coil_release_s
from jackrail.roll.format import EXTENDED_ARGUMENT, HEADER, MACHINE_KIND, RECORDS, ROLL_HEAD, ROLL_KIND, Op, crc16, unwrap, wrap
from jackrail.roll.listing import list_roll
from jackrail.roll.machine_block import machine_id, numbering_of, pack_machine, pin_number, unpack_machine
from jackrail.roll.roll import Roll, RollCue, pack_roll, seconds_of, ticks_of, unpack_roll
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of, examples, fault_codes, faults_of, machine, tune

OPS = st.sampled_from([Op.MOVE, Op.TURN, Op.PULSE, Op.HOLD, Op.RELEASE])
ARGUMENTS = st.one_of(st.integers(0, 255), st.sampled_from([0, EXTENDED_ARGUMENT - 1, EXTENDED_ARGUMENT, EXTENDED_ARGUMENT + 1, 255]))
WAITS = st.one_of(st.integers(0, 300), st.sampled_from([0, 127, 128, 16383, 16384, 2_000_000, 40_000_000]))


@st.composite
def rolls(draw):
    now, cues = 0, []
    for wait, op, argument in draw(st.lists(st.tuples(WAITS, OPS, ARGUMENTS), max_size=40)):
        now += wait
        cues.append(RollCue(now, op, argument))
    title = draw(st.text(max_size=12))
    return Roll(draw(st.integers(0, 2**32 - 1)), title, now + draw(WAITS), tuple(cues))


def packed(roll):
    return pack_roll(roll.cues, roll.title, roll.end_tick, roll.machine_id)


SMALL = Roll(
    0xCAFE0001,
    "Small",
    4000,
    (RollCue(0, Op.MOVE, 40), RollCue(300, Op.TURN, 1), RollCue(300, Op.PULSE, 3), RollCue(310, Op.HOLD, 31), RollCue(900, Op.RELEASE, 31)),
)


@examples(200)
@given(rolls())
def test_a_roll_unpacked_from_its_block_is_itself(roll):
    title = roll.title.encode()[:40].decode(errors="ignore")
    assert unpack_roll(packed(roll)) == Roll(roll.machine_id, title, roll.end_tick, roll.cues)


def test_a_small_roll_is_these_bytes():
    assert packed(SMALL)[8:] == bytes.fromhex(
        "01 00 FE CA"  # machine_id, little-endian
        "05 00 00 00"  # cues
        "A0 0F 00 00"  # 4000 ticks
        "05 53 6D 61 6C 6C"  # the title
        "3F 28 00"  # MOVE (1) with the argument in its own byte, stop 40, no wait
        "41 AC 02"  # TURN (2) axis 1 after 300 = 0x2C + 2 * 128
        "63 00"  # PULSE (3) coil 3 at the same tick
        "9F 1F 0A"  # HOLD (4) coil 31, which does not fit in five bits, after 10
        "BF 1F CE 04"  # RELEASE (5) coil 31 after 590 = 0x4E + 4 * 128
        "00 9C 18"  # END after 3100 = 0x1C + 24 * 128
    )


def test_the_header_is_letters_kind_version_length_and_crc():
    block = packed(SMALL)
    assert block[:4] == b"JRR\x01"
    assert int.from_bytes(block[4:6], "little") == len(block) - 8
    assert int.from_bytes(block[6:8], "little") == crc16(block[:6] + block[8:])


@pytest.mark.parametrize("place", range(len(packed(SMALL))))
def test_every_change_of_one_byte_of_a_roll_is_refused(place):
    block = packed(SMALL)
    for change in range(1, 256):
        damaged = block[:place] + bytes([block[place] ^ change]) + block[place + 1 :]
        assert fault_codes(unpack_roll, damaged) == ["block"], f"byte {place} xor {change:02X}"


@pytest.mark.parametrize("length", range(len(packed(SMALL))))
def test_a_roll_cut_short_anywhere_is_refused(length):
    assert fault_codes(unpack_roll, packed(SMALL)[:length]) == ["block"]


@examples(60)
@given(rolls(), st.data())
def test_a_change_of_one_or_two_bits_of_any_roll_is_refused(roll, data):
    block = bytearray(packed(roll))
    for bit in data.draw(st.sets(st.integers(0, 8 * len(block) - 1), min_size=1, max_size=2)):
        block[bit // 8] ^= 1 << bit % 8
    assert fault_codes(unpack_roll, bytes(block)) == ["block"]


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_every_byte_of_a_machine_block_counts(name):
    block = pack_machine(ensemble(name), machine(name).board)
    for place in range(len(block)):
        for change in (0x01, 0x80, 0xFF):
            damaged = block[:place] + bytes([block[place] ^ change]) + block[place + 1 :]
            assert fault_codes(unpack_machine, damaged) == ["block"]
        assert fault_codes(unpack_machine, block[:place]) == ["block"]


@examples(300)
@given(st.binary(max_size=80))
def test_any_payload_under_a_right_crc_is_a_roll_or_refused(payload):
    block = wrap(ROLL_KIND, payload)
    if not fault_codes(unpack_roll, block):
        assert unpack_roll(block).end_tick >= 0


@examples(300)
@given(st.binary(max_size=60))
def test_any_cues_under_a_right_head_are_read_or_refused(cues):
    head = ROLL_HEAD.pack(machine_id=1, cues=len(cues), ticks=0, title_bytes=0)
    assert set(fault_codes(unpack_roll, wrap(ROLL_KIND, head + cues))) <= {"block"}


@examples(100)
@given(st.binary(max_size=80))
def test_any_machine_payload_under_a_right_crc_is_refused_or_read(payload):
    assert set(fault_codes(unpack_machine, wrap(MACHINE_KIND, payload))) <= {"block"}


def test_a_machine_block_under_another_number_or_with_bytes_behind_is_refused_though_its_crc_is_right():
    block = pack_machine(ensemble("twin_lute"), machine("twin_lute").board)
    other_number = wrap(MACHINE_KIND, bytes([block[8] ^ 1]) + block[9:])
    assert "not its own" in str(faults_of(unpack_machine, other_number)[0])
    longer = block[12:] + b"\x00"
    with_bytes = wrap(MACHINE_KIND, zlib.crc32(longer).to_bytes(4, "little") + longer)
    assert "bytes behind its last record" in str(faults_of(unpack_machine, with_bytes)[0])


def test_switches_have_their_level_their_role_and_their_axis():
    zither = changed("quay_zither", ('{ id = "detent", closed = "low" }', '{ id = "detent", closed = "high" }'))
    found = unpack_machine(pack_machine(ensemble_of(zither), zither.board))["switches"]
    # home on A0 and detent on A1 belong to the carriage, axis 0; the index on A2 to the pick, axis 1
    assert [(s["pin"], s["closed_high"], s["role"], s["axis"]) for s in found] == [(14, 0, 0, 0), (15, 1, 1, 0), (16, 0, 2, 1)]


@pytest.mark.parametrize(
    "title, kept", [("é" * 30, "é" * 20), ("a" + "é" * 30, "a" + "é" * 19), ("n" * 40, "n" * 40), ("n" * 41, "n" * 40)]
)
def test_a_long_title_is_cut_at_a_whole_character_of_40_bytes(title, kept):
    assert unpack_roll(pack_roll((), title, 0, 0)).title == kept


def said(payload_or_block, *, wrapped=False):
    block = payload_or_block if wrapped else wrap(ROLL_KIND, payload_or_block)
    return str(faults_of(unpack_roll, block)[0])


def test_each_way_of_being_no_roll_is_told_apart():
    head = ROLL_HEAD.pack(machine_id=1, cues=1, ticks=5, title_bytes=0)
    good = head + bytes([Op.TURN << 5, 2, 0, 3])
    assert unpack_roll(wrap(ROLL_KIND, good)).cues == (RollCue(2, Op.TURN, 0),)
    assert "bytes behind END" in said(good + b"\x00\x00")
    assert "does not end with END" in said(good[:-2])
    assert "ends inside a cue" in said(good[:-1])
    assert "ends inside a cue" in said(head + bytes([Op.MOVE << 5 | 31]))
    assert "unknown cue" in said(head + bytes([6 << 5, 0]))
    assert "does not agree with its cues" in said(head + bytes([0, 5]))
    assert "not UTF-8" in said(ROLL_HEAD.pack(machine_id=1, cues=0, ticks=0, title_bytes=1) + b"\xff\x00\x00")
    assert "another kind" in said(wrap(MACHINE_KIND, good), wrapped=True)
    assert "another version" in said(b"JRR\x02" + wrap(ROLL_KIND, good)[4:], wrapped=True)
    assert "no block of ours" in said(b"JX" + wrap(ROLL_KIND, good)[2:], wrapped=True)
    assert "cut short" in said(wrap(ROLL_KIND, good)[:-1], wrapped=True)
    assert "CRC does not agree" in said(wrap(ROLL_KIND, good)[:-1] + b"\x04", wrapped=True)


def test_a_roll_too_long_for_one_block_is_refused_and_one_just_short_enough_is_packed():
    def cues(count):
        return tuple(RollCue(tick, Op.TURN, 0) for tick in range(count))

    bare = len(pack_roll((), "", 0, 0)) - 8 - 2
    most = (65_535 - bare - 2) // 2
    assert len(unpack_roll(pack_roll(cues(most), "", most, 0)).cues) == most
    assert fault_codes(pack_roll, cues(most + 1), "", most + 1, 0) == ["range"]


def test_cues_out_of_order_are_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="time order"):
        pack_roll((RollCue(5, Op.TURN, 0), RollCue(4, Op.TURN, 0)), "", 9, 0)


def test_a_value_that_does_not_fit_its_field_is_refused():
    with pytest.raises(BadInput, match="does not fit the header record"):
        HEADER.pack(magic=1, kind=256, version=1, length=0, crc=0)


@examples(100)
@given(st.floats(0, 10_000))
def test_a_moment_in_ticks_and_back_is_off_by_at_most_half_a_tick(time_s):
    assert abs(seconds_of(ticks_of(time_s)) - time_s) <= 0.000125 + 1e-9


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_a_machine_block_says_what_the_machine_file_says(name):
    made, board = ensemble(name), machine(name).board
    found = unpack_machine(pack_machine(made, board))
    numbering = numbering_of(made)
    for axis, record in zip(made.axes.values(), found["axes"], strict=True):
        assert record["step_pin"] == pin_number(board.pins[f"{axis.motor}.step"])
        assert (record["lowest"], record["highest"], record["cruise_ticks"]) == (axis.lowest, axis.highest, axis.ramp.cruise_ticks)
        entries = [(e["interval"], e["count"]) for e in found["ramps"] if e["axis"] == numbering.axes.index(axis.motor)]
        assert tuple(entries) == axis.ramp.entries
    for coil, record in zip(made.mechanism.coils, found["coils"], strict=True):
        assert record["pin"] == pin_number(board.pins[coil.id])
        assert record["max_on_ms"] == pytest.approx(1000 * coil.max_on_s, abs=1)
        assert record["pulse_ticks"] * 0.25 <= record["max_on_ms"]
        assert 0 <= record["release_ms"] - 1000 * coil_release_s(coil, made.mechanism) < 1  # rounded up
    assert [(numbering.axes[stop["axis"]], stop["steps"]) for stop in found["stops"]] == list(numbering.stops)
    assert found["head"][0]["machine_id"] == machine_id(pack_machine(made, board))


def test_pins_are_numbered_as_on_the_usual_board():
    assert [pin_number(name) for name in ("D0", "D13", "A0", "A5")] == [0, 13, 14, 19]  # common practice: A0 is D14


def test_every_record_has_fields_of_one_name_each_and_says_what_they_mean():
    for record in RECORDS:
        names = [field.name for field in record.fields]
        assert len(set(names)) == len(names)
        assert all(field.meaning for field in record.fields)
        size = {"B": 1, "H": 2, "I": 4, "i": 4}
        assert record.layout.size == sum(size[field.code] for field in record.fields)  # no padding


def test_unwrapping_ignores_what_lies_behind_a_block_in_flash():
    block = packed(SMALL)
    assert unwrap(block + b"\xff" * 100, ROLL_KIND) == block[8:]


def test_a_listing_names_every_device_and_the_end():
    work = do_work(machine("quay_zither"), tune((67, "1"), (69, "1"), chords=[(0, "G")], title="Two notes"))
    lines = list_roll(work.roll, work.numbering).splitlines()
    assert lines[0] == "roll     Two notes"
    assert len(lines) == 5 + len(work.roll.cues) + 1
    assert any(line.endswith("pulse    coil_g") for line in lines)
    assert any("turn     pick" in line for line in lines)
    assert any("carriage to stop" in line for line in lines)
    assert lines[-1].endswith("end")
