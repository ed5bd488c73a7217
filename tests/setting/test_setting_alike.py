"""What comes again is treated alike, against trying everything: the choices are listed and judged here afresh."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from choosing import LEAST_RING_S, cost_of, every_slowdown, some_voices
from jackrail.setting import alike
from jackrail.setting.alike import Alike
from jackrail.setting.events import Event, Option, Rules
from jackrail.setting.parts import Manner, Parts
from jackrail.setting.search import Search
from jackrail.setting.solver import solve
from jackrail.setting.taste import Taste
from workshop import examples, tune


@st.composite
def repeated(draw):
    """Up to 6 events of which some stand in groups; options of one octave may stand at several places and cost alike."""
    voices = draw(some_voices(most=2))
    places = [(v, p) for v, voice in enumerate(voices) for p in range(len(voice.places))]
    gaps = draw(st.lists(st.sampled_from([0.0, 0.08, 0.2, 0.35, 0.6]), min_size=2, max_size=6))
    events = []
    for onset_s in itertools.accumulate(gaps):
        chosen = draw(st.lists(st.tuples(st.sampled_from(places), st.sampled_from([0, 0, 1, -1])), max_size=3, unique=True))
        options = tuple(Option(v, p, 0.25 * abs(octaves), octaves) for (v, p), octaves in chosen)
        events.append(Event(onset_s, draw(st.sampled_from([0.2, 0.5, 1.0])), options, 0.1, draw(st.sampled_from([0.0, 0.15]))))
    members = draw(st.lists(st.integers(0, 2), min_size=len(events), max_size=len(events)))
    groups = [tuple(i for i, member in enumerate(members) if member == group) for group in (1, 2)]
    return voices, tuple(events), [group for group in groups if group]


def is_alike(events, chosen, groups):
    """Members of a group that have the same choice of octaves do the same: out, or so many octaves."""
    for group in groups:
        for a, b in itertools.combinations(group, 2):
            if {o.octaves for o in events[a].options} == {o.octaves for o in events[b].options} and does(chosen[a]) != does(chosen[b]):
                return False
    return True


def does(option):
    return None if option is None else option.octaves


def cheapest_alike(voices, events, groups, slowdown):
    every = itertools.product(*[(None, *event.options) for event in events])
    return min(cost_of(events, chosen, voices, slowdown) for chosen in every if is_alike(events, chosen, groups))


@examples(300)
@given(repeated(), st.sampled_from([1.0, 1.7]))
def test_the_best_of_what_is_alike_is_found(instance, slowdown):
    voices, events, groups = instance
    prepared = Alike(events, Rules(voices, LEAST_RING_S), groups)
    found = prepared.alike(prepared.free(slowdown), slowdown)
    assert is_alike(events, found.options, groups)
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, slowdown), abs=1e-9)
    assert found.cost == pytest.approx(cheapest_alike(voices, events, groups, slowdown), abs=1e-9)
    assert found.proven


@examples(200)
@given(repeated(), st.integers(1, 3), st.sampled_from([0.3, 1.0, math.inf]))
def test_without_proof_the_bound_is_true_and_the_choice_alike(instance, cases, enough):
    voices, events, groups = instance
    prepared = Alike(events, Rules(voices, LEAST_RING_S), groups)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alike, "MOST_CASES", cases)
        found = prepared.alike(prepared.free(1.0), 1.0, enough)
    best = cheapest_alike(voices, events, groups, 1.0)
    assert is_alike(events, found.options, groups)
    assert found.cost == pytest.approx(cost_of(events, found.options, voices, 1.0), abs=1e-9)
    assert found.bound - 1e-9 <= best <= found.cost + 1e-9
    assert not found.proven or found.cost == pytest.approx(best, abs=1e-9)


@examples(60)
@given(
    some_voices(most=2),
    st.lists(st.tuples(st.integers(60, 66), st.sampled_from(["1/4", "1/2", "1"])), min_size=1, max_size=3),
    st.sampled_from([(2, False), (2, True), (3, False)]),
)
def test_the_search_finds_the_best_key_and_tempo_of_what_is_alike(voices, line, manner):
    """A line played two or three times over, or twice with another end: folding it together must never lose the best."""
    times, other_end = manner
    notes = [*line * times][: 6 - 6 % len(line)]
    made = tune(*notes, *([(63, "1/2")] if other_end and len(notes) < 6 else []))
    groups = tuple(tuple(range(n, len(notes), len(line))) for n in range(len(line)))
    groups = tuple(group for group in groups if len(group) > 1)
    parts = Parts(made, voices, Taste(), Manner(alike=groups))
    found = Search(parts).run(list(parts.transpositions()), None)
    best = min(
        Taste().semitone * abs(key)
        + (Taste().new_key if key % 12 else 0.0)
        + Taste().slower * (slowdown - 1) * parts.weight
        + cheapest_alike(voices, parts.notes(key), groups, slowdown)
        for key in parts.transpositions()
        for slowdown in every_slowdown(parts.notes(key), voices, 1 / Taste().least_tempo)
    )
    assert is_alike(parts.notes(found.transpose), found.notes.options, groups)
    assert found.proven
    assert found.cost == found.bound == pytest.approx(best, abs=1e-9)


@examples(200)
@given(
    some_voices(most=1),
    st.lists(st.tuples(st.integers(60, 64), st.sampled_from(["1/4", "1/2"]), st.integers(0, 3)), min_size=2, max_size=6),
    st.sampled_from([1.0, 1.7]),
)
def test_a_tune_folded_together_never_costs_more_than_one_that_is_alike(voices, notes, slowdown):
    """Groups here are any notes of one key and length, wherever they stand: nothing needs to be a repeat."""
    made = tune(*[(midi, length) for midi, length, _ in notes])
    kinds = {}
    for index, kind in enumerate(notes):
        if kind[2]:
            kinds.setdefault(kind, []).append(index)
    groups = tuple(tuple(group) for group in kinds.values() if len(group) > 1)
    parts = Parts(made, voices, Taste(), Manner(alike=groups))
    least = solve(parts.folded_notes(0), parts.rules, slowdown).cost
    assert least <= cheapest_alike(voices, parts.notes(0), groups, slowdown) + 1e-9
