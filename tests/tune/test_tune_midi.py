"""The tune in a MIDI file: which channel of which track is the melody, its chords, keys, bars and human timing.

Answers are worked out by hand from the rules in the modules' docstrings; RP-001 (SMF 1.0) and General MIDI level 1 where they are named.
"""

import random
import time

import pytest
from midi_files import Q, Row, chord, file, hexes, in_order, key, melody, meta, metre, name, note, tempo, track
from midi_reading import CHORDS, HIGH, LOW, START, keys_of, read, said

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.midi.reader import list_midi, read_midi

# --- which one is the melody


def test_the_higher_of_two_lines_is_the_melody_wherever_it_stands():
    for tracks in ((track(melody(0, LOW)), track(melody(0, HIGH))), (track(melody(0, HIGH)), track(melody(0, LOW)))):
        tune = read(*tracks)
        assert keys_of(tune) == [midi for _, midi in HIGH]
        assert "lies highest" in said(tune, "was read")


def test_a_line_is_rather_the_melody_than_chords_a_little_above():
    # mean keys 74.8 and 78.8: 1.5 for lying high, less than 2.5 * 2/3 for one note at a time and 0.5 * 2/3 for 6 beginnings against 2
    above = [*chord(0, 4 * Q, (76, 79, 84), 2), *chord(4 * Q, 8 * Q, (74, 77, 83), 2)]
    tune = read(track(melody(0, HIGH)), track(above))
    assert keys_of(tune) == [midi for _, midi in HIGH]
    assert "plays one note at a time" in said(tune, "was read")


