"""The cheapest path, against every path there is, against a shortest-path search, and against a published case."""

import heapq
from itertools import pairwise, product
from math import exp, inf, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.tune.inference.viterbi import best_path, steady_path
from workshop import examples

SMALL = st.integers(0, 6)


def cost_of(path, costs, change):
    return sum(step[choice] for step, choice in zip(costs, path, strict=True)) + sum(change[a][b] for a, b in pairwise(path))


@st.composite
def trellises(draw, cost=SMALL):
    """Costs and changes as whole numbers, so that sums are exact and equal paths are common."""
    choices, steps = draw(st.integers(1, 4)), draw(st.integers(1, 5))
    row = st.lists(cost, min_size=choices, max_size=choices)
    return draw(st.lists(row, min_size=steps, max_size=steps)), draw(st.lists(row, min_size=choices, max_size=choices))


def every_path(costs):
    return product(range(len(costs[0])), repeat=len(costs))


@examples(300)
@given(trellises())
def test_it_is_the_cheapest_of_all_paths_and_of_equals_the_lower_at_the_end(trellis):
    costs, change = trellis
    cheapest = min(every_path(costs), key=lambda path: (cost_of(path, costs, change), path[::-1]))
    assert best_path(costs, change) == (list(cheapest), cost_of(cheapest, costs, change))


@examples(100)
@given(trellises(st.one_of(SMALL, st.just(inf))))
def test_what_cannot_be_is_not_taken(trellis):
    costs, change = trellis
    path, cost = best_path(costs, change)
    assert cost == cost_of(path, costs, change) == min(cost_of(path, costs, change) for path in every_path(costs))


def shortest(costs, change):
    """The length of the shortest way through the trellis, by Dijkstra's search (Numerische Mathematik 1, 1959).

    G. D. Forney, The Viterbi algorithm, Proc. IEEE 61 (1973): the algorithm finds the shortest way through the trellis.
    """
    queue = [(cost, 0, choice) for choice, cost in enumerate(costs[0])]
    heapq.heapify(queue)
    done = set()
    while True:
        length, step, choice = heapq.heappop(queue)
        if step == len(costs) - 1:
            return length
        if (step, choice) not in done:
            done.add((step, choice))
            for after, cost in enumerate(costs[step + 1]):
                heapq.heappush(queue, (length + change[choice][after] + cost, step + 1, after))


@examples(60)
@given(st.integers(2, 12), st.integers(2, 30), st.randoms(use_true_random=False))
def test_it_is_as_long_as_the_shortest_way_through_the_trellis(choices, steps, draw):
    costs = [[draw.random() for _ in range(choices)] for _ in range(steps)]
    change = [[2 * draw.random() for _ in range(choices)] for _ in range(choices)]
    path, cost = best_path(costs, change)
    assert cost == pytest.approx(shortest(costs, change))
    assert cost == pytest.approx(cost_of(path, costs, change))


def test_the_healthy_and_the_feverish():
    # The worked example of the encyclopaedia article "Viterbi algorithm" (from memory): a patient feels normal, cold, dizzy;
    # likeliest are two healthy days and one of fever, with probability 0.6*0.5 * 0.7*0.4 * 0.3*0.6 = 0.01512.
    felt = {"normal": (0.5, 0.1), "cold": (0.4, 0.3), "dizzy": (0.1, 0.6)}
    costs = [[-log(p) for p in felt[word]] for word in ("normal", "cold", "dizzy")]
    costs[0] = [cost - log(p) for cost, p in zip(costs[0], (0.6, 0.4), strict=True)]
    change = [[-log(p) for p in row] for row in ((0.7, 0.3), (0.4, 0.6))]
    path, cost = best_path(costs, change)
    assert path == [0, 0, 1]
    assert exp(-cost) == pytest.approx(0.01512)


def test_no_steps_cost_nothing():
    assert best_path([], [[0.0]]) == steady_path([], []) == ([], 0.0)


@examples(300)
@given(trellises(), st.data())
def test_where_every_change_costs_alike_the_path_is_as_cheap_as_the_cheapest(trellis, data):
    costs, _ = trellis
    changes = data.draw(st.lists(st.integers(0, 5), min_size=len(costs), max_size=len(costs)))

    def total(path):
        moves = sum(change for (a, b), change in zip(pairwise(path), changes[1:], strict=True) if a != b)
        return sum(step[choice] for step, choice in zip(costs, path, strict=True)) + moves

    path, cost = steady_path(costs, changes)
    assert cost == total(path) == min(map(total, every_path(costs)))


@examples(60)
@given(trellises(), st.integers(0, 5))
def test_of_one_price_for_every_change_both_say_the_same(trellis, price):
    costs, change = trellis
    flat = [[0 if a == b else price for b in range(len(change))] for a in range(len(change))]
    assert steady_path(costs, [price] * len(costs))[1] == best_path(costs, flat)[1]
