"""Machine files with faults: each file of cases/bad says in its first line every code and path that must be told, at once."""

import pytest

from jackrail.faults import FAULT_CODES
from jackrail.machine.load import LARGEST_FILE_B, load_machine, parse_machine
from workshop import ROOT, changed, fault_codes, faults_of, machine_text

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
        assert fault.where.startswith(str(path))
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
    assert [(f.code, f.where) for f in faults_of(load_machine, tmp_path / "gone.toml")] == [("file", str(tmp_path / "gone.toml"))]
    assert [(f.code, f.where) for f in faults_of(load_machine, tmp_path)] == [("file", str(tmp_path))]
    assert [(f.code, f.where) for f in faults_of(load_machine, large)] == [("file", str(large))]
    assert [(f.code, f.where) for f in faults_of(load_machine, latin)] == [("syntax", str(latin))]


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


def test_one_slip_does_not_hide_another():
    """A comma in a motor's current, with a pulse that burns its coil and a stop out of reach: all three are told."""
    changes = [
        ('current = "1.2 A"', 'current = "1,2 A"'),
        ('pulse = "60 ms"', 'pulse = "600 ms"'),
        ('highest = "505 mm"', 'highest = "490 mm"'),
    ]
    words = "\n".join(map(str, faults_of(parse_machine, machine_text("quay_zither", *changes))))
    assert "write decimals with a point" in words
    assert words.count("a coil held too long burns") == 5
    assert "does not reach 1 of the stops; found D6 at 497.5 mm" in words


def test_a_fault_names_the_part_by_its_id_since_lists_count_from_zero(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(machine_text("quay_zither", ('chord = "Em"', 'chord = "Hm"')), encoding="utf-8")
    assert [fault.where for fault in faults_of(load_machine, path)] == [f"{path}: mechanism.voices[4].chord (bar_em)"]


def test_a_file_with_a_byte_order_mark_is_read(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + machine_text("quay_zither").encode())
    assert load_machine(path).name == "Quay zither"


@pytest.mark.slow
@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a = " + "1" * 5000, "[" + ".".join("a" * 100_000) + "]"], ids=["deep", "long", "dotted"]
)
def test_toml_that_would_break_its_reader_is_refused(text):
    assert set(fault_codes(parse_machine, text)) <= {"syntax", "missing", "unknown-key"}
    assert fault_codes(parse_machine, text)


def test_a_bar_that_sways_has_no_detents_and_takes_three_stop_records_a_place():
    """Stops are named by one byte (docs/SPEC-roll.md): beside 3 x (11 + 11) of two bars, 3 x 63 make 255 records, 3 x 64 too many."""
    zither = ('detent_switch = "detent"', 'detent_switch = "detent"\nvibrato = "3 mm"')
    assert [(f.where, f.what) for f in faults_of(parse_machine, machine_text("quay_zither", zither))] == [
        ("mechanism.voices[0].carriage.vibrato", "a bar that sways would leave its detent")
    ]
    assert fault_codes(parse_machine, machine_text("quay_zither", (zither[0], zither[0] + '\nvibrato = "0 mm"'))) == []
    many = ", ".join(f'"{50 + 4 * n} mm"' for n in range(63))
    some = ('range = ["E4", "D5"]', f"stops = [{many}]")
    assert fault_codes(parse_machine, machine_text("slipway_harp", some)) == []
    more = (some[0], some[1].replace("]", ', "305 mm"]'))
    (fault,) = faults_of(parse_machine, machine_text("slipway_harp", more))
    assert (fault.what, fault.value) == ("too many stops in all", "258")
    assert fault_codes(parse_machine, machine_text("slipway_harp", more, ('vibrato = "4 mm"', 'vibrato = "0 mm"'))) == []
    assert fault_codes(parse_machine, machine_text("slipway_harp", ('vibrato = "3 mm"', 'vibrato = "30 mm"'))) == ["range"]


