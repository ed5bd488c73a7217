"""Faults of pins: a device without one, a pin that the chip or the role does not allow, two devices on one pin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from jackrail.faults import Fault, nearest, shown

from .board import SHIFT_INPUT, SHIFT_LATCH, SHIFT_LINES, SHIFT_OUTPUT, SHIFT_PINS, STEP_PINS, USABLE_PINS

_KNOWN_PINS = (*USABLE_PINS, *SHIFT_PINS)


def pin_faults(pins: object, declared: dict[str, list[str]]) -> list[Fault]:
    """All faults of the table `board.pins`. declared: ids by kind of device. Tolerates any shape."""
    if not isinstance(pins, dict):
        return []
    required = [f"{motor}.{line}" for motor in declared["motor"] for line in ("step", "direction")]
    required += declared["coil"] + declared["switch"]
    optional = [f"{motor}.enable" for motor in declared["motor"]] + [SHIFT_LATCH]
    faults = [
        Fault("pins", "a device has no pin", "board.pins", repr(device), hint=f'write "{device}" = "D4" or another free pin')
        for device in required
        if device not in pins
    ]
    for device, pin in pins.items():
        place = f"board.pins.{device}"
        if device not in required and device not in optional:
            faults.append(
                Fault("reference", "there is no device of this name", place, repr(device), hint=nearest(device, required + optional))
            )
        elif pin not in _KNOWN_PINS:
            limit = "D2 to D13 and A0 to A5 (D0 and D1 are the serial link)"
            hint = f"did you mean {pin.upper()!r}?" if isinstance(pin, str) and pin.upper() in _KNOWN_PINS else ""
            faults.append(Fault("pins", "this is no pin a device can hang on", place, shown(pin), limit, hint))
        elif pin in SHIFT_PINS and device not in declared["coil"]:
            hint = "a shift register is too slow for step lines, and has no inputs"
            faults.append(Fault("pins", "only a coil can hang on a shift register", place, shown(pin), hint=hint))
        elif device.endswith(".step") and pin not in STEP_PINS and not timer_pins_taken(pins, device):
            hint = "the timer makes step edges on these two pins only; a third motor may use any pin once both are taken"
            faults.append(Fault("pins", "a step line is on the wrong pin", place, shown(pin), " or ".join(STEP_PINS), hint))
    for pin, count in Counter(pin for pin in pins.values() if isinstance(pin, str)).items():
        if count > 1:
            users = ", ".join(device for device, used in pins.items() if used == pin)
            faults.append(Fault("twice", f"the pin {pin} has {count} devices", "board.pins", users))
    return [*faults, *_shift_faults(pins, declared)]


def timer_pins_taken(pins: Mapping[str, object], device: str) -> bool:
    """Whether the step lines of other motors sit on both pins that the timer drives. device: "carriage.step" and the like."""
    return {pin for other, pin in pins.items() if other != device and other.endswith(".step")} >= set(STEP_PINS)


def _shift_faults(pins: Mapping[str, object], declared: dict[str, list[str]]) -> Iterator[Fault]:
    """Shift registers without their latch line, or with other devices on the lines that feed them."""
    shifted = [device for device, pin in pins.items() if pin in SHIFT_PINS]
    if shifted and SHIFT_LATCH not in pins:
        hint = f'write "{SHIFT_LATCH}" = "D4" or another free pin'
        yield Fault("pins", "the shift registers have no latch line", f"board.pins.{shifted[0]}", hint=hint)
    if not shifted and SHIFT_LATCH not in pins:
        return
    for device, pin in pins.items():
        is_input = device in declared["switch"]
        if pin in SHIFT_LINES:
            hint = "data on D11, clock on D13"
        elif pin == SHIFT_INPUT and not is_input:
            hint = f"{pin} can only be an input beside shift registers"
        elif pin == SHIFT_OUTPUT and is_input:
            hint = f"{pin} can only be an output beside shift registers"
        else:
            continue
        yield Fault("pins", "this pin is taken by the shift registers", f"board.pins.{device}", shown(pin), hint=hint)
