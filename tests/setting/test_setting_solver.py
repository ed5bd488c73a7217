"""The exact choice against trying everything, written here afresh: only `Event`, `Option` and `Voice` are shared."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.motion.voice import Place, Voice
from jackrail.setting.fit import fit
from jackrail.setting.parts import Parts
from jackrail.setting.search import Search
from jackrail.setting.solver import Event, Option, Rules, critical_slowdowns, solve
from jackrail.setting.taste import Taste
from jackrail.setting.wishes import Wishes
from workshop import ensemble, examples, tune, tunes

LEAST_RING_S = 0.06
KEYS = st.integers(60, 66)
TIMES = st.sampled_from([0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0])


@st.composite
def some_voices(draw, most=3):
    """1 to 3 voices with 1 to 4 places and any times between them, not even alike both ways."""
    voices = []
    for v in range(draw(st.integers(1, most))):
        count = draw(st.integers(1, 4))
        move_s = tuple(tuple(0.0 if p == q else draw(TIMES) for q in range(count)) for p in range(count))
        places = tuple(Place(f"place {p}", draw(KEYS)) for p in range(count))
        voices.append(Voice(f"voice_{v}", "melody", (f"s{v}",), places, move_s, (0.0,) * count, draw(TIMES), 0.01))
    return tuple(voices)


@st.composite
def instances(draw):
    """Up to 6 events, some at one moment, each with up to 5 ways to sound it."""
    voices = draw(some_voices())
    places = [(v, p) for v, voice in enumerate(voices) for p in range(len(voice.places))]
    gaps = draw(st.lists(st.sampled_from([0.0, 0.08, 0.2, 0.35, 0.6]), min_size=1, max_size=6))
    costs = st.sampled_from([0.0, 0.1, 0.25, 0.6, 1.3])
    events = []
    for onset_s in itertools.accumulate(gaps):
        chosen = draw(st.lists(st.sampled_from(places), max_size=5, unique=True))
        options = tuple(Option(v, p, draw(costs)) for v, p in chosen)
        events.append(Event(onset_s, draw(st.sampled_from([0.2, 0.5, 1.0, 2.0])), options))
    return voices, tuple(events)


def need_s(voice, start, end):
    """Least time between two onsets of one voice: re-arming, and when it moves, ringing and travel too."""
    return voice.rearm_s if start == end else max(voice.rearm_s, LEAST_RING_S + voice.move_s[start][end])


def is_possible(events, chosen, voices, slowdown):
    last = {}
    for event, option in zip(events, chosen, strict=True):
        if option is None:
            continue
        if option.voice in last:
            before, place = last[option.voice]
            if (event.onset_s - before) * slowdown < need_s(voices[option.voice], place, option.place) - 1e-9:
                return False
        last[option.voice] = (event.onset_s, option.place)
    return True


def cost_of(events, chosen):
    return sum(event.lost if option is None else option.cost for event, option in zip(events, chosen, strict=True))


def cheapest(events, voices, slowdown):
    """Least cost by trying every combination."""
    every = itertools.product(*[(None, *event.options) for event in events])
    return min(cost_of(events, chosen) for chosen in every if is_possible(events, chosen, voices, slowdown))


@examples(400)
@given(instances(), st.sampled_from([0.5, 1.0, 1.7, 2.5]))
def test_the_solver_finds_what_trying_everything_finds(instance, slowdown):
    voices, events = instance
    found = solve(events, Rules(voices, LEAST_RING_S), slowdown)
    assert found.proven
    assert is_possible(events, found.options, voices, slowdown)
    assert found.cost == pytest.approx(cost_of(events, found.options), abs=1e-9)
    assert found.cost == pytest.approx(cheapest(events, voices, slowdown), abs=1e-9)


@examples(150)
@given(instances())
def test_between_two_critical_slowdowns_nothing_changes(instance):
    voices, events = instance
    rules = Rules(voices, LEAST_RING_S)
    marks = [1.0, *critical_slowdowns(events, rules, 3.0), 3.0]
    for low, high in itertools.pairwise(marks):
        if high - low > 1e-6:
            assert solve(events, rules, low).cost == pytest.approx(solve(events, rules, (low + high) / 2).cost, abs=1e-12)


@examples(150)
@given(instances(), st.floats(1.0, 3.0), st.floats(1.0, 3.0))
def test_slower_is_never_dearer(instance, one, other):
    voices, events = instance
    rules = Rules(voices, LEAST_RING_S)
    assert solve(events, rules, max(one, other)).cost <= solve(events, rules, min(one, other)).cost + 1e-9


@examples(120)
@given(some_voices(most=2), st.lists(st.tuples(st.integers(60, 67), st.sampled_from(["1/4", "1/2", "1"])), min_size=1, max_size=4))
def test_the_search_finds_the_best_key_and_tempo_that_trying_all_of_them_finds(voices, line):
    made, taste = tune(*line), Taste()
    parts = Parts(made, voices, taste)
    keys = list(parts.transpositions())
    found = Search(parts).run(keys, None)
    best = min(
        taste.semitone * abs(key)
        + (taste.new_key if key % 12 else 0.0)
        + taste.slower * (slowdown - 1) * parts.weight
        + cheapest(parts.notes(key), voices, slowdown)
        for key in keys
        for slowdown in every_slowdown(parts.onsets_s, voices, 1 / taste.least_tempo)
    )
    assert found.proven
    assert found.cost == pytest.approx(best, abs=1e-9)
    assert 1.0 <= found.slowdown <= 1 / taste.least_tempo


def every_slowdown(onsets_s, voices, most):
    """1 and each slowdown at which some gap of the tune grows to some time that a voice needs."""
    needs = {need_s(voice, p, q) for voice in voices for p in range(len(voice.places)) for q in range(len(voice.places))}
    gaps = {round(b - a, 12) for a, b in itertools.combinations(onsets_s, 2) if b > a}
    return [1.0, *sorted(need / gap for need in needs for gap in gaps if 1.0 < need / gap <= most)]


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
