"""A machine that no example is: two travelling bars with a turning pick each. Its second pair is stepped by software."""

from functools import cache

from jackrail.machine.load import parse_machine
from workshop import machine_text

MOTOR = """
[[mechanism.motors]]
id = "NAME"
steps_per_turn = 200
microsteps = MICROSTEPS
current = "CURRENT"
resistance = "1.5 ohm"
inductance = "2.8 mH"
holding_torque = "TORQUE"
hold = 0.5
rail = "main"
driver_minimum = "9 V"
"""
VOICE = """
[[mechanism.voices]]
id = "drone"
kind = "travelling_stop"
string = "drone"
stops = ["G3", "A3", "B3", "C4", "D4", "E4", "F#4", "G4", "A4", "B4", "C5", "D5"]

[mechanism.voices.carriage]
motor = "carriage2"
travel_per_turn = "40 mm/turn"
speed = "SPEED"
acceleration = "3000 mm/s^2"
lowest = "60 mm"
highest = "505 mm"
home_at = "HOME"
home_switch = "home2"
detent_switch = "detent2"
settle = "25 ms"

[mechanism.voices.pluck]
kind = "turning_pick"
motor = "pick2"
speed = "300 rpm"
acceleration = "120 turn/s^2"
strike_at = "0.4 turn"
index_switch = "index2"

[[mechanism.voices]]
id = "bar_g"
"""
STRING = "  # Three strings for each chord bar.\n"
DRONE = '  { id = "drone", scale_length = "640 mm", gauge = "0.022 in", material = "wound steel", open_pitch = "F3", ring = "3.5 s" },\n'
SWITCHES = '  { id = "home2", closed = "low" },\n  { id = "detent2", closed = "low" },\n  { id = "index2", closed = "low" },\n'
PINS = """[board.pins] # D0 and D1 are the serial link; step lines must sit on D9 and D10
"carriage2.step" = "D11"
"carriage2.direction" = "D12"
"pick2.step" = "D13"
"pick2.direction" = "D6"
home2 = "A3"
detent2 = "A4"
index2 = "A5"
"""


def _motor(name, microsteps, current, torque):
    made = MOTOR.replace("NAME", name).replace("MICROSTEPS", str(microsteps))
    return made.replace("CURRENT", current).replace("TORQUE", torque)


def text(home="60 mm"):
    """home: where the second carriage finds its switch, "60 mm" or "505 mm"."""
    # 4,000 steps a second at most: 800 steps a turn of 40 mm are 200 mm a second, and 5 turns a second of a pick
    motors = _motor("carriage2", 4, "1.2 A", "0.4 N*m") + _motor("pick2", 4, "0.6 A", "0.1 N*m")
    relay = "[[mechanism.relays]]"
    am = next(line for line in machine_text("quay_zither").splitlines(keepends=True) if "coil_am" in line)
    bar_am = machine_text("quay_zither").partition('[[mechanism.voices]]\nid = "bar_am"')[2].partition("# ---")[0]
    return machine_text(
        "quay_zither",
        (STRING, STRING + DRONE),
        (relay, motors + "\n" + relay),
        (am, ""),
        ('[[mechanism.voices]]\nid = "bar_am"' + bar_am, ""),
        ('[[mechanism.voices]]\nid = "bar_g"\n', VOICE.replace("HOME", home).replace("SPEED", "200 mm/s").lstrip("\n")),
        ("switches = [\n", "switches = [\n" + SWITCHES),
        ("[board.pins] # D0 and D1 are the serial link; step lines must sit on D9 and D10\n", PINS),
        ('coil_am = "D6"\n', ""),
    )


@cache
def two_bars(home="60 mm"):
    return parse_machine(text(home))
