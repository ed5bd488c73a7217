"""Properties of quantities as text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.units import KINDS, parse_quantity
from workshop import fault_codes

NUMBERS = st.floats(0.001, 1e6).map(lambda value: float(f"{value:.6g}"))


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_the_example_of_each_kind_reads_as_that_kind_and_as_no_other(kind):
    assert parse_quantity(kind.example, kind.name) > 0
    for other in KINDS:
        if other != kind.name:
            with pytest.raises(BadInput) as caught:
                parse_quantity(kind.example, other)
            assert caught.value.faults[0].code == "dimension"


@given(NUMBERS, st.sampled_from(list(KINDS)))
def test_a_number_with_the_inside_unit_is_itself(number, kind):
    assert parse_quantity(f"{number:g} {KINDS[kind].unit}", kind) == pytest.approx(float(f"{number:g}"), rel=1e-12)


@given(NUMBERS, st.sampled_from([("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8)]), st.sampled_from(["", " ", "  "]))
def test_space_before_the_unit_never_matters(number, unit, space):
    name, size = unit
    assert parse_quantity(f"{number:.6f}{space}{name}", "length") == pytest.approx(float(f"{number:.6f}") * size, rel=1e-12)


@given(st.integers(0, 40), st.integers(1, 63))
def test_inches_in_fractions_are_the_sum_of_their_parts(whole, part):
    assert parse_quantity(f"{whole} {part}/64 in", "length") == pytest.approx(25.4 * (whole + part / 64), rel=1e-12)
    assert parse_quantity(f"-{whole + 1} {part}/64 in", "length") == pytest.approx(-25.4 * (whole + 1 + part / 64), rel=1e-12)


@given(st.text(max_size=30), st.sampled_from(list(KINDS)))
def test_any_text_is_read_or_refused_with_one_fault(text, kind):
    assert fault_codes(parse_quantity, text, kind) in ([], ["quantity"], ["dimension"])


@given(st.text("0123456789./-+eE \"'mnkgNHzsVAhtur*^2", max_size=24), st.sampled_from(list(KINDS)))
def test_any_text_made_of_the_letters_of_units_is_read_or_refused(text, kind):
    if not fault_codes(parse_quantity, text, kind):
        assert abs(parse_quantity(text, kind)) < float("inf")


@pytest.mark.parametrize(
    "text, kind, hint",
    [
        ("610", "length", "a unit is missing"),
        ("1,5 mm", "length", "decimals with a point"),
        ("24 imch", "length", "did you mean 'inch'"),
        ("4 kg*cm", "torque", "write kgf*cm"),
        ("three mm", "length", "start with a number"),
        ("12 V", "length", "should be a length but is a voltage"),
    ],
)
def test_a_refusal_says_what_to_do(text, kind, hint):
    with pytest.raises(BadInput) as caught:
        parse_quantity(text, kind)
    assert hint in str(caught.value)
    assert repr(text) in str(caught.value)
