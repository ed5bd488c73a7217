"""Lengths written as note values: worked out by hand, by the rules of any primer of notation (common practice, no source), and whole."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.report.note_values import Metre, Segment, Unwritable, writable, written
from workshop import examples

SIMPLE, COMPOUND = Metre(Fraction(1), compound=False), Metre(Fraction(3, 2), compound=True)
NAMES = {8: "breve", 4: "1", 2: "2", 1: "4", Fraction(1, 2): "8", Fraction(1, 4): "16", Fraction(1, 8): "32", Fraction(1, 16): "64"}


def line(edges, rests=()):
    at = [Fraction(edge) for edge in edges.split()]
    return [Segment(a, b, None if n in rests else n) for n, (a, b) in enumerate(pairwise(at))]


def shown(edges, metre, rests=()):
    """Values as text: "4." is a dotted quarter, "~" ties it on, "r" is a rest, "3:2(" and ")" enclose a tuplet."""
    segments, parts = line(edges, rests), []
    for value in written(segments, metre):
        ends = {segment.item: segment.ends_q for segment in segments}
        tied = value.item is not None and value.starts_q + value.length_q < ends[value.item]
        opening = f"{value.tuplet[0]}:{value.tuplet[1]}(" if value.opens else ""
        text = NAMES[value.base_q] + "." * value.dots + ("r" if value.item is None else "") + ("~" if tied else "")
        parts.append(opening + text + (")" if value.closes else ""))
    return " ".join(parts)


@pytest.mark.parametrize(
    "edges, metre, rests, text",
    [
        ("0 4", SIMPLE, (), "1"),
        ("0 1/2 3/2 2 4", SIMPLE, (), "8 4 8 2"),  # off the beat by half of itself: no tie
        ("0 1/2 5/2 4", SIMPLE, (), "8 4.~ 8 4."),  # a half note there would hide the middle of the bar
        ("0 1 4", SIMPLE, (1,), "4 4r 2r"),  # rests stand on their own grid
        ("0 7/2 4", SIMPLE, (), "2.~ 8 8"),
        ("0 3", COMPOUND, (), "2."),
        ("0 1 3/2 2 3", COMPOUND, (), "4 8 8 4"),
        ("0 2 3", COMPOUND, (), "4.~ 8 4"),  # over the edge of a beat only by a tie
        ("0 3/4 3/2 3", COMPOUND, (), "8. 8. 4."),  # two in the time of three, without a tuplet
        ("0 1/3 2/3 1 4", SIMPLE, (3,), "3:2(8 8 8) 4r 2r"),
        ("0 2/3 1 2", SIMPLE, (), "3:2(4 8) 4"),
        ("0 2/3 4/3 2 4", SIMPLE, (), "3:2(4 4 4) 2"),  # over two beats
        ("0 4/3 8/3 4", SIMPLE, (), "3:2(2 2 2)"),  # over the whole bar
        ("0 1/6 1/3 1/2 1", SIMPLE, (), "3:2(16 16 16) 8"),
        ("0 1/5 2/5 3/5 4/5 1", SIMPLE, (), "5:4(16 16 16 16 16)"),
        ("0 1/7 2/7 3/7 4/7 5/7 6/7 1", SIMPLE, (), "7:4(16 16 16 16 16 16 16)"),
        ("0 3/10 3/5 9/10 6/5 3/2 3", COMPOUND, (), "5:3(8 8 8 8 8) 4."),
        ("0 1/3 4", SIMPLE, (), "3:2(8 4~) 2."),  # the long note goes on outside its triplet
        ("3 4", SIMPLE, (), "4"),
    ],
)  # fmt: skip
def test_lengths_are_written_as_a_musician_would(edges, metre, rests, text):
    assert shown(edges, metre, rests) == text


@pytest.mark.parametrize("edges", ["0 1/11 1", "0 1/15 2/15 1", "0 1/1024 1"])
def test_what_has_no_sign_is_refused(edges):
    assert not all(writable(Fraction(edge)) for edge in edges.split())
    with pytest.raises(Unwritable):
        written(line(edges), SIMPLE)


_PARTS = st.sampled_from([Fraction(1, n) for n in (1, 2, 3, 4, 5, 6, 7, 8, 12)])


@examples(200)
@given(st.lists(st.tuples(_PARTS, st.integers(1, 9)), min_size=1, max_size=8), st.sampled_from([SIMPLE, COMPOUND]))
def test_values_fill_their_line_without_a_gap_and_add_up_to_its_lengths(steps, metre):
    """Whatever is written is exact: from edge to edge, base, dot and tuplet multiplied out. What cannot be, is refused."""
    edges = [Fraction(0)]
    for part, times in steps:
        edges.append(edges[-1] + part * times)
    end = edges[-1] + -edges[-1] % metre.beat_q
    segments = line(" ".join(str(edge) for edge in dict.fromkeys([*edges, end])))
    try:
        values = written(segments, metre)
    except Unwritable:
        return
    at = Fraction(0)
    for value in values:
        many, fewer = value.tuplet or (1, 1)
        assert value.starts_q == at
        assert value.length_q == value.base_q * (Fraction(3, 2) if value.dots else 1) * fewer / many
        at += value.length_q
    assert at == end
    for segment in segments:
        assert sum(value.length_q for value in values if value.item == segment.item) == segment.ends_q - segment.starts_q
    tuplets = [sum(v.length_q for v in values[a : b + 1]) for a, b in _brackets(values)]
    assert all((length * 32).denominator == 1 for length in tuplets)  # a tuplet as a whole lies on the plain grid


def _brackets(values):
    opened = [n for n, value in enumerate(values) if value.opens]
    closed = [n for n, value in enumerate(values) if value.closes]
    assert len(opened) == len(closed)
    return list(zip(opened, closed, strict=True))
