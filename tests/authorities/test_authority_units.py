"""Quantities as text against definitions (authorities/units.toml) and against pint (BSD) where both are right."""

import pint
import pytest

from jackrail.faults import BadInput
from jackrail.units import KINDS, parse_quantity
from workshop import authority

VALUES = authority("units")
CASES = [(row["id"], *case) for row in VALUES.values() for case in row["cases"]]
PINT = pint.UnitRegistry()
# Our words for inside units beside pint's.
PINT_UNITS = {"mm/s2": "mm/s**2", "turn/s2": "turn/s**2", "kg*m2": "kg*m**2", "B": "byte"}


@pytest.mark.parametrize("row, kind, text, value", CASES)
def test_a_quantity_has_the_size_its_definition_gives(row, kind, text, value):
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-12)


BOTH_RIGHT = [
    ("length", "610 mm"), ("length", "24 in"), ("length", "2.5 ft"), ("length", "0.61 m"), ("length", "430 um"), ("length", "12.1 cm"),
    ("time", "12 ms"), ("time", "3 min"), ("time", "250 us"), ("speed", "300 mm/s"), ("speed", "0.3 m/s"), ("speed", "12 in/s"),
    ("acceleration", "3 m/s^2"), ("acceleration", "3000 mm/s^2"), ("angle", "90 deg"), ("angle", "0.25 turn"), ("angle", "1 rad"),
    ("rotation speed", "180 rpm"), ("rotation speed", "3 turn/s"), ("rotation acceleration", "60 turn/s^2"),
    ("travel per turn", "40 mm/turn"), ("mass", "250 g"), ("mass", "2 lb"), ("mass", "4 oz"), ("force", "5 N"), ("force", "2 kgf"),
    ("force", "3 lbf"), ("torque", "0.4 N*m"), ("torque", "40 N*cm"), ("torque", "4 kgf*cm"), ("inertia", "54 g*cm^2"),
    ("voltage", "12 V"), ("voltage", "900 mV"), ("current", "1.2 A"), ("current", "72 mA"), ("resistance", "4.5 ohm"),
    ("resistance", "2 kohm"), ("inductance", "3.6 mH"), ("power", "5 W"), ("memory", "32 KiB"), ("memory", "512 B"),
    ("frequency", "440 Hz"), ("frequency", "16 MHz"),
]  # fmt: skip


@pytest.mark.parametrize("kind, text", BOTH_RIGHT)
def test_a_quantity_agrees_with_pint(kind, text):
    unit = KINDS[kind].unit
    expected = PINT.Quantity(text).to(PINT_UNITS.get(unit, unit)).magnitude
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-12)


def test_every_kind_is_compared_with_pint():
    assert {kind for kind, _ in BOTH_RIGHT} == set(KINDS)


def test_inches_by_a_quote_mark_are_read_though_pint_loses_them():
    # pint 0.25 tokenises the mark as the start of a string: it fails, or reads a bare number.
    assert parse_quantity('24"', "length") == pytest.approx(609.6)
    assert parse_quantity("24″", "length") == pytest.approx(609.6)
    assert parse_quantity("2'", "length") == pytest.approx(609.6)


@pytest.mark.parametrize(
    "text, kind, code",
    [
        ("3 in 5", "length", "quantity"),  # pint reads 15 inches
        ("1,5 mm", "length", "quantity"),
        ("1.234,5 mm", "length", "quantity"),
        ("1 000 mm", "length", "quantity"),
        ("610", "length", "quantity"),
        ("mm", "length", "quantity"),
        ("", "length", "quantity"),
        ("about 3 mm", "length", "quantity"),
        ("6 1 0 mm", "length", "quantity"),
        ("1/0 in", "length", "quantity"),
        ("1e999 mm", "length", "quantity"),
        pytest.param("1" * 5000 + "/3 mm", "length", "quantity", id="a number of 5000 digits"),
        ("610 mmm", "length", "quantity"),
        ("610 mm mm", "length", "quantity"),
        ("610 mm/", "length", "quantity"),
        ("nan mm", "length", "quantity"),
        ("4 kg*cm", "torque", "dimension"),  # "kg cm" of the hobby trade is no torque
        ("3 Hz", "rotation speed", "dimension"),  # a cycle is no turn: angle is a dimension of its own
        ("3 turn/s", "frequency", "dimension"),
        ("0.4 J", "torque", "quantity"),  # an energy is no torque
        ("0.4 mN", "torque", "dimension"),  # millinewton, a slip for mN*m
        ("12 V", "current", "dimension"),
        ("12 ms", "length", "dimension"),
        ("5 mm2", "length", "dimension"),
    ],
)
def test_a_quantity_that_could_be_misread_is_refused(text, kind, code):
    with pytest.raises(BadInput) as caught:
        parse_quantity(text, kind)
    assert [fault.code for fault in caught.value.faults] == [code]


def test_a_torque_in_newton_metres_without_a_sign_is_no_nanometre_and_no_millinewton():
    assert parse_quantity("0.4 Nm", "torque") == pytest.approx(0.4)
    assert parse_quantity("400 mNm", "torque") == pytest.approx(0.4)
    assert parse_quantity("400 nm", "length") == pytest.approx(0.0004)
    with pytest.raises(BadInput, match="should be a torque but is a length"):
        parse_quantity("0.4 nm", "torque")
