"""Fronts against looking at everything, and against a front worked out by hand."""

from hypothesis import given
from hypothesis import strategies as st

from jackrail.setting.pareto import spread_out, unbeaten

SCORES = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(0, 2)), min_size=1, max_size=15)


@given(SCORES)
def test_what_is_left_is_beaten_by_nothing_and_beats_all_the_rest(scores):
    """The definition of Pareto efficiency, asked of every pair."""
    left = unbeaten(scores)

    def better(a, b):
        return all(x >= y for x, y in zip(a, b, strict=True)) and a != b

    assert not any(better(scores[a], scores[b]) for a in left for b in left)
    assert all(any(better(scores[a], scores[b]) or scores[a] == scores[b] for a in left) for b in range(len(scores)))
    assert len({scores[a] for a in left}) == len(left)


def test_a_front_worked_out_by_hand():
    """Tempo against notes: (0.9, 80) is beaten by (0.9, 90), and (0.5, 99) by (0.6, 100)."""
    assert unbeaten([(1.0, 70.0), (0.9, 80.0), (0.9, 90.0), (0.6, 100.0), (0.5, 99.0)]) == [0, 2, 3]


@given(SCORES, st.integers(3, 8))
def test_a_few_points_hold_the_best_of_each_and_what_is_to_be_kept(scores, most):
    few = spread_out(scores, most, keep=[len(scores) - 1])
    assert len(few) == min(most, len(scores)) == len(set(few))
    assert len(scores) - 1 in few
    if most > 3:
        for of in range(3):
            assert max(scores[i][of] for i in few) == max(score[of] for score in scores)


def test_points_close_together_are_stood_for_by_one():
    scores = [(0.0, 10.0), (0.1, 9.9), (0.2, 9.8), (5.0, 5.0), (10.0, 0.0)]
    assert spread_out(scores, 3) == [0, 3, 4]
