"""Machine files with faults: each file of cases/bad says in its first line every code and path that must be told, at once."""

import pytest

from jackrail.faults import FAULT_CODES
from jackrail.machine.load import LARGEST_FILE_B, load_machine, parse_machine
from workshop import ROOT, changed, faults_of, machine_text

CASES = sorted((ROOT / "tests" / "machine" / "cases" / "bad").glob("*.toml"))


def expected_of(path):
    first, _, _ = path.read_text(encoding="utf-8").partition("\n")
    return sorted(tuple(part.split()) if " " in part.strip() else (part.strip(), "") for part in first.removeprefix("# expect:").split("|"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_fault_of_a_file_is_told_at_once_with_its_code_and_path(path):
    assert sorted((fault.code, fault.where) for fault in faults_of(parse_machine, path.read_text(encoding="utf-8"))) == expected_of(path)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_fault_names_the_file_and_says_something_in_words(path):
    for fault in faults_of(load_machine, path):
        assert fault.where.startswith(path.name)
        assert fault.code in FAULT_CODES
        assert fault.what[:1].islower()
        assert not fault.what.endswith(".")


@pytest.mark.parametrize(
    "old, new, words",
    [
        ('speed = "450 mm/s"', 'sped = "450 mm/s"', "did you mean 'speed'?"),
        ('motor = "carriage"\ntravel', 'motor = "carrige"\ntravel', "did you mean 'carriage'?"),
        ('material = "plain steel", open_pitch = "C4"', 'material = "plane steel", open_pitch = "C4"', "did you mean 'plain steel'?"),
        ('kind = "travelling_stop"', 'kind = "traveling_stop"', "did you mean 'travelling_stop'?"),
        ('scale_length = "640 mm"', "scale_length = 640", "is a text with its unit, like '610 mm'"),
        ('scale_length = "640 mm"', 'scale_length = "640 m"', "check the unit"),
        ('max_on = "300 ms"', 'max_on = "30 ms"', "a coil held too long burns"),
        ('"carriage.step" = "D9"', '"carriage.step" = "D11"', "D9 or D10"),
        ('current = "1.2 A"', 'current = "1.2 V"', "should be a current but is a voltage"),
        ('holding_torque = "0.4 N*m"', 'holding_torque = "4 kg*cm"', "write kgf*cm"),
    ],
)
def test_a_likely_slip_is_guessed(old, new, words):
    text = "\n".join(map(str, faults_of(parse_machine, machine_text("quay_zither", (old, new)))))
    assert words in text


def test_a_file_that_is_not_there_or_too_large_or_no_text_is_refused_by_name(tmp_path):
    large, latin = tmp_path / "large.toml", tmp_path / "latin.toml"
    large.write_bytes(b"#" * (LARGEST_FILE_B + 1))
    latin.write_bytes('name = "Zïther"'.encode("latin-1"))
    assert [(f.code, f.where) for f in faults_of(load_machine, tmp_path / "gone.toml")] == [("file", "gone.toml")]
    assert [(f.code, f.where) for f in faults_of(load_machine, tmp_path)] == [("file", tmp_path.name)]
    assert [(f.code, f.where) for f in faults_of(load_machine, large)] == [("file", "large.toml")]
    assert [(f.code, f.where) for f in faults_of(load_machine, latin)] == [("syntax", "latin.toml")]


def test_a_largest_file_is_still_read(tmp_path):
    path = tmp_path / "large.toml"
    text = machine_text("tower_chimes")
    path.write_text(text + "#" * (LARGEST_FILE_B - len(text.encode())), encoding="utf-8")
    assert load_machine(path).name == "Tower chimes"


def test_a_value_at_its_limit_is_taken_and_just_beyond_it_refused():
    assert changed("quay_zither", ('a4 = "440 Hz"', 'a4 = "480 Hz"')).instrument.a4_hz == 480
    (fault,) = faults_of(changed, "quay_zither", ('a4 = "440 Hz"', 'a4 = "480.1 Hz"'))
    assert (fault.code, fault.where, fault.limit) == ("range", "instrument.a4", "380 to 480 Hz")


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_no_fault_speaks_of_python_to_a_maker(path):
    for fault in faults_of(parse_machine, path.read_text(encoding="utf-8")):
        assert not {"tuple", "dictionary", "dict", "instance", "validation", "none", "str"} & set(fault.what.lower().split())


def test_a_list_whose_entries_are_bad_is_not_also_called_too_short():
    assert [fault.where for fault in faults_of(changed, "tower_chimes", ('voltage = "12 V"', 'voltage = "12 Volt"'), ('"5 V"', "5"))] == [
        "supply.rails[0].voltage",
        "supply.rails[1].voltage",
    ]


def test_an_empty_list_is_told_with_what_it_needs():
    (fault,) = [f for f in faults_of(parse_machine, (CASES[0].parent / "shape.toml").read_text("utf-8")) if f.where == "supply.rails"]
    assert (fault.code, fault.limit) == ("range", "at least 1")
