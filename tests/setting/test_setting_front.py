"""The trade-off against trying every subset of notes in every key at every tempo that could matter, written here afresh."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.motion.voice import Place, Voice
from jackrail.setting.fit import arrange, trade_off
from jackrail.setting.taste import Taste, note_weights
from jackrail.setting.wishes import Wishes
from jackrail.tune.read import read_tune
from workshop import ROOT, ensemble, tune

RING_S = Taste().least_ring_s
MOVE_S = ((0.0, 0.2, 0.5), (0.3, 0.0, 0.2), (0.4, 0.25, 0.0))
BAR = Voice("bar", "melody", ("s",), tuple(Place(f"p{n}", 60 + 2 * n) for n in range(3)), MOVE_S, (0.0,) * 3, 0.1, 0.01)
OURS = ["nine_lamps.abc", "gull_steps.abc", "tide_table.mid", "ropewalk.musicxml"]
LINES = st.lists(st.tuples(st.sampled_from([0.25, 0.5, 1.0]), st.sampled_from([60, 62, 64, 72])), min_size=2, max_size=6)


def ours(name):
    return read_tune(ROOT / "tunes" / name)


def possible(notes, kept, slowdown):
    """Whether the bar can sound these notes at this slowdown: re-arming, and ringing and travel between places."""
    for (at, p), (then, q) in itertools.pairwise(kept):
        gap_s = float(notes[then].onset_q - notes[at].onset_q) * 0.5 * slowdown  # 120 quarters a minute
        need_s = 0.1 if p == q else max(0.1, RING_S + MOVE_S[p][q])
        if gap_s < need_s - 1e-9:
            return False
    return True


def everything(made, weights, slowest):
    """(tempo, share of weight kept, transposition) of every way to play some of the notes as written in some key at its fastest."""
    found = []
    for transpose in range(-12, 13):
        places = {
            index: (note.midi + transpose - 60) // 2 for index, note in enumerate(made.notes) if note.midi + transpose in (60, 62, 64)
        }
        for size in range(len(places) + 1):
            for some in itertools.combinations(places, size):
                kept = [(index, places[index]) for index in some]
                gaps = [
                    (0.1 if p == q else max(0.1, RING_S + MOVE_S[p][q])) / (float(made.notes[b].onset_q - made.notes[a].onset_q) * 0.5)
                    for (a, p), (b, q) in itertools.pairwise(kept)
                ]
                slowdown = max([1.0, *gaps])
                if slowdown <= slowest:
                    assert possible(made.notes, kept, slowdown)
                    found.append((1 / slowdown, sum(weights[index] for index in some) / sum(weights)))
    return found


@given(LINES)
@settings(max_examples=40, deadline=None)
def test_nothing_that_could_be_played_beats_the_front_in_tempo_and_notes(line):
    made = tune(*((midi, length) for length, midi in line))
    # an octave costs as much as the note: so nothing is moved by octaves and the front is about notes kept alone
    taste = Taste(folded=1.0, folded_twice=1.0, semitone=0.0, new_key=0.0)
    wishes = Wishes(taste=taste, repeats="free")
    front = trade_off(made, (BAR,), wishes)
    points = [(point.tempo_factor, point.notes_share) for point in front.points]
    if front.in_all == len(front.points):
        for tempo, share in everything(made, note_weights(made, taste), 2.5):
            assert any(t >= tempo - 1e-3 and n >= share - 1e-3 for t, n in points), (tempo, share, points)
    assert all(point.proven for point in front.points)


@pytest.mark.parametrize("name", OURS)
def test_no_point_beats_another_and_the_setting_of_least_cost_is_among_them(name):
    machine, made = ensemble("quay_zither"), ours(name)
    front = trade_off(made, machine.voices)
    chosen = [point for point in front.points if point.chosen]
    least = arrange(made, machine.voices, "")[1]
    assert [(point.tempo_factor, point.notes_kept) for point in chosen] == [(least.tempo_factor, least.notes_kept)]
    assert [point.number for point in front.points] == list(range(1, len(front.points) + 1))
    for a, b in itertools.permutations(front.points, 2):
        assert not all(x >= y for x, y in zip(a.scores, b.scores, strict=True))


def test_the_point_that_is_taken_is_what_is_played():
    machine, made = ensemble("quay_zither"), ours("gull_steps.abc")
    for point in trade_off(made, machine.voices).points:
        _, setting = arrange(made, machine.voices, "", Wishes(point=point.number))
        assert setting.tempo_factor == point.tempo_factor
        assert (setting.notes_kept, setting.chords_kept, setting.transpose_semitones) == (
            point.notes_kept,
            point.chords_kept,
            point.found.transpose,
        )
        assert setting.point == point.number
        assert setting.bound <= setting.cost + 1e-9
        assert setting.optimal == point.chosen


def test_a_point_that_is_not_there_is_refused_with_how_many_there_are():
    with pytest.raises(BadInput) as bad:
        arrange(ours("gull_steps.abc"), ensemble("quay_zither").voices, "", Wishes(point=99))
    (fault,) = bad.value.faults
    assert (fault.where, fault.value, fault.limit) == ("--point", "99", "1 to 12")


def test_with_a_tempo_asked_for_all_points_have_it():
    front = trade_off(ours("gull_steps.abc"), ensemble("quay_zither").voices, Wishes(tempo="70%"))
    assert {round(point.tempo_factor, 9) for point in front.points} == {0.7}
