"""Standard MIDI Files: facts of RP-001 (SMF 1.0) and the MIDI 1.0 specification, and the rule for the melody."""

import struct
from fractions import Fraction

import pytest

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.midi.reader import list_midi, read_midi
from jackrail.tune.midi.smf import read_smf
from jackrail.tune.score.written import Notes

END = "00 FF 2F 00"


def track(text: str) -> bytes:
    body = bytes.fromhex(text)
    return b"MTrk" + struct.pack(">I", len(body)) + body


def file(*tracks: str, division: str = "00 60", kind: int = 1) -> bytes:
    return b"MThd" + struct.pack(">IHH", 6, kind, len(tracks)) + bytes.fromhex(division) + b"".join(map(track, tracks))


# Variable-length quantities: the table of RP-001, "Some examples" (number, bytes).
QUANTITIES = {
    0x00: "00", 0x40: "40", 0x7F: "7F", 0x80: "81 00", 0x2000: "C0 00", 0x3FFF: "FF 7F", 0x4000: "81 80 00", 0x100000: "C0 80 00",
    0x1FFFFF: "FF FF 7F", 0x200000: "81 80 80 00", 0x8000000: "C0 80 80 00", 0xFFFFFFF: "FF FF FF 7F",
}  # fmt: skip


@pytest.mark.parametrize("value", QUANTITIES)
def test_variable_length_quantities(value):
    smf = read_smf(file(f"{QUANTITIES[value]} 90 3C 40 01 80 3C 40 {END}"), Notes())
    assert smf.tracks[0].notes[0] == [(value, value + 1, 0x3C)]


def test_a_quantity_of_five_bytes_is_refused():
    with pytest.raises(BadInput, match="more than four bytes") as caught:
        read_smf(file(f"81 80 80 80 00 90 3C 40 {END}"), Notes())
    assert caught.value.faults[0].where == "byte 22"


def test_default_tempo_is_500000_us():
    # RP-001: without a tempo event 120 quarters a minute; 96 ticks a quarter are then 5.2083 ms a tick.
    tune = read_midi(file(f"00 90 3C 40 01 80 3C 40 {END}"), "t", Choice())
    note = tune.notes[0]
    assert tune.seconds_at(note.duration_q) == pytest.approx(5.2083e-3, abs=5e-8)


@pytest.mark.parametrize(("tempo", "rate"), [("0A 2C 2B", 90.0), ("09 27 C0", 100.0), ("07 A1 20", 120.0)])
def test_tempo_bytes(tempo, rate):
    # RP-001 arithmetic: 666,667 us is 90 a minute, to the rounding of one microsecond.
    tune = read_midi(file(f"00 FF 51 03 {tempo} 00 90 3C 40 60 80 3C 40 {END}"), "t", Choice())
    assert tune.tempo[0].quarters_per_minute == pytest.approx(rate, rel=1e-6)


@pytest.mark.parametrize(
    ("division", "ticks_a_second"),
    [("E7 28", Fraction(1000)), ("E2 50", Fraction(2400)), ("E8 04", Fraction(96)), ("E3 64", Fraction(3000000, 1001))],
)
def test_smpte_division(division, ticks_a_second):
    # RP-001: E7 28 is -25 frames, 40 ticks a frame: millisecond ticks. -29 is drop frame, 30000/1001 frames a second.
    tune = read_midi(file(f"00 90 3C 40 64 80 3C 40 {END}", division=division), "t", Choice())
    assert tune.seconds_at(tune.notes[0].duration_q) == pytest.approx(100 / float(ticks_a_second))


def test_running_status_is_kept_between_channel_messages_and_velocity_0_releases():
    smf = read_smf(file(f"00 90 3C 40 10 3C 00 00 3E 40 10 3E 00 {END}"), Notes())
    assert smf.tracks[0].notes[0] == [(0, 16, 60), (16, 32, 62)]


