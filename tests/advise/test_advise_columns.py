"""The best columns against trying every set, and against CP-SAT on a songbook of real tunes."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from jackrail.advise.columns import enumerated, programmed, value_of
from workshop import examples

WIDTH = st.integers(1, 6)


@st.composite
def tables(draw):
    width = draw(WIDTH)
    row = st.tuples(*[st.integers(0, 5).map(float)] * width)
    return draw(st.lists(st.lists(row, min_size=1, max_size=4), min_size=1, max_size=5)), draw(st.integers(1, width))


@given(tables())
@examples(60)
def test_both_ways_find_what_trying_every_set_finds(drawn):
    groups, k = drawn
    width = len(groups[0][0])
    best = max(value_of(groups, some) for some in itertools.combinations(range(width), min(k, width)))
    for way in (enumerated, programmed):
        found = way(groups, k)
        assert found.value == pytest.approx(best)
        assert found.proven
        assert len(found.columns) <= k
        assert value_of(groups, found.columns) == pytest.approx(best)


def test_a_choice_worked_out_by_hand():
    """Two tunes of two keys: with columns 0 and 1 the first has 5 in its first key, the second 1; with 2 and 3 it is 3 and 4."""
    groups = [[(3.0, 2.0, 0.0, 0.0), (0.0, 0.0, 1.0, 2.0)], [(1.0, 0.0, 0.0, 0.0), (0.0, 0.0, 2.0, 2.0)]]
    assert enumerated(groups, 2).columns == programmed(groups, 2).columns == (2, 3)
    assert enumerated(groups, 2).value == 7.0


def by_cp_sat(groups, k):
    """The same question written straight: one key a tune, k columns, all in whole numbers."""
    model = cp_model.CpModel()
    chosen = [model.new_bool_var(f"c{c}") for c in range(len(groups[0][0]))]
    model.add(sum(chosen) <= k)
    terms = []
    for g, rows in enumerate(groups):
        played = [model.new_bool_var(f"g{g}r{r}") for r in range(len(rows))]
        model.add_exactly_one(played)
        for r, row in enumerate(rows):
            for c, value in enumerate(row):
                if value:
                    both = model.new_bool_var(f"g{g}r{r}c{c}")
                    model.add_implication(both, played[r])
                    model.add_implication(both, chosen[c])
                    terms.append(round(1000 * value) * both)
    model.maximize(sum(terms))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = 60
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value / 1000


@given(tables())
@examples(15)
def test_cp_sat_agrees(drawn):
    groups, k = drawn
    assert programmed(groups, k).value == pytest.approx(by_cp_sat(groups, k))
