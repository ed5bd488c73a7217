"""Packed blocks: what goes in comes out, and no damaged byte gets through. Bytes by hand from SPEC-roll.md."""

import zlib

import pytest
import spec_reader
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.machine.board import pin_number
from jackrail.motion.voice import coil_lead_s, coil_release_s
from jackrail.roll.due import RollCue, timing_of
from jackrail.roll.format import HEADER, MACHINE_KIND, RECORDS, ROLL_HEAD, ROLL_KIND, Op, crc16, unwrap, wrap
from jackrail.roll.listing import list_roll
from jackrail.roll.machine_block import machine_id, numbering_of, pack_machine, unpack_machine
from jackrail.roll.records import RollRecord
from jackrail.roll.roll import pack_roll, seconds_of, stream_records, ticks_of, unpack_roll
from jackrail.work import do_work
from workshop import MACHINE_NAMES, changed, ensemble, ensemble_of, examples, fault_codes, faults_of, machine, tune

ZITHER = pack_machine(ensemble("quay_zither"), machine("quay_zither").board)
LUTE = pack_machine(ensemble("twin_lute"), machine("twin_lute").board)
BLOCKS = {name: pack_machine(ensemble(name), machine(name).board) for name in MACHINE_NAMES}
WITHIN_TICKS = 100
"""50 us of half a microsecond."""


def struck(number, timing):
    """The coil that a PULSE switches: numbers beyond the coils are touches."""
    return number if number < len(timing.pulses_us) else timing.touches[number - len(timing.pulses_us)][0]


@st.composite
def programmes(draw):
    """A machine's block and any commands for its devices, sense or none, with an end behind the last sound.

    Only so much sense: between two commands to one device is half a millisecond, as between all that are planned.
    """
    block = BLOCKS[draw(st.sampled_from(MACHINE_NAMES))]
    timing = timing_of(block)
    kinds = {
        Op.MOVE: range(len(timing.stops)),
        Op.TURN: [axis for axis, pick in enumerate(timing.picks) if pick],
        Op.PULSE: [coil for coil, pulse_us in enumerate(timing.pulses_us) if pulse_us]
        + [len(timing.pulses_us) + touch for touch in range(len(timing.touches))],
        Op.HOLD: range(len(timing.pulses_us)),
        Op.RELEASE: range(len(timing.pulses_us)),
    }
    able = [(op, number) for op, numbers in kinds.items() for number in numbers]
    waits = st.one_of(st.integers(0, 400_000), st.sampled_from([0, 0, 1, 199, 200, 201, 500_000, 33_554_430, 80_000_000]))
    now, cues, free = draw(waits), [], {}
    for wait, (op, number) in draw(st.lists(st.tuples(waits, st.sampled_from(able)), max_size=40)):
        now += wait
        device = (op, timing.stops[number][0]) if op is Op.MOVE else (op is Op.TURN, struck(number, timing) if op is Op.PULSE else number)
        if now >= free.get(device, 0):
            cues.append(RollCue(now, op, number))
            free[device] = now + 1000
    return block, tuple(cues), now + 40_000_000 + draw(waits)


def by_device(cues, timing):
    """What each axis and each coil is told, in time order: the judge's own sorting."""
    told = {}
    for cue in sorted(cues):
        device = ("axis", timing.stops[cue.argument][0]) if cue.op is Op.MOVE else ("axis", cue.argument)
        if cue.op in (Op.PULSE, Op.HOLD, Op.RELEASE):
            device = ("coil", struck(cue.argument, timing))
        told.setdefault(device, []).append(cue)
    return told


@examples(300)
@given(programmes())
def test_whatever_is_packed_every_command_is_due_within_50_us_of_its_cue(programme):
    block, cues, end_tick = programme
    packed = pack_roll(cues, "Any", end_tick, block)
    roll = unpack_roll(packed, block)
    assert abs(roll.end_tick - end_tick) <= WITHIN_TICKS
    assert spec_reader.commands(block, packed) == (sorted((c.tick, c.op.value, c.argument) for c in roll.cues), roll.length_us)
    timing = timing_of(block)
    meant, found = by_device(cues, timing), by_device(roll.cues, timing)
    for device, theirs in meant.items():
        # A rest of more than 16.7 s may hold bridges that change nothing; each command meant is found in its order.
        left = iter(found[device])
        for cue in theirs:
            assert any((c.op, c.argument) == (cue.op, cue.argument) and abs(c.tick - cue.tick) <= WITHIN_TICKS for c in left)
    assert all(cue.tick >= 0 for cue in roll.cues)
    times = [record.at_us for record in roll.records]
    assert times == sorted(times)