def test_an_ornament_that_seldom_sounds_is_not_the_melody():
    # two short bells high above: sounds 1/8 as long and begins a third as often
    bells = [*note(0, Q // 2, 96), *note(4 * Q, 4 * Q + Q // 2, 98)]
    middle = [(Q, 67), (Q, 69), (2 * Q, 71), (Q, 72), (Q, 71), (2 * Q, 69)]
    flute = hexes(0, "C1 49")
    assert keys_of(read(track(bells), track(flute, melody(0, middle, 2)), track(melody(0, LOW, 3)))) == [midi for _, midi in middle]


def test_the_instrument_decides_between_lines_alike():
    # General MIDI level 1: programs 33 to 40 are basses, 73 to 80 pipes; numbers in the file count from 0
    tune = read(track(hexes(0, "C0 20"), melody(0, HIGH)), track(hexes(0, "C1 49"), melody(0, HIGH, 2)))
    assert "track 2 (pipe) was read: it has the instrument of a melody; left out: --track 1 (bass)" in said(tune, "was read")


def test_of_equals_the_first_is_taken():
    tune = read(track(melody(0, HIGH)), track(melody(0, HIGH, 2)))
    assert said(tune, "was read") == "track 1 was read: it comes first of those much alike; left out: --track 2"


@pytest.mark.parametrize(
    "title", ["Melody", "LEAD", "The tune", "Vocals", "voice 1", "Solo", "Soprano", "Right hand", "Gesang", "Harmonica solo"]
)
def test_a_track_named_like_a_melody_is_it(title):
    tune = read(track(name(title), melody(0, LOW)), track(name("Strings"), melody(0, HIGH, 2)))
    assert keys_of(tune) == [midi for _, midi in LOW]
    assert "named like a melody" in said(tune, "was read")


@pytest.mark.parametrize("title", ["Backing vocals", "Bass solo", "Chords", "Harmony voice", "Accompaniment right"])
def test_a_name_that_says_accompaniment_counts_more(title):
    tune = read(track(name(title), melody(0, HIGH)), track(name("Flute"), melody(0, LOW, 2)))
    assert keys_of(tune) == [midi for _, midi in LOW]


@pytest.mark.parametrize("title", ["Bassoon", "Harmonica", "Harmonium"])
def test_some_instruments_only_sound_like_accompaniment(title):
    tune = read(track(name(title), melody(0, HIGH)), track(melody(0, LOW, 2)))
    assert keys_of(tune) == [midi for _, midi in HIGH]


def test_the_name_of_the_instrument_stands_in_for_that_of_the_track():
    # RP-001: FF 04 is the instrument name
    tune = read(track(meta(0, 4, b"Lead fiddle"), melody(0, LOW)), track(melody(0, HIGH, 2)))
    assert "track 1 (Lead fiddle) was read: named like a melody" in said(tune, "was read")


def test_a_channel_is_chosen_with_and_without_its_track():
    tracks = (track(melody(0, HIGH), melody(0, LOW, 2)), track(melody(0, [(8 * Q, 60)], 2)))
    assert keys_of(read(*tracks, track=1, channel=2)) == [midi for _, midi in LOW]
    assert keys_of(read(*tracks, track=2)) == [60]
    # of channel 2 in both tracks: 60 is higher than 43.75 in the mean, and both play one note at a time
    assert keys_of(read(*tracks, channel=2)) == [60]


def test_what_is_not_there_is_refused_with_what_is():
    tracks = (track(melody(0, HIGH), melody(0, LOW, 2)), track(), track(melody(0, LOW, 5)))
    for asked in ({"track": 2}, {"track": 3, "channel": 1}, {"channel": 7}):
        with pytest.raises(BadInput) as caught:
            read(*tracks, **asked)
        [fault] = caught.value.faults
        assert fault.code == "option"
        assert fault.limit == "track 1 channel 1, 2; track 3 channel 5"


# --- what is offered


def test_a_listing_has_a_row_for_each_channel_of_each_track():
    data = file(
        track(*START, name("Song")),
        track(name("fiddle"), hexes(0, "C2 28"), melody(0, HIGH, 3)),
        track(hexes(0, "C0 18"), melody(0, LOW), CHORDS, melody(0, [(Q, 35)] * 8, 10)),
    )
    rows = [(o.kind, o.number, o.title, o.options, o.about, o.notes, o.lowest, o.highest, o.chosen) for o in list_midi(data)]
    assert rows == [
        ("track", 2, "fiddle", ("--track", "2"), "channel 3, program 41 (strings)", 6, 72, 77, True),
        ("track", 3, "", ("--track", "3", "--channel", "1"), "channel 1, program 25 (guitar)", 4, 41, 48, False),
        ("track", 3, "", ("--track", "3", "--channel", "2"), "channel 2", 6, 59, 67, False),
        ("track", 3, "", (), "drums (channel 10), not read", 8, None, None, False),
    ]
    # of each chord of three two begin with the first: 4 of 6
    assert [offer.together for offer in list_midi(data)] == [0, 0, pytest.approx(2 / 3), None]


def test_a_listing_of_format_2_says_so_and_drums_alone_are_listed():
    data = file(track(melody(0, LOW)), track(melody(0, HIGH)), kind=2)
    assert [(offer.about, offer.chosen) for offer in list_midi(data)] == [
        ("a tune of its own, channel 1", True),
        ("a tune of its own, channel 1", False),
    ]
    [drums] = list_midi(file(track(melody(0, [(Q, 38)], 10))))
    assert (drums.options, drums.about, drums.notes, drums.chosen) == ((), "drums (channel 10), not read", 1, False)
    assert list_midi(file(track(*START))) == []


def test_every_offer_can_be_taken():
    data = file(track(melody(0, HIGH), melody(0, LOW, 2)), track(CHORDS), track(name("last"), melody(0, LOW, 4)))
    for offer in list_midi(data):
        asked = {word.removeprefix("--"): int(value) for word, value in zip(offer.options[::2], offer.options[1::2], strict=True)}
        tune = read_midi(data, "t", Choice(**asked, line="all"))
        assert (len(tune.notes), min(keys_of(tune)), max(keys_of(tune))) == (offer.notes, offer.lowest, offer.highest)


# --- notes that sound together


def test_legato_is_kept_as_played_unless_the_top_line_is_asked_for():
    held = [row for n, midi in enumerate((72, 71, 69, 67)) for row in note(n * Q, n * Q + Q + Q // 8, midi)]
    assert [float(one.duration_q) for one in read(track(*START, held)).notes] == [1.125] * 4
    assert [float(one.duration_q) for one in read(track(*START, held), line="top").notes] == [1, 1, 1, 1.125]
    assert read(track(*START, held)).warnings == ()


# --- tempo, metre, key


def test_of_marks_at_one_tick_the_last_in_the_file_holds():
    tune = read(track(tempo(0, 200), tempo(0, 80), metre(0, 4, 4), metre(0, 3, 4), key(0, 2), key(0, -3), melody(0, HIGH)))
    assert [mark.quarters_per_minute for mark in tune.tempo] == [80]
    assert tune.bars[0].beats == 3
    assert [mark.sharps for mark in tune.keys] == [-3]


def test_a_melody_with_a_key_of_its_own_keeps_it():
    tune = read(track(*START), track(key(0, 2), melody(0, [(Q, 74), (Q, 78), (2 * Q, 81)])), track(melody(0, LOW)))
    assert [mark.sharps for mark in tune.keys] == [2]


def test_a_key_that_is_only_said_again_changes_nothing():
    tune = read(track(tempo(0, 120), metre(0, 4, 4), key(0, 1), key(4 * Q, 1), key(6 * Q, 1, minor=True), melody(0, HIGH)))
    assert [(float(mark.onset_q), mark.sharps, mark.mode) for mark in tune.keys] == [(0, 1, "major"), (6, 1, "minor")]


def test_a_minor_tune_with_its_leading_note_is_in_its_key():
    # A minor with G sharp and F sharp: the raised seventh and sixth
    rows = [(Q, 69), (Q, 71), (Q, 72), (Q, 74), (Q, 76), (Q, 78), (Q, 80), (Q, 81), (Q, 80), (2 * Q, 81)]
    assert read(track(tempo(0, 120), metre(0, 4, 4), key(0, 0, minor=True), melody(0, rows))).warnings == ()


def test_a_long_first_bar_is_no_upbeat():
    tune = read(track(tempo(0, 120), metre(0, 4, 4), metre(4 * Q, 3, 4), key(0, 0), melody(0, HIGH)))
    assert tune.pickup_q == 0
    assert [(bar.number, float(bar.length_q)) for bar in tune.bars] == [(1, 4), (2, 3), (3, 3)]


def test_a_long_rest_before_the_melody_is_kept_and_said():
    tune = read(track(*START, melody(9 * Q, HIGH)))
    assert tune.notes[0].onset_q == 9
    assert said(tune, "melody begins") == "the melody begins in bar 3: 9 quarters of rest stand before it"
    assert read(track(*START, melody(7 * Q, HIGH))).remarks == ()
    # metres of one quarter: two bars of rest are two quarters
    short = read(track(tempo(0, 120), metre(0, 1, 8), key(0, 0), melody(Q, HIGH)))
    assert said(short, "melody begins") == "the melody begins in bar 3: 1 quarter of rest stands before it"


def test_a_name_in_another_encoding_is_read_as_latin_1():
    tune = read(track(*START, meta(0, 3, "Blåvals".encode("latin-1")), melody(0, HIGH)))
    assert tune.title == "Blåvals"


# --- human timing


def played(seed: int, *, drift: float = 1.0) -> bytes:
    """Forty bars of eighths and quarters, scattered by 12 ms at 120 quarters a minute, that is 11.5 ticks."""
    dice = random.Random(seed)  # noqa: S311
    rows: list[Row] = []
    for bar in range(40):
        for n, (at, length) in enumerate(((0, 1), (1, 1), (2, 2), (4, 1), (5, 1), (6, 2))):
            on = (bar * 8 + at) * 240 * drift + dice.gauss(0, 11.5)
            rows += note(max(0, round(on)), max(1, round(on + length * 240 * drift - 20)), 60 + n)
    return track(*START, rows)


def test_a_file_played_by_hand_is_told_what_can_be_done():
    assert "--quantise 1" in said(read(played(1)), "beat's grid")
    assert read(played(1), quantise=0.0).warnings == ()
    full = read(played(1), quantise=1.0)
    assert full.warnings == ()
    assert [float(one.onset_q) for one in full.notes[:7]] == [0, 0.5, 1, 2, 2.5, 3, 4]
    assert {float(one.duration_q) for one in full.notes} == {0.5, 1}


def test_a_free_recording_is_told_that_bars_mean_little():
    tune = read(played(2, drift=0.913))
    assert "do not follow the beat of the file" in said(tune, "as in a recording without it")
    assert not any("--quantise 1" in warning for warning in tune.warnings)
    assert len(read(played(2, drift=0.913), quantise=1.0).notes) == len(tune.notes)


def test_times_in_seconds_have_no_grid():
    data = track(note(0, 500, 60))
    with pytest.raises(BadInput) as caught:
        read(data, division=0xE728, quantise=0.5)
    assert (caught.value.faults[0].code, caught.value.faults[0].where) == ("option", "--quantise")
    assert read(data, division=0xE728, quantise=0.0).notes


# --- keys struck twice


def test_two_lines_that_meet_at_once_are_one_note_and_nothing_is_said():
    rows = [hexes(0, "90 3C 50"), hexes(0, "90 3C 50"), hexes(Q, "80 3C 00"), hexes(2 * Q, "80 3C 00")]
    tune = read(in_order([*START, *rows, *melody(2 * Q, HIGH)]))
    assert [(float(one.onset_q), float(one.duration_q)) for one in tune.notes[:2]] == [(0, 2), (2, 1)]
    assert tune.warnings == ()


# --- what is not followed


def test_a_channel_tuned_to_other_keys_is_named():
    # MIDI 1.0: registered parameter 2 (coarse tuning), 64 for none; 76 is an octave up
    tuned = [hexes(0, "B0 65 00"), hexes(0, "B0 64 02"), hexes(0, "B0 06 4C")]
    assert "registered parameter 2" in said(read(in_order([*START, *tuned, *melody(0, HIGH)])), "tuned to other keys")
    plain = [*tuned[:2], hexes(0, "B0 06 40")]
    assert read(in_order([*START, *plain, *melody(0, HIGH)])).warnings == ()
    bend_range = [hexes(0, "B0 65 00"), hexes(0, "B0 64 00"), hexes(0, "B0 06 0C")]
    assert read(in_order([*START, *bend_range, *melody(0, HIGH)])).warnings == ()


def test_bends_and_pedals_of_other_channels_are_nobodys_business():
    rows = [hexes(0, "E1 00 50"), hexes(0, "B1 40 7F"), hexes(0, "E0 00 40"), hexes(0, "B0 40 00")]
    assert read(in_order([*START, *rows, *melody(0, HIGH)])).warnings == ()


def test_an_escape_that_goes_on_with_a_message_is_none():
    rows = [hexes(0, "F0 02 43 12"), hexes(1, "F7 02 01 02"), hexes(2, "F7 02 03 F7"), hexes(3, "F0 02 01 F7"), hexes(3, "F7 01 F8")]
    assert read(in_order([*START, *rows, *melody(3, HIGH)])).warnings == ()


# --- bounds


def test_ever_more_events_are_refused_with_the_byte():
    data = b"\x00\x90" + b"\x3c\x40\x00" * 2_000_000
    start = time.process_time()
    with pytest.raises(BadInput, match="far too many events") as caught:
        read_midi(b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + len(data).to_bytes(4, "big") + data, "t", Choice())
    assert time.process_time() - start < 1.0
    # two bytes for the first event's delta and status, three for each of 200,001 events, after 22 of headers
    assert caught.value.faults[0].where == f"byte {22 + 1 + 3 * 200_001}"


@pytest.mark.parametrize(
    "event", ["00 FF 51 00", "00 80 3C 00", "00 FF 58 00", "00 FF 59 02 63 00", "00 F7 01 90", "00 FF 06 01 47", "01 B0 7B 00"]
)
def test_a_hundred_thousand_oddities_are_a_few_sentences(event):
    data = bytes.fromhex(event) * 100_000 + bytes.fromhex("00 90 3C 40 60 80 3C 00 00 FF 2F 00")
    start = time.process_time()
    tune = read_midi(b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + len(data).to_bytes(4, "big") + data, "t", Choice())
    assert time.process_time() - start < 1.0
    assert len(tune.notes) == 1
    assert sum(map(len, tune.warnings)) < 3000
