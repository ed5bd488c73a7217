"""When chords are struck, worked out by hand for each metre, and that no coil grows too hot by it."""

from dataclasses import replace
from fractions import Fraction

import pytest

from jackrail.faults import BadInput
from jackrail.motion.heat import Blow, Endurance
from jackrail.motion.voice import Place, Voice
from jackrail.setting.fit import arrange
from jackrail.setting.model import SetStroke
from jackrail.setting.strokes import chord_moments, within_heat
from jackrail.setting.wishes import Wishes
from jackrail.tune.read import parse_tune, read_tune
from jackrail.work import do_work
from workshop import ROOT, ensemble, machine, tune

# Beats of the bar, the first being 1, in the lower number of the metre. The off-beats of a waltz, a march and a jig are common
# practice in accompanying dances, no source.
BY_METRE = {
    ("2/4", "downbeats"): "1",
    ("2/4", "beats"): "1 2",
    ("2/4", "offbeats"): "2",
    ("3/4", "beats"): "1 2 3",
    ("3/4", "offbeats"): "2 3",
    ("3/4", "both"): "1 2 3",
    ("4/4", "beats"): "1 2 3 4",
    ("4/4", "offbeats"): "2 4",
    ("4/4", "both"): "1 2 4",
    ("2/2", "offbeats"): "2",
    ("6/8", "beats"): "1 4",
    ("6/8", "offbeats"): "3 6",
    ("6/8", "both"): "1 3 6",
    ("9/8", "beats"): "1 4 7",
    ("9/8", "offbeats"): "3 6 9",
    ("12/8", "offbeats"): "3 6 9 12",
    ("5/8", "beats"): "1 4",
    ("5/8", "offbeats"): "2 3 5",
    ("7/8", "beats"): "1 3 5",
    ("5/4", "beats"): "1 2 3 4 5",
    ("4/4", "1,3"): "1 3",
    ("4/4", "1 2.5 4"): "1 2.5 4",
    ("3/4", "1,3,7"): "1 3",
    ("4/4", "changes"): "",
}


def struck(metre, strum, body):
    """(bar, beat) of each stroke after the first, repeated ones alone."""
    made = parse_tune(f"X:1\nT:S\nM:{metre}\nL:1/{metre.split('/')[1]}\nK:C\n{body}".encode(), "s.abc")
    moments = chord_moments(made, strum)
    return [made.place(_quarter(made, moment.onset_s)) for moment in moments if moment.repeated]


def _quarter(made, at_s):
    return next(q for q in (Fraction(n, 8) for n in range(1000)) if abs(made.seconds_at(q) - at_s) < 1e-9)


@pytest.mark.parametrize(("metre", "strum"), BY_METRE)
def test_chords_are_renewed_on_the_beats_of_the_metre(metre, strum):
    """One symbol over two bars, looked at in the second, where all is renewal."""
    beats = int(metre.split("/")[0])
    body = f'"C"{"c" * beats}|{"c" * beats}|'
    expected = [f"bar 2 beat {beat}" for beat in BY_METRE[metre, strum].split()]
    assert [place for place in struck(metre, strum, body) if place.startswith("bar 2")] == expected


def test_a_symbol_in_mid_bar_is_struck_where_it_stands_and_takes_over_what_follows():
    assert struck("4/4", "both", '"C"cc"G"cc|cccc|') == ["bar 1 beat 2", "bar 1 beat 4", "bar 2 beat 1", "bar 2 beat 2", "bar 2 beat 4"]


def test_an_upbeat_is_the_end_of_its_bar():
    assert struck("3/4", "offbeats", '"C"c|ccc|') == ["bar 1 beat 2", "bar 1 beat 3"]
    assert struck("3/4", "beats", '"C"cc|ccc|')[0] == "bar 0 beat 3"


def test_silence_ends_the_strokes():
    assert struck("4/4", "beats", '"C"cc"N.C."cc|cccc|') == ["bar 1 beat 2"]


def test_free_metre_has_no_beats_to_strike_on():
    assert struck("4/4", "beats", '[M:none]"C"cccc|cccc|') == ["bar 2 beat 1"]


@pytest.mark.parametrize("strum", ["waltz", "0,2", "", "1,,x", "-1", "1;2"])
def test_a_strum_that_is_none_is_refused_with_the_words(strum):
    with pytest.raises(BadInput) as bad:
        Wishes(strum=strum)
    (fault,) = bad.value.faults
    assert fault.where == "--strum"
    assert "offbeats" in fault.limit


def test_strokes_off_the_first_beat_give_way_first():
    """A bar that is ready again after 0.6 s and beats of 0.5 s: of beats 1, 2, 3, 4 the strokes on 1 and 3 stay."""
    place = Place("C", None)
    bar = Voice("bar", "chord", ("s",), (place,), ((0.0,),), (0.0,), 0.6, 0.02, "C")
    string = Voice("string", "melody", ("m",), (Place("c", 60),), ((0.0,),), (0.0,), 0.1, 0.01)
    made = tune(*[(60, 1)] * 8, chords=[(0, "C")], bars=2, sharps=0)
    setting = arrange(made, (string, bar), "", Wishes(strum="beats", tempo="100%", transpose=0))[1]
    assert [round(one.onset_s - setting.lead_in_s, 6) for one in setting.strokes][:3] == [0.0, 1.0, 2.0]
    assert len(setting.strokes) == 4


def test_repeated_strokes_go_before_a_coil_grows_too_hot():
    """0.1 s a stroke, 0.25 s at most from cold, a quarter of the time: heat 0.075 a stroke of 0.1875, less 0.0375 in the 0.15 s between;
    0.075, 0.1125, 0.15, 0.1875: the fifth would be too much, by hand."""
    blow = Blow(0.1, Endurance(0.25, 0.25))
    voice = Voice("bar", "chord", ("s",), (Place("C", None),), ((0.0,),), (0.0,), 0.1, 0.02, "C", blow=blow)
    row = [SetStroke(0.25 * n, 0, "C", n > 0) for n in range(8)]
    kept = within_heat(row, (voice,))
    assert [one.onset_s for one in kept[:4]] == [0.0, 0.25, 0.5, 0.75]
    assert blow.bears(one.onset_s for one in kept)
    assert len(kept) < len(row)
    written = [replace(one, repeated=False) for one in row]
    assert within_heat(written, (voice,)) == written


@pytest.mark.parametrize("strum", ["changes", "downbeats", "beats", "offbeats", "both", "1 2.5 4"])
@pytest.mark.parametrize("name", ["quay_zither", "twin_lute"])
def test_every_strum_can_be_played(name, strum):
    for path in ("nine_lamps.abc", "ropewalk.musicxml"):
        work = do_work(machine(name), read_tune(ROOT / "tunes" / path), Wishes(strum=strum))
        assert not [finding for finding in work.findings if finding.severity == "error"]
        written = [stroke for stroke in work.setting.strokes if not stroke.repeated]
        assert len(written) == work.setting.chords_kept


def test_more_is_struck_when_more_is_asked_for():
    made, voices = read_tune(ROOT / "tunes" / "nine_lamps.abc"), ensemble("quay_zither").voices
    counts = [len(arrange(made, voices, "", Wishes(strum=strum))[1].strokes) for strum in ("changes", "downbeats", "both")]
    assert counts == sorted(counts)
    assert counts[0] < counts[1] < counts[2]
