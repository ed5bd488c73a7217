"""What may hang on the board: shift registers, a third motor, the play button."""

import pytest

from jackrail.machine.load import parse_machine
from workshop import changed, fault_codes, faults_of, machine_text

SECOND = """
[[mechanism.motors]]
id = "second"
steps_per_turn = 200
microsteps = MICROSTEPS
current = "0.6 A"
resistance = "5.6 ohm"
inductance = "4.2 mH"
holding_torque = "0.1 N*m"
rail = "main"
driver_minimum = "9 V"

[[mechanism.voices]]
id = "drone"
kind = "fretted_string"
string = "g_low"
fingers = [{ fret = 2, coil = "coil_g" }]
pluck = { kind = "turning_pick", motor = "second", speed = "SPEED turn/s", acceleration = "200 turn/s^2", strike_at = "0.4 turn" }

[[mechanism.motors]] # turns the pick
"""
BAR_G = """[[mechanism.voices]]
id = "bar_g"
kind = "chord_bar"
coil = "coil_g"
pulse = "60 ms"
chord = "G"
strings = ["g_low", "g_mid", "g_top"]
"""


def third_motor(speed, microsteps=8, step_pin="D11"):
    """The zither's G bar made into a string with a finger and a pick of its own, turned by a third motor."""
    second = SECOND.replace("MICROSTEPS", str(microsteps)).replace("SPEED", str(speed))
    pins = f'"second.step" = "{step_pin}"\n"second.direction" = "D12"\n"pick.step"'
    return machine_text("quay_zither", ("[[mechanism.motors]] # turns the pick\n", second), (BAR_G, ""), ('"pick.step"', pins))


def test_a_third_motor_may_have_its_step_line_anywhere_up_to_4000_steps_a_second():
    """1,600 steps a turn: 2.5 turns a second are 4,000 steps a second."""
    assert parse_machine(third_motor(2.5)).board.pins["second.step"] == "D11"
    (fault,) = faults_of(parse_machine, third_motor(2.51))
    assert (fault.code, fault.limit) == ("range", "4000/s")
    assert "on a pin other than D9 and D10" in fault.what
    assert parse_machine(third_motor(5, microsteps=4))  # half the steps, twice the speed


def test_a_step_line_elsewhere_while_a_timer_pin_is_free_is_refused_with_the_reason():
    text = third_motor(2.5).replace('"pick.step" = "D10"', '"pick.step" = "A4"')
    codes = fault_codes(parse_machine, text)
    assert codes == ["pins", "pins"]  # both the pick's and the third motor's could sit on D10


def chimes_on_registers(button_pin):
    """The chimes with four hammers on shift registers, and a play button."""
    moved = [(f'coil_{name} = "{pin}"', f'coil_{name} = "S{n}"') for n, (name, pin) in enumerate(SHIFTED.items())]
    button = ("[board.pins]", f'[board.pins]\n"shift.latch" = "A4"\nplay = "{button_pin}"')
    named = ('rail = "five"\n\n[board', 'rail = "five"\nplay_button = "play"\n\n[board')
    return machine_text("tower_chimes", *moved, named, button, ("[mechanism]\n", '[mechanism]\nswitches = [{ id = "play" }]\n'))


SHIFTED = {"a5": "D10", "b5": "D11", "c6": "D12", "cs6": "D13"}


def test_coils_on_shift_registers_and_a_play_button_are_taken():
    board = parse_machine(chimes_on_registers("D12")).board
    assert (board.pins["coil_cs6"], board.play_button) == ("S3", "play")


@pytest.mark.parametrize(
    "pin, words", [("D10", "D10 can only be an output"), ("D11", "data on D11, clock on D13"), ("D13", "data on D11, clock on D13")]
)
def test_a_switch_on_a_line_of_the_shift_registers_is_refused(pin, words):
    """An input on D10 that goes low would end the chip's being master of the registers (DS40002061, SS pin; from memory)."""
    (fault,) = faults_of(parse_machine, chimes_on_registers(pin))
    assert (fault.code, fault.where) == ("pins", "board.pins.play")
    assert words in fault.hint


@pytest.mark.parametrize("words", ["go on", "home again", "stop"])
def test_the_board_can_be_told_what_to_do_after_a_miss(words):
    assert changed("quay_zither", ('flash = "32 KiB"', f'flash = "32 KiB"\non_mismatch = "{words}"')).board.on_mismatch == words