@pytest.mark.parametrize(
    "name, old, new, words",
    [
        # two mechanisms on one string cannot both set its pitch
        ("quay_zither", 'strings = ["g_low", "g_mid", "g_top"]', 'strings = ["g_low", "g_mid", "melody"]', "is under two mechanisms"),
        ("quay_zither", 'strings = ["g_low", "g_mid", "g_top"]', 'strings = ["g_low", "g_low", "g_top"]', "is listed 2 times"),
        (
            "twin_lute",
            'id = "low"\nkind = "fretted_string"\nstring = "low"',
            'id = "low"\nkind = "fretted_string"\nstring = "high"',
            "two mechanisms",
        ),
        # a step interval is counted by a timer of a 16 MHz clock
        ("quay_zither", 'clock = "16 MHz"', 'clock = "8 MHz"', "would run every move at another speed"),
        # fields of the machine block
        ("quay_zither", "steps_per_turn = 200\nmicrosteps = 8", "steps_per_turn = 400\nmicrosteps = 256", "too many microsteps"),
        ("tower_chimes", 'pulse = "12 ms"', 'pulse = "20 s"', "out of range"),
        ("quay_zither", "hold = 0.5", "hold = 50", "a share of 1"),
        # one name cannot be an output and an input, one switch cannot be the home of a bar and its detent
        ("quay_zither", 'home_switch = "home"', 'home_switch = "coil_g"', "there is no switch"),
        ("quay_zither", '{ id = "home", closed = "low" }', '{ id = "coil_g", closed = "low" }', "given to a coil and to a switch"),
        ("quay_zither", 'detent_switch = "detent"', 'detent_switch = "home"', "used by more than one part"),
        # the soft limits are all that keeps a carriage from the bridge at 640 mm
        ("quay_zither", 'highest = "505 mm"', 'highest = "700 mm"', "beyond the bridge"),
        ("quay_zither", 'name = "Quay zither"', r'name = "Quay\nzither"', "write one line"),
        ("quay_zither", 'speed = "450 mm/s"', "speed." + ".".join("a" * 800) + " = 1", "should be a speed in quotes"),
        ("quay_zither", 'closed = "low"', 'closed = "LOW"', "did you mean 'low'?"),
        ("quay_zither", 'home = "A0"', 'home = "a0"', "did you mean 'A0'?"),
        ("quay_zither", 'scale_length = "640 mm"', 'scale_length = "24 mm"', "check the unit"),
        # the board's own choices
        ("quay_zither", 'max_on = "300 ms"', 'max_on = "300 ms", max_duty = 1.0', "is out of range; found 1.0; allowed at most 0.99"),
        ("quay_zither", 'max_on = "300 ms"', 'max_on = "300 ms", max_duty = 25', "write a share of 1"),
        ("quay_zither", 'flash = "32 KiB"', 'flash = "32 KiB"\non_mismatch = "go home"', "did you mean 'go on'?"),
        ("quay_zither", 'flash = "32 KiB"', 'flash = "32 KiB"\nplay_button = "button"', "there is no switch of this name"),
        ("quay_zither", 'flash = "32 KiB"', 'flash = "32 KiB"\nplay_button = "home"', "used by more than one part"),
        # 445 mm at 40 mm a turn of 51,200 steps are 569,600 steps; the board counts 65,535
        ("quay_zither", 'microsteps = 8\ncurrent = "1.2 A"', 'microsteps = 256\ncurrent = "1.2 A"', "569600 steps; allowed 65535 steps"),
        # shift registers: 74HC595 fed by the chip's serial peripheral, whose lines are D11 and D13; as master it has D12 as an
        # input and must not have D10 as one (DS40002061, SPI pin overrides; from memory)
        ("quay_zither", 'coil_am = "D6"', 'coil_am = "S0"', "the shift registers have no latch line"),
        ("quay_zither", 'coil_am = "D6"', 'coil_am = "S32"\n"shift.latch" = "D6"', "no pin a device can hang on"),
        ("quay_zither", 'coil_am = "D6"', 'coil_am = "s3"\n"shift.latch" = "D6"', "did you mean 'S3'?"),
        ("quay_zither", 'home = "A0"', 'home = "S0"\n"shift.latch" = "A0"', "only a coil can hang on a shift register"),
        ("quay_zither", '"pick.step" = "D10"', '"pick.step" = "S1"\n"shift.latch" = "A4"', "only a coil can hang on a shift register"),
        ("quay_zither", 'coil_am = "D6"', 'coil_am = "D11"\n"shift.latch" = "D6"', "data on D11, clock on D13"),
        ("quay_zither", 'coil_am = "D6"', 'coil_am = "D12"\n"shift.latch" = "D6"', "D12 can only be an input"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(name, old, new, words):
    assert words in "\n".join(map(str, faults_of(parse_machine, machine_text(name, (old, new)))))


def test_a_range_that_ends_below_its_start_is_told_once():
    stops = 'stops = ["D4", "E4", "F#4", "G4", "A4", "B4", "C5", "D5", "E5", "F#5", "G5", "A5", "B5", "C6", "D6"]'
    assert [fault.what for fault in faults_of(parse_machine, machine_text("quay_zither", (stops, 'range = ["G5", "E4"]')))] == [
        "the range ends below its start"
    ]