@pytest.mark.parametrize("between", ["00 FF 01 01 41", "00 F0 02 7E F7"])
def test_sysex_and_meta_events_end_running_status(between):
    # RP-001: "Sysex events and meta-events cancel any running status which was in effect."
    with pytest.raises(BadInput, match="without a status byte"):
        read_smf(file(f"00 90 3C 40 {between} 10 3C 00 {END}"), Notes())


def test_unknown_blocks_are_skipped_by_name():
    data = file(f"00 90 3C 40 10 80 3C 00 {END}")
    data = data[:14] + b"XTRA\x00\x00\x00\x02ab" + data[14:]
    notes = Notes()
    assert len(read_smf(data, notes).tracks) == 1
    assert notes.sentences() == ("the block 'XTRA' at byte 14 is no track and was skipped",)


def named(name: str, events: str) -> str:
    raw = name.encode()
    return f"00 FF 03 {len(raw):02X} {raw.hex()} {events} {END}"


NOTE = "00 90 3C 40 60 80 3C 00"
HIGH = "00 91 48 40 60 81 48 00"
DRUM = "00 99 23 40 60 89 23 00"


def test_a_track_named_like_an_accompaniment_is_left_out():
    data = file(named("song", ""), named("", DRUM), named("Fiddle", NOTE), named("Bass", HIGH))
    tune = read_midi(data, "t", Choice())
    assert [note.midi for note in tune.notes] == [60]
    assert "drums (channel 10) are left out" in tune.remarks
    why = "the only one whose name does not say accompaniment"
    assert f"track 3 (Fiddle) was read: {why}; left out: --track 4 (Bass)" in tune.remarks
    assert tune.title == "song"
    assert [(offer.number, offer.title) for offer in list_midi(data)] == [(2, ""), (3, "Fiddle"), (4, "Bass")]


def test_melody_is_the_track_named_so_or_asked_for():
    data = file(named("Bass", NOTE), named("Melody", HIGH))
    assert [note.midi for note in read_midi(data, "t", Choice()).notes] == [72]
    assert [note.midi for note in read_midi(data, "t", Choice(track=1)).notes] == [60]
    with pytest.raises(BadInput, match="no notes in the track asked for"):
        read_midi(data, "t", Choice(track=3))


def test_only_drums_is_no_tune():
    with pytest.raises(BadInput, match="only drums") as caught:
        read_midi(file(named("kit", DRUM)), "t", Choice())
    assert caught.value.faults[0].code == "tune"


def test_bars_follow_the_metres():
    # FF 58: numerator 3, denominator 2^2; after two bars 6/8.
    events = f"00 FF 58 04 03 02 18 08 00 90 3C 40 84 40 FF 58 04 06 03 18 08 82 20 80 3C 00 {END}"
    tune = read_midi(file(events), "t", Choice())
    bars = [(float(bar.onset_q), bar.number, bar.beats, bar.beat_unit) for bar in tune.bars]
    assert bars == [(0, 1, 3, 4), (3, 2, 3, 4), (6, 3, 6, 8)]


def test_odd_meta_events_do_not_lose_the_notes():
    tune = read_midi(file(f"00 FF 59 02 09 05 00 FF 58 00 00 FF 00 00 {NOTE} {END}"), "t", Choice())
    assert len(tune.notes) == 1
    assert any("a key signature at byte" in warning for warning in tune.warnings)
    assert any("a metre at byte" in warning for warning in tune.warnings)


def test_a_tune_of_days_is_refused():
    with pytest.raises(BadInput, match="far too long"):
        read_midi(file(f"00 90 3C 40 FF FF FF 7F 80 3C 00 {END}", division="00 01"), "t", Choice())


def test_a_track_that_ends_before_its_length_without_end_mark_is_refused():
    data = file(f"{NOTE} {NOTE} {END}")[:-12]
    with pytest.raises(BadInput, match="breaks off before its end"):
        read_midi(data, "t", Choice())