@examples(100)
@given(programmes())
def test_a_streamed_roll_read_on_its_own_is_the_same_roll(programme):
    """Each record read by hand here: argument, then 255, then three bytes of wait; no REPEAT; END last."""
    block, cues, end_tick = programme
    roll = unpack_roll(pack_roll(cues, "Any", end_tick, block), block)
    now, read = 0, []
    for record in stream_records(roll):
        op, argument, wait = record[0] >> 5, record[0] & 31, record[1:]
        if argument == 31:
            argument, wait = record[1], record[2:]
        assert (wait[0], len(wait)) == (255, 4)
        now += int.from_bytes(wait[1:], "little")
        read.append(RollRecord(now, Op(op), argument))
    assert tuple(read[:-1]) == roll.records
    assert read[-1] == RollRecord(roll.length_us, Op.END, 0)


LEADS = timing_of(ZITHER)
TURN_LEAD, COIL_LEAD = LEADS.axis_leads_us[1], LEADS.coil_leads_us[0]
SMALL_CUES = (
    RollCue(0, Op.MOVE, 3),
    RollCue(2_000_000 - 2 * TURN_LEAD, Op.TURN, 1),
    RollCue(2_000_000 - 2 * COIL_LEAD, Op.PULSE, 2),
    RollCue(3_000_000 - 2 * TURN_LEAD, Op.TURN, 1),
    RollCue(4_000_000 - 2 * TURN_LEAD, Op.TURN, 1),
)
SMALL = pack_roll(SMALL_CUES, "Small", 5_400_000, ZITHER)


