"""Voices of an ABC tune chosen and listed (ABC 2.1 section 7), and what a file of tunes offers."""

import pytest
from abc_reading import heads, read, told

from jackrail.faults import BadInput
from jackrail.tune.abc.reader import list_abc
from jackrail.tune.abc.text import split_tunes

HEADER = 'V:T clef=treble name="Fiddle"\nV:B octave=-1 nm=Bass\n'
MUSIC = '[V:T]"C"|:c4:|d4|]\n[V:B]|:[CE]4:|G4|]'


@pytest.mark.parametrize("name", ["B", "Bass", "bass"])
def test_a_voice_is_chosen_by_id_or_name(name):
    # Section 7.1: name= (nm=) is what stands at the staff. Repeats, chord symbols, tempo hold for all voices.
    tune = read(MUSIC, header=HEADER, voice=name)
    assert heads(tune) == [(0, 4, 48), (0, 4, 52), (4, 4, 48), (4, 4, 52), (8, 4, 55)]
    assert [chord.symbol for chord in tune.chords] == ["C", "C"]
    assert tune.tempo[0].quarters_per_minute == 90
    assert not any("read together" in warning for warning in tune.warnings)


def test_all_voices_are_read_when_none_is_asked_for():
    tune = read(MUSIC, header=HEADER)
    assert len(tune.notes) == 8
    assert "2 voices are read together as one melody: T, B; --voice picks one of them, --line top the highest line" in told(tune)


def test_the_only_voice_may_be_asked_for_and_no_other():
    assert heads(read("C4|]", voice="1")) == [(0, 4, 60)]
    with pytest.raises(BadInput) as caught:
        read(MUSIC, header=HEADER, voice="tenor")
    fault = caught.value.faults[0]
    assert (fault.code, fault.where, fault.value, fault.limit) == ("option", "--voice", "tenor", "T (Fiddle), B (Bass)")


def test_the_key_of_a_transposed_voice_is_its_own():
    tune = read("[V:1]D4|]\n[V:2]E4|]", "D", header="V:1\nV:2 transpose=-2\n", voice="2")
    assert heads(tune) == [(0, 4, 62)]
    assert [mark.sharps for mark in tune.keys] == [0]


def test_music_before_any_voice_line_belongs_to_the_first_voice():
    assert heads(read("C4|]", header="V:1 octave=1\nV:2\n")) == [(0, 4, 72)]


def test_tunes_are_listed_from_their_headers():
    text = "X:3\nT:Caf\\'e Reel\nR:reel\nM:C|\nK:Ador\nA8|]\n\nX:5\nK:C\nnothing \" but faults\n\nX:9\nT:b\nM:3/4\nK:Bb % flat\nB6|]\n"
    offers = list_abc(split_tunes(text))
    assert [(offer.kind, offer.number, offer.title, offer.options) for offer in offers] == [
        ("tune", 3, "Café Reel", ("--number", "3")),
        ("tune", 5, "", ("--number", "5")),
        ("tune", 9, "b", ("--number", "9")),
    ]
    fault = "line 10 column 9: a chord symbol or text begins here and is not closed on its line"
    assert [offer.about for offer in offers] == ["reel, C|, key Ador", f"key C, cannot be read: {fault}", "3/4, key Bb"]
    assert [(offer.notes, offer.lowest, offer.highest) for offer in offers] == [(1, 69, 69), (None, None, None), (1, 70, 70)]
    assert [offer.chosen for offer in offers] == [True, False, False]


def test_voices_of_one_tune_are_listed_with_what_they_hold():
    # Of B's three notes one begins with another; the last begins when they have ended.
    tunes = split_tunes(f"X:2\nT:t\nM:4/4\nL:1/4\n{HEADER}K:C\n{MUSIC}\n[V:R]z4|z4|]\n")
    tune, *voices = list_abc(tunes)
    assert (tune.kind, tune.options) == ("tune", ("--number", "2"))
    assert [(voice.kind, voice.number, voice.title, voice.options) for voice in voices] == [
        ("voice", 1, "Fiddle", ("--voice", "T")),
        ("voice", 2, "Bass", ("--voice", "B")),
    ]
    assert [(voice.notes, voice.lowest, voice.highest) for voice in voices] == [(2, 72, 74), (3, 48, 55)]
    assert [voice.together for voice in voices] == pytest.approx([0, 1 / 3])
    assert all(voice.chosen for voice in voices)


@pytest.mark.parametrize("music", ["C4|]", '"C4|]', ""])
def test_a_tune_of_one_voice_or_none_that_can_be_read_is_listed_alone(music):
    assert [offer.kind for offer in list_abc(split_tunes(f"X:1\nK:C\n{music}\n"))] == ["tune"]
