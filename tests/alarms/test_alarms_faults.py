"""Every fault rings: for each code of the catalogue one input that is refused with it, and its neighbour that is taken."""

import pytest

from jackrail.faults import FAULT_CODES, BadInput, Fault, nearest
from jackrail.machine.load import load_machine, parse_machine
from jackrail.pitch import parse_chord, parse_pitch
from jackrail.roll.due import RollCue
from jackrail.roll.format import Op
from jackrail.roll.machine_block import pack_machine
from jackrail.roll.roll import pack_roll, unpack_roll
from jackrail.setting.fit import fit
from jackrail.setting.wishes import Wishes
from jackrail.tune.read import read_tune
from jackrail.units import parse_quantity
from workshop import changed, ensemble, fault_codes, machine, tune

MACHINE_BLOCK = pack_machine(ensemble("quay_zither"), machine("quay_zither").board)
BLOCK = pack_roll((RollCue(4, Op.TURN, 1),), "A", 2_000_000, MACHINE_BLOCK)
SPEED = 'speed = "450 mm/s"'
CHIMES = ensemble("tower_chimes").voices


def zither(old, new):
    return lambda: changed("quay_zither", (old, new))


def tune_file(text, folder):
    path = folder / "made.abc"
    path.write_text(text, encoding="utf-8")
    return read_tune(path)


def gone(folder):
    return load_machine(folder / "gone.toml")


def fitted(made, **wishes):
    return lambda: fit(made, CHIMES, "Chimes", Wishes(**wishes))


# code: (refused, its neighbour taken). Those that need a folder take one.
ALARMS = {
    "quantity": (lambda: parse_quantity("610", "length"), lambda: parse_quantity("610 mm", "length")),
    "dimension": (lambda: parse_quantity("610 ms", "length"), lambda: parse_quantity("610 m", "length")),
    "pitch": (lambda: parse_pitch("g4"), lambda: parse_pitch("G4")),
    "chord": (lambda: parse_chord("Gx"), lambda: parse_chord("G6")),
    "range": (zither(SPEED, 'speed = "5001 mm/s"'), zither(SPEED, 'speed = "449 mm/s"')),
    "missing": (zither(SPEED, ""), zither("hold = 0.5\n", "")),
    "unknown-key": (zither(SPEED, SPEED + "\nsped = 1"), zither("\nhold = 0.5", "\nhold = 0.6")),
    "type": (zither('name = "Quay zither"', "name = 7"), zither('name = "Quay zither"', 'name = "7"')),
    "choice": (zither('material = "wound steel"', 'material = "steel"'), zither('material = "wound steel"', 'material = "gut"')),
    "reference": (zither('coil = "coil_g"', 'coil = "coil_x"'), zither("coil_g", "coil_x")),
    "twice": (zither('coil_c = "D3"', 'coil_c = "D2"'), zither('coil_c = "D3"', 'coil_c = "D11"')),
    "pins": (zither('coil_c = "D3"', 'coil_c = "D1"'), zither('coil_c = "D3"', 'coil_c = "D13"')),
    "syntax": (lambda: parse_machine("name = Zither"), zither('name = "Quay zither"', "name = 'Zither'")),
    "file": (gone, lambda folder: tune_file("X:1\nT:A\nL:1/4\nK:C\nCDEF|\n", folder)),
    "format": (lambda folder: tune_file("Dear friend,\n", folder), lambda folder: tune_file("X:1\nT:A\nL:1/4\nK:C\nC|\n", folder)),
    "option": (fitted(tune((67, "1")), tempo="fast"), fitted(tune((67, "1")), tempo="96")),
    "tune": (fitted(tune()), fitted(tune((67, "1")))),
    "block": (lambda: unpack_roll(BLOCK[:-1], MACHINE_BLOCK), lambda: unpack_roll(BLOCK, MACHINE_BLOCK)),
}  # fmt: skip


def codes(function, folder):
    return fault_codes(function, folder) if function.__code__.co_argcount else fault_codes(function)


def test_every_fault_of_the_catalogue_has_its_alarm():
    assert set(ALARMS) == set(FAULT_CODES)


@pytest.mark.parametrize("code", ALARMS)
def test_the_fault_is_told_and_no_other_with_it(code, tmp_path):
    assert set(codes(ALARMS[code][0], tmp_path)) == {code}


@pytest.mark.parametrize("code", ALARMS)
def test_its_neighbour_is_taken(code, tmp_path):
    assert codes(ALARMS[code][1], tmp_path) == []


def test_a_fault_has_a_code_of_the_catalogue():
    with pytest.raises(KeyError, match="typo"):
        Fault("typo", "is wrong")


def test_a_fault_reads_as_place_what_found_allowed_and_hint():
    fault = Fault("range", "is too fast", "speed", "9 m/s", "5 m/s", "check the unit")
    assert (
        str(fault.within("carriage").at("zither.toml"))
        == "zither.toml: carriage.speed: is too fast; found 9 m/s; allowed 5 m/s; check the unit"
    )
    assert str(Fault("range", "is too fast").within("carriage")) == "carriage: is too fast"
    assert str(BadInput([fault, Fault("tune", "is empty")]).at("a")) == f"a: {fault}\na: is empty"


def test_a_hint_names_the_nearest_word_or_all_of_them():
    assert nearest("carrige", ["carriage", "pick"]) == "did you mean 'carriage'?"
    assert nearest("zzz", ["pick", "carriage"]) == "known: carriage, pick"