def test_a_small_roll_is_these_bytes():
    """MOVE at 0, then at 1 s a note (TURN at the stop of the MOVE) with chord bar 2, notes at 1.5 s and 2 s, END at 2.7 s."""
    horizon_ms = -(-TURN_LEAD // 1000)
    assert SMALL[8:] == (
        ZITHER[8:12]  # machine_id
        + bytes.fromhex(
            "05 00 00 00"  # five records
            "E0 32 29 00"  # 2,700,000 us
        )
        + horizon_ms.to_bytes(2, "little")  # the turn of the pick is what is earliest
        + bytes.fromhex(
            "02"  # two waits, the commoner first: 0 and 500,000 us, each used twice
            "05 53 6D 61 6C 6C"  # the title
            "00 00 00"
            "20 A1 07"
            "43 00"  # MOVE (2) to stop 3, wait 0
            "23 FF 40 42 0F"  # NOTE (1) at stop 3 after 1,000,000 us, which is not in the table
            "82 00"  # PULSE (4) of coil 2 at the same time
            "23 01"  # NOTE after 500,000 us
            "23 01"
            "00 FF 60 AE 0A"  # END after 700,000 us
        )
    )


def test_a_row_that_comes_again_is_one_repeat():
    """Chord bars 0 1 2 in turn, each half a second: the first with a wait of its own, then five that come again.

    By hand: 12 records are 5 bytes and 11 times 2. Six written out and REPEAT of the five that follow the first take 12 + 4
    instead of 22; a REPEAT after three takes 6 + 4 and leaves five, which no single REPEAT reaches then.
    """
    cues = tuple(RollCue(1_000_000 * (n + 1), Op.PULSE, n % 3) for n in range(12))
    block = pack_roll(cues, "", 13_000_000, ZITHER)
    first_us = 500_000 + COIL_LEAD
    assert block[8 + 16 :] == (
        bytes.fromhex("20 A1 07")  # the wait table: 500,000 us
        + b"\x80\xff"
        + first_us.to_bytes(3, "little")
        + bytes.fromhex("81 00 82 00 80 00 81 00 82 00 80 00")
        + bytes.fromhex("E0 05 00 05")  # five records from byte 5
        + bytes.fromhex("00 FF")
        + (500_000 - COIL_LEAD).to_bytes(3, "little")
    )
    assert [cue.argument for cue in unpack_roll(block, ZITHER).cues] == [0, 1, 2] * 4


def test_the_header_is_letters_kind_version_length_and_crc():
    assert SMALL[:4] == b"JRR\x03"
    assert int.from_bytes(SMALL[4:6], "little") == len(SMALL) - 8
    assert int.from_bytes(SMALL[6:8], "little") == crc16(SMALL[:6] + SMALL[8:])


@pytest.mark.parametrize("place", range(len(SMALL)))
def test_every_change_of_one_byte_of_a_roll_is_refused(place):
    for change in range(1, 256):
        damaged = SMALL[:place] + bytes([SMALL[place] ^ change]) + SMALL[place + 1 :]
        assert fault_codes(unpack_roll, damaged, ZITHER) == ["block"], f"byte {place} xor {change:02X}"


@pytest.mark.parametrize("length", range(len(SMALL)))
def test_a_roll_cut_short_anywhere_is_refused(length):
    assert fault_codes(unpack_roll, SMALL[:length], ZITHER) == ["block"]


@examples(60)
@given(programmes(), st.data())
def test_a_change_of_one_or_two_bits_of_any_roll_is_refused(programme, data):
    machine_block, cues, end_tick = programme
    block = bytearray(pack_roll(cues, "Any", end_tick, machine_block))
    for bit in data.draw(st.sets(st.integers(0, 8 * len(block) - 1), min_size=1, max_size=2)):
        block[bit // 8] ^= 1 << bit % 8
    assert fault_codes(unpack_roll, bytes(block), machine_block) == ["block"]


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_every_byte_of_a_machine_block_counts(name):
    block = BLOCKS[name]
    for place in range(len(block)):
        for change in (0x01, 0x80, 0xFF):
            damaged = block[:place] + bytes([block[place] ^ change]) + block[place + 1 :]
            assert fault_codes(unpack_machine, damaged) == ["block"]
        assert fault_codes(unpack_machine, block[:place]) == ["block"]


@examples(300)
@given(st.binary(max_size=80))
def test_any_payload_under_a_right_crc_is_a_roll_or_refused(payload):
    assert set(fault_codes(unpack_roll, wrap(ROLL_KIND, payload), ZITHER)) <= {"block"}


def roll_of(records, *, cues=0, length_us=0, horizon_ms=0, waits=(), block=ZITHER):
    head = ROLL_HEAD.pack(
        machine_id=machine_id(block), cues=cues, length_us=length_us, horizon_ms=horizon_ms, waits=len(waits), title_bytes=0
    )
    return wrap(ROLL_KIND, head + b"".join(wait.to_bytes(3, "little") for wait in waits) + records)


@examples(300)
@given(st.binary(max_size=60))
def test_any_records_under_a_right_head_are_read_or_refused(records):
    assert set(fault_codes(unpack_roll, roll_of(records, waits=(0, 1000)), ZITHER)) <= {"block"}


@examples(100)
@given(st.binary(max_size=80))
def test_any_machine_payload_under_a_right_crc_is_refused_or_read(payload):
    assert set(fault_codes(unpack_machine, wrap(MACHINE_KIND, payload))) <= {"block"}


def test_a_machine_block_under_another_number_or_with_bytes_behind_is_refused_though_its_crc_is_right():
    other_number = wrap(MACHINE_KIND, bytes([LUTE[8] ^ 1]) + LUTE[9:])
    assert "not its own" in str(faults_of(unpack_machine, other_number)[0])
    longer = LUTE[12:] + b"\x00"
    with_bytes = wrap(MACHINE_KIND, zlib.crc32(longer).to_bytes(4, "little") + longer)
    assert "bytes behind its last record" in str(faults_of(unpack_machine, with_bytes)[0])


def test_switches_have_their_level_their_role_and_their_axis():
    button = ('  { id = "index",', '  { id = "play", closed = "low" },\n  { id = "index",'), ('index = "A2"', 'index = "A2"\nplay = "A3"')
    named = ('rail = "five"\n\n[board.pins]', 'rail = "five"\nplay_button = "play"\n\n[board.pins]')
    zither = changed("quay_zither", ('{ id = "detent", closed = "low" }', '{ id = "detent", closed = "high" }'), *button, named)
    found = unpack_machine(pack_machine(ensemble_of(zither), zither.board))["switches"]
    # home on A0 and detent on A1 belong to the carriage, axis 0; the index on A2 to the pick, axis 1; the button to none
    rows = [(s["pin"], s["closed_high"], s["role"], s["axis"]) for s in found]
    assert rows == [(14, 0, 0, 0), (15, 1, 1, 0), (16, 0, 2, 1), (17, 0, 3, 255)]


@pytest.mark.parametrize(
    "title, kept", [("é" * 30, "é" * 20), ("a" + "é" * 30, "a" + "é" * 19), ("n" * 40, "n" * 40), ("n" * 41, "n" * 40)]
)
def test_a_long_title_is_cut_at_a_whole_character_of_40_bytes(title, kept):
    assert unpack_roll(pack_roll((), title, 0, ZITHER), ZITHER).title == kept


def said(block):
    return str(faults_of(unpack_roll, block, ZITHER)[0])


def test_each_way_of_being_no_roll_is_told_apart():
    turn_ms = -(-TURN_LEAD // 1000)
    good_records = bytes([Op.TURN << 5 | 1, 0, 0, 0])
    told = {"cues": 1, "length_us": 200_000, "horizon_ms": turn_ms, "waits": (100_000,)}
    assert unpack_roll(roll_of(good_records, **told), ZITHER).records == (RollRecord(100_000, Op.TURN, 1),)
    assert "bytes behind END" in said(roll_of(good_records + b"\x00\x00", **told))
    assert "does not end with END" in said(roll_of(good_records[:-2], **told))
    assert "ends inside a record" in said(roll_of(good_records[:-1], **told))
    assert "ends inside a record" in said(roll_of(bytes([Op.MOVE << 5 | 31]), **told))
    assert "ends inside a record" in said(roll_of(bytes([0, 255, 1, 2]), **told))
    assert "ends inside a record" in said(roll_of(bytes([0xE0, 0, 0]), **told))
    assert "a wait that its table has not" in said(roll_of(bytes([Op.TURN << 5 | 1, 1, 0, 0]), **told))
    assert "an END with an argument" in said(roll_of(bytes([1, 0]), **told))
    assert "what is no record before it" in said(roll_of(bytes([0xE0, 0, 0, 1, 0, 0]), **told))  # nothing before it
    assert "what is no record before it" in said(roll_of(good_records[:2] + bytes([0xE0, 1, 0, 1, 0, 0]), **told))  # inside one
    assert "what is no record before it" in said(roll_of(good_records[:2] + bytes([0xE0, 0, 0, 0, 0, 0]), **told))  # no record
    assert "what is no record before it" in said(roll_of(good_records[:2] + bytes([0xE1, 0, 0, 1, 0, 0]), **told))  # an argument
    assert "no row of records before it" in said(roll_of(good_records[:2] + bytes([0xE0, 0, 0, 2, 0, 0]), **told))  # reaches itself
    across = good_records[:2] + bytes([0xE0, 0, 0, 1]) + good_records[:2] + bytes([0xE0, 0, 0, 2, 0, 0])
    assert "no row of records before it" in said(roll_of(across, **told))
    for wrong in ({"cues": 2}, {"length_us": 200_001}, {"horizon_ms": turn_ms - 1}):
        assert "does not agree with its records" in said(roll_of(good_records, **{**told, **wrong}))
    for record, words in [(0x3E, "names stop 30"), (0x60, "turns axis 0"), (0x85, "names coil 5"), (0xC5, "names coil 5")]:
        assert words in said(roll_of(bytes([record, 0, 0, 0]), **told))
    assert "another kind" in said(ZITHER)
    assert "another machine" in said(roll_of(good_records, **told, block=LUTE))
    assert "another version" in said(b"JRR\x01" + SMALL[4:])
    assert "no block of ours" in said(b"JX" + SMALL[2:])
    assert "cut short" in said(SMALL[:-1])
    assert "CRC does not agree" in said(SMALL[:-1] + b"\x04")
    title = ROLL_HEAD.pack(machine_id=machine_id(ZITHER), cues=0, length_us=0, horizon_ms=0, waits=0, title_bytes=1)
    assert "not UTF-8" in said(wrap(ROLL_KIND, title + b"\xff\x00\xff\x00\x00\x00"))
    assert "inside its title" in said(wrap(ROLL_KIND, title))


def test_a_held_coil_cannot_be_pulsed():
    """The lute's fingers have no pulse; a coil that is kicked has."""
    finger = next(n for n, pulse_us in enumerate(timing_of(LUTE).pulses_us) if not pulse_us)
    block = roll_of(bytes([Op.PULSE << 5 | finger, 0, 0, 0]), cues=1, length_us=200_000, waits=(100_000,), block=LUTE)
    assert f"pulses coil {finger}" in str(faults_of(unpack_roll, block, LUTE)[0])


@pytest.mark.slow
def test_a_roll_too_long_for_one_block_is_refused_and_one_just_short_enough_is_packed():
    """Turns with a wait of its own each, so that neither table nor REPEAT helps: five bytes a record, by SPEC-roll.md."""

    def cues(count):
        return tuple(RollCue(2_000_000 + 20 * n * n, Op.TURN, 1) for n in range(count))

    most = (65_535 - 16 - 5) // 5
    end_tick = cues(most + 2)[-1].tick + 2_000_000
    assert len(unpack_roll(pack_roll(cues(most), "", end_tick, ZITHER), ZITHER).cues) == most
    assert fault_codes(pack_roll, cues(most + 1), "", end_tick, ZITHER) == ["range"]


def test_an_end_before_the_last_sound_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="before its last sound"):
        pack_roll((RollCue(5, Op.TURN, 1),), "", 9, ZITHER)


def test_a_value_that_does_not_fit_its_field_is_refused():
    with pytest.raises(BadInput, match="does not fit the header record"):
        HEADER.pack(magic=1, kind=256, version=1, length=0, crc=0)


@examples(100)
@given(st.floats(0, 10_000))
def test_a_moment_in_ticks_and_back_is_off_by_at_most_half_a_tick(time_s):
    assert abs(seconds_of(ticks_of(time_s)) - time_s) <= 0.25e-6 + 1e-12 * time_s


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_a_machine_block_says_what_the_machine_file_says(name):
    made, board = ensemble(name), machine(name).board
    found = unpack_machine(BLOCKS[name])
    numbering = numbering_of(made)
    for axis, record in zip(made.axes.values(), found["axes"], strict=True):
        assert record["step_pin"] == pin_number(board.pins[f"{axis.motor}.step"])
        assert (record["lowest"], record["highest"], record["cruise_ticks"]) == (axis.lowest, axis.highest, axis.ramp.cruise_ticks)
        entries = [(e["interval"], e["count"]) for e in found["ramps"] if e["axis"] == numbering.axes.index(axis.motor)]
        assert tuple(entries) == axis.ramp.entries
        assert record["home_ticks"] == max(entries[0][0], 4000)  # 2 ms a step or slower
    for coil, record in zip(made.mechanism.coils, found["coils"], strict=True):
        assert record["pin"] == pin_number(board.pins[coil.id])
        assert record["max_on_ms"] == pytest.approx(1000 * coil.max_on_s, abs=1)
        assert record["pulse_us"] / 1000 <= record["max_on_ms"]
        assert record["lead_us"] == pytest.approx(1e6 * coil_lead_s(coil, made.mechanism), abs=0.5)
        assert 0 <= record["release_ms"] - 1000 * coil_release_s(coil, made.mechanism) < 1  # rounded up
        assert record["max_duty"] == {"harbour_carillon": 30, "slipway_harp": 50}.get(name, 99)  # as the files say; else the default
    assert [(numbering.axes[stop["axis"]], stop["steps"]) for stop in found["stops"]] == list(numbering.stops)
    (head,) = found["head"]
    assert head["machine_id"] == machine_id(BLOCKS[name])
    chain = {"harbour_carillon": (4, 24)}.get(name, (255, 0))  # latch on D4, three registers; else none
    assert (head["tick_hz"], head["policy"], head["shift_latch_pin"], head["shift_outputs"]) == (2_000_000, 1, *chain)


def test_leads_and_strikers_of_the_zither_are_those_of_its_file():
    carriage, pick = unpack_machine(ZITHER)["axes"]
    assert carriage["lead_us"] == 25_500  # settle = 25 ms, and half a millisecond kept free
    assert carriage["striker"] == 1  # axis 1, the pick
    assert pick["striker"] == 255
    # strike_at = 0.4 turn at 6 turn/s and 200 turn/s2: 0.03 s to full speed over 0.09 turn, then 0.31 turn at 6 turn/s
    assert pick["lead_us"] == pytest.approx(1e6 * (6 / 200 + (0.4 - 6**2 / (2 * 200)) / 6), rel=0.01)
    coil = unpack_machine(ZITHER)["coils"][0]
    assert (coil["lead_us"], coil["pulse_us"]) == (22_000, 60_000)  # operate 8 ms and pull_in 14 ms; pulse = 60 ms


def test_pins_are_numbered_as_on_the_usual_board():
    # common practice: A0 is D14; S0 to S31 are 32 to 63 by docs/SPEC-roll.md
    assert [pin_number(name) for name in ("D0", "D13", "A0", "A5", "S0", "S31")] == [0, 13, 14, 19, 32, 63]


@pytest.mark.parametrize("words, policy", [("go on", 0), ("home again", 1), ("stop", 2)])
def test_what_to_do_after_a_miss_is_told_to_the_board(words, policy):
    zither = changed("quay_zither", ('rail = "five"\n\n[board.pins]', f'rail = "five"\non_mismatch = "{words}"\n\n[board.pins]'))
    assert unpack_machine(pack_machine(ensemble_of(zither), zither.board))["head"][0]["policy"] == policy


@pytest.mark.parametrize("pin, outputs", [("S0", 8), ("S7", 8), ("S8", 16), ("S31", 32)])
def test_coils_on_shift_registers_have_pins_from_32_and_whole_registers(pin, outputs):
    zither = changed("quay_zither", ('coil_am = "D6"', f'coil_am = "{pin}"\n"shift.latch" = "D6"'))
    found = unpack_machine(pack_machine(ensemble_of(zither), zither.board))
    assert found["coils"][4]["pin"] == 32 + int(pin[1:])
    assert (found["head"][0]["shift_latch_pin"], found["head"][0]["shift_outputs"]) == (6, outputs)


def test_the_duty_of_a_coil_is_told_in_percent():
    zither = changed("quay_zither", ('max_on = "300 ms"', 'max_on = "300 ms", max_duty = 0.25'))
    assert {coil["max_duty"] for coil in unpack_machine(pack_machine(ensemble_of(zither), zither.board))["coils"]} == {25}


def test_every_record_has_fields_of_one_name_each_and_says_what_they_mean():
    for record in RECORDS:
        names = [field.name for field in record.fields]
        assert len(set(names)) == len(names)
        assert all(field.meaning for field in record.fields)
        size = {"B": 1, "H": 2, "I": 4, "i": 4}
        assert record.layout.size == sum(size[field.code] for field in record.fields)  # no padding


def test_unwrapping_ignores_what_lies_behind_a_block_in_flash():
    assert unwrap(SMALL + b"\xff" * 100, ROLL_KIND) == SMALL[8:]


def test_a_listing_names_every_device_and_the_end():
    work = do_work(machine("quay_zither"), tune((67, "1"), (69, "1"), chords=[(0, "G")], title="Two notes"))
    lines = list_roll(work.roll, work.numbering).splitlines()
    assert lines[0] == "roll     Two notes"
    assert len(lines) == 5 + len(work.roll.records) + 1
    assert any(line.endswith("pulse    coil_g") for line in lines)
    assert any("note     carriage to stop" in line for line in lines)
    assert any("move     carriage to stop" in line for line in lines)
    assert lines[-1].endswith("end")
