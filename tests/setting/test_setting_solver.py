"""The exact choice against trying everything, written here afresh: only `Event`, `Option` and `Voice` are shared."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from choosing import LEAST_RING_S, cost_of, every_slowdown, need_s, some_voices
from jackrail.motion.voice import Place, Voice
from jackrail.setting import layers, search
from jackrail.setting.fit import fit
from jackrail.setting.parts import Parts
from jackrail.setting.search import Search
from jackrail.setting.solver import Event, Option, Rules, critical_slowdowns, solve
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from workshop import ensemble, examples, tune, tunes


@st.composite
def instances(draw):
    """Up to 6 events, some at one moment, each with up to 5 ways to sound it; some cost something when they are cut short."""
    voices = draw(some_voices())
    places = [(v, p) for v, voice in enumerate(voices) for p in range(len(voice.places))]
    gaps = draw(st.lists(st.sampled_from([0.0, 0.08, 0.2, 0.35, 0.6]), min_size=1, max_size=6))
    costs = st.sampled_from([0.0, 0.1, 0.25, 0.6, 1.3])
    events = []
    for onset_s in itertools.accumulate(gaps):
        chosen = draw(st.lists(st.sampled_from(places), max_size=5, unique=True))
        options = tuple(Option(v, p, draw(costs)) for v, p in chosen)
        lost, hold_s, cut = (
            draw(st.sampled_from([0.2, 0.5, 1.0, 2.0])),
            draw(st.sampled_from([0.0, 0.1, 0.3])),
            draw(st.sampled_from([0.0, 0.07, 0.4])),
        )
        events.append(Event(onset_s, lost, options, hold_s, cut))
    return voices, tuple(events)


def cheapest(events, voices, slowdown, least_tempo=1.0):
    """Least cost by trying every combination."""
    return min(
        cost_of(events, chosen, voices, slowdown, least_tempo)
        for chosen in itertools.product(*[(None, *event.options) for event in events])
    )


@examples(200)
@given(instances(), st.sampled_from([0.5, 1.0, 1.7, 2.5]))
def test_the_solver_finds_what_trying_everything_finds(instance, slowdown):
    voices, events = instance
    found = solve(events, Rules(voices, LEAST_RING_S), slowdown)
    assert found.proven
    assert found.bound == found.cost
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, slowdown), abs=1e-9)
    assert found.cost == pytest.approx(cheapest(events, voices, slowdown), abs=1e-9)


@examples(150)
@given(instances(), st.sampled_from([1.0, 1.7, 2.5]))
def test_a_choice_is_as_good_from_where_its_step_begins(instance, slowdown):
    voices, events = instance
    found = solve(events, Rules(voices, LEAST_RING_S), slowdown)
    assert found.steady_from <= slowdown
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, max(0.01, found.steady_from)), abs=1e-9)


@st.composite
def sliding(draw):
    """Like `instances`, but some options are slides, of voices that can."""
    voices, events = draw(instances())
    made = []
    for event in events:
        slides = tuple(o._replace(slid=True, cost=o.cost + 0.05) for o in event.options if voices[o.voice].slide_s and draw(st.booleans()))
        made.append(event._replace(options=event.options + slides))
    return voices, tuple(made)


@examples(120)
@given(sliding(), st.sampled_from([0.5, 1.0, 1.7, 2.5]), st.sampled_from([0.4, 1.0]))
def test_slides_are_chosen_as_trying_everything_chooses_them(instance, slowdown, least_tempo):
    voices, events = instance
    found = solve(events, Rules(voices, LEAST_RING_S, least_tempo), slowdown)
    assert found.proven
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, slowdown, least_tempo), abs=1e-9)
    assert found.cost == pytest.approx(cheapest(events, voices, slowdown, least_tempo), abs=1e-9)
    steady = max(0.01, found.steady_from)
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, steady, least_tempo), abs=1e-9)


def nothing_changes_between_critical_slowdowns(voices, events):
    rules = Rules(voices, LEAST_RING_S)
    marks = [1.0, *critical_slowdowns(events, rules, 3.0), 3.0]
    for low, high in itertools.pairwise(marks):
        if high - low > 1e-6:
            assert solve(events, rules, low).cost == pytest.approx(solve(events, rules, (low + high) / 2).cost, abs=1e-12)


@examples(100)
@given(sliding())
def test_between_two_critical_slowdowns_nothing_changes_where_bars_slide(instance):
    nothing_changes_between_critical_slowdowns(*instance)


@examples(150)
@given(instances())
def test_between_two_critical_slowdowns_nothing_changes(instance):
    nothing_changes_between_critical_slowdowns(*instance)


@examples(150)
@given(instances(), st.floats(1.0, 3.0), st.floats(1.0, 3.0))
def test_slower_is_never_dearer(instance, one, other):
    voices, events = instance
    rules = Rules(voices, LEAST_RING_S)
    assert solve(events, rules, max(one, other)).cost <= solve(events, rules, min(one, other)).cost + 1e-9


@examples(200)
@given(instances(), st.sampled_from([1.0, 1.7]), st.integers(1, 3))
def test_a_choice_without_proof_has_a_true_bound(instance, slowdown, states):
    voices, events = instance
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(layers, "MOST_STATES", states)
        found = solve(events, Rules(voices, LEAST_RING_S), slowdown)
    best = cheapest(events, voices, slowdown)
    assert found.bound - 1e-9 <= best <= found.cost + 1e-9
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, slowdown), abs=1e-9)
    assert found.bound == found.cost or not found.proven


@examples(120)
@given(some_voices(most=2), st.lists(st.tuples(st.integers(60, 67), st.sampled_from(["1/4", "1/2", "1"])), min_size=1, max_size=4))
def test_the_search_finds_the_best_key_and_tempo_that_trying_all_of_them_finds(voices, line):
    made, taste = tune(*line), Taste()
    parts = Parts(made, voices, taste)
    keys = list(parts.transpositions())
    found = Search(parts).run(keys, None)
    assert found.proven
    assert found.cost == found.bound == pytest.approx(best_of_all(parts, voices, taste), abs=1e-9)
    assert 1.0 <= found.slowdown <= 1 / taste.least_tempo


@examples(60)
@given(
    some_voices(most=2),
    st.lists(st.tuples(st.integers(60, 67), st.sampled_from(["1/4", "1/2", "1"])), min_size=2, max_size=4),
    st.integers(1, 3),
    st.sampled_from([1, 30, 100]),
)
def test_a_search_without_proof_has_a_true_bound(voices, line, states, states_in_all):
    parts = Parts(tune(*line), voices, Taste())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(layers, "MOST_STATES", states)
        patch.setattr(search, "MOST_STATES_IN_ALL", states_in_all)
        found = Search(parts).run(list(parts.transpositions()), None)
    best = best_of_all(parts, voices, Taste())
    assert found.bound - 1e-9 <= best <= found.cost + 1e-9
    assert found.proven == (found.cost - found.bound <= 1e-12)


def best_of_all(parts, voices, taste):
    """The least cost over all keys, tempos and choices."""
    return min(
        taste.semitone * abs(key)
        + (taste.new_key if key % 12 else 0.0)
        + taste.slower * (slowdown - 1) * parts.weight
        + cheapest(parts.notes(key), voices, slowdown)
        for key in parts.transpositions()
        for slowdown in every_slowdown(parts.notes(key), voices, 1 / taste.least_tempo)
    )


def many_slow_hammers():
    """Twelve hammers on one key, each tied up for three seconds: which of them are free is a large state."""
    return tuple(
        Voice(f"hammer_{v}", "melody", (f"bar_{v}",), (Place("bar", 60),), ((0.0,),), (0.0,), 3.0 + v / 1000, 0.01) for v in range(12)
    )


@pytest.mark.slow
def test_a_choice_too_large_to_prove_says_so_and_is_still_possible():
    line = tune(*[(60, "1/4")] * 18)
    found = fit(line, many_slow_hammers(), "Twelve", Wishes(transpose=0, tempo="100%"))
    assert not found.optimal
    assert found.notes_kept == 12  # each hammer once: no better choice exists, but it was not proven


@examples(40)
@given(tunes(), st.sampled_from(["quay_zither", "tower_chimes", "twin_lute"]))
def test_no_two_chosen_notes_of_a_voice_ask_more_than_it_can(made, name):
    voices = ensemble(name).voices
    setting = fit(made, voices, name)
    last = {}
    for note in setting.notes:
        if note.voice in last:
            before = last[note.voice]
            assert note.onset_s - before.onset_s >= need_s(voices[note.voice], before.place, note.place) - 1e-6
        last[note.voice] = note
    for strokes in ([(s.onset_s, s.voice) for s in setting.strokes], [(b.onset_s, b.voice) for b in setting.beats]):
        for v in {v for _, v in strokes}:
            times = [at for at, voice in strokes if voice == v]
            assert all(b - a >= voices[v].rearm_s - 1e-6 for a, b in itertools.pairwise(times))
