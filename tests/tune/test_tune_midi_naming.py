"""How the tracks of a MIDI file are named to those who may choose another, and what is said of drums.

General MIDI level 1: channel 10 is for drums, programs 1 to 8 are pianos, 33 to 40 basses, 73 to 80 pipes.
"""

import pytest
from midi_files import Q, file, hexes, melody, name, track
from midi_reading import CHORDS, HIGH, LOW, START, keys_of, read, said

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.midi.reader import list_midi, read_midi

KIT = melody(0, [(Q, 38)] * 8, 10)


def fault_of(*tracks, **asked):
    with pytest.raises(BadInput) as caught:
        read(*tracks, **asked)
    [fault] = caught.value.faults
    return fault


def test_what_is_left_out_is_named_by_the_words_that_choose_it():
    tune = read(track(*START), track(name("Fiddle"), melody(0, HIGH)), track(name("Guitar"), hexes(0, "C1 20"), melody(0, LOW, 2)))
    why = "it lies highest"
    assert said(tune, "was read") == f"track 2 (Fiddle) was read: {why}; left out: --track 3 (Guitar, bass)"


def test_one_name_for_all_is_not_said_again_and_again():
    rows = [row for n in range(2, 10) for row in (hexes(0, f"C{n - 1} 00"), *melody(0, LOW, n))]
    tune = read(track(*START, name("Harbour Night"), hexes(0, "C0 49"), melody(0, HIGH), rows))
    told = said(tune, "was read")
    assert "Harbour Night" not in told
    assert told.startswith("track 1 channel 1 (pipe) was read: ")
    left = ", ".join(f"--track 1 --channel {n} (piano)" for n in range(2, 7))
    assert told.endswith(f"; left out: {left} and 3 more")


def test_an_instrument_that_the_name_says_already_is_not_said():
    tune = read(track(*START), track(name("Pan pipe"), hexes(0, "C0 4B"), melody(0, HIGH)), track(name("Bass"), melody(0, LOW, 2)))
    assert said(tune, "was read").startswith("track 2 (Pan pipe) was read")


def test_where_chords_come_from_is_said_in_whole_words():
    tune = read(track(*START, melody(0, HIGH), CHORDS, hexes(0, "C2 20"), melody(0, LOW, 3)))
    assert said(tune, "chords are told").endswith("chords are told from track 1 channel 2 and track 1 channel 3 (bass)")


def test_drums_are_never_read():
    tune = read(track(*START, melody(0, LOW), melody(0, [(Q, 90)] * 8, 10)))
    assert keys_of(tune) == [midi for _, midi in LOW]
    assert "drums (channel 10) are left out" in tune.remarks
    assert tune.warnings == ()


def test_asked_for_drums_are_refused_as_drums():
    both = track(melody(0, LOW), KIT)
    for asked in ({"channel": 10}, {"track": 1, "channel": 10}):
        fault = fault_of(both, **asked)
        assert (fault.code, fault.what) == ("option", "holds drums on channel 10, and drums are not read")
        assert fault.limit == "track 1 channel 1"


@pytest.mark.parametrize(
    "asked, what",
    [
        ({"channel": 10}, "has no notes on the channel asked for"),
        ({"channel": 5}, "has no notes on the channel asked for"),
        ({"track": 3}, "has no notes in the track asked for"),
        ({"track": 1, "channel": 2}, "has no notes on that channel of that track"),
        ({"track": 1, "channel": 10}, "has no notes on that channel of that track"),
    ],
)
def test_what_is_not_there_is_called_by_its_name(asked, what):
    assert fault_of(track(melody(0, HIGH)), track(melody(0, LOW, 2)), **asked).what == what


def test_a_file_without_notes_speaks_of_drums_only_if_it_has_some():
    fault = fault_of(track(*START, KIT))
    assert (fault.code, fault.what) == ("tune", "the file holds only drums (channel 10), which are not read")
    fault = fault_of(track(*START))
    assert (fault.code, fault.what) == ("tune", "the file holds no note that sounds")
    assert "drum" not in fault.hint


def test_drums_are_listed_where_they_stand_and_cannot_be_chosen():
    data = file(track(*START), track(name("Kit"), KIT), track(name("Fiddle"), melody(0, HIGH)))
    rows = [(offer.number, offer.title, offer.options, offer.about, offer.notes, offer.chosen) for offer in list_midi(data)]
    assert rows == [
        (2, "Kit", (), "drums (channel 10), not read", 8, False),
        (3, "Fiddle", ("--track", "3"), "channel 1", 6, True),
    ]
    assert keys_of(read_midi(data, "t", Choice())) == [midi for _, midi in HIGH]


def test_tunes_of_a_file_of_format_2_are_a_warning():
    # RP-001: the tracks of format 2 are independent, so what the file is meant to sound like is in doubt
    tune = read(track(melody(0, LOW)), track(melody(0, HIGH)), kind=2)
    assert any("left out: --track 2" in warning for warning in tune.warnings)
