"""The board and the supply: pins, memory, rails."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator

from jackrail.faults import Fault

from .quantities import BootLoaderB, ClockHz, CurrentA, FlashB, Id, SramB, Strict, VoltageV, custom_error

# ATmega328P on the usual 8-bit board: D0 and D1 carry the serial link, A6 and A7 are inputs to the converter only.
USABLE_PINS = tuple(f"D{n}" for n in range(2, 14)) + tuple(f"A{n}" for n in range(6))
# Timer 1 makes step edges in hardware on its compare outputs OC1A and OC1B (datasheet DS40002061, port B functions).
STEP_PINS = ("D9", "D10")
SHIFT_LATCH = "shift.latch"
"""The latch line of shift registers 74HC595, as a device: with it coils may hang on S0 to S31, their outputs."""
SHIFT_PINS = tuple(f"S{n}" for n in range(32))
# The registers are fed by the serial peripheral (datasheet, port B functions): data on D11, clock on D13. As its master the
# chip takes D12 as an input, and an input on D10 that goes low would end its being master.
SHIFT_LINES = ("D11", "D13")
SHIFT_INPUT, SHIFT_OUTPUT = "D12", "D10"


FIRST_ANALOG_PIN = 14
FIRST_SHIFT_PIN = 32
"""Pin 32 + n is output n of the shift registers; output 0 is QA of the first."""
_FIRST_PINS = {"D": 0, "A": FIRST_ANALOG_PIN, "S": FIRST_SHIFT_PIN}


def pin_number(name: str) -> int:
    """Number of a pin: D0-D13 are 0-13, A0-A5 are 14-19, S0-S31 (outputs of the shift registers) are 32-63."""
    return int(name[1:]) + _FIRST_PINS[name[0]]


def pin_name(number: int) -> str:
    """Name of a pin, the inverse of `pin_number`."""
    kind, first = next((kind, first) for kind, first in reversed(_FIRST_PINS.items()) if number >= first)
    return f"{kind}{number - first}"


CLOCK_HZ = 16e6
"""The one clock that the board's timing is made for: 16 MHz, so that a timer tick is 0.5 us."""


class Board(Strict):
    """The controller.

    on_mismatch: what it does when a detent or an index was missed. play_button: switch that starts the next tune. pins: what
    hangs on each pin, as device = pin ("carriage.step" = "D9", "bar_g" = "D4").
    """

    chip: Literal["ATmega328P"] = "ATmega328P"
    clock_hz: ClockHz = Field(alias="clock", default=CLOCK_HZ)
    flash_b: FlashB = Field(alias="flash", default=32768)
    sram_b: SramB = Field(alias="sram", default=2048)
    boot_loader_b: BootLoaderB = Field(alias="boot_loader", default=512)
    current_a: CurrentA = Field(alias="current", default=0.05)
    rail: Id
    on_mismatch: Literal["go on", "home again", "stop"] = "home again"
    play_button: Id | None = None
    pins: dict[str, str]

    @field_validator("clock_hz")
    @classmethod
    def _one_clock(cls, clock_hz: float) -> float:
        if clock_hz != CLOCK_HZ:
            hint = "a board with another clock would run every move at another speed"
            raise custom_error(Fault("range", "this clock is not known here", value=f"{clock_hz / 1e6:g} MHz", limit="16 MHz", hint=hint))
        return clock_hz


class Rail(Strict):
    """One voltage. source: the rail it is made from (written `from`); efficiency: of that converter."""

    id: Id
    voltage_v: VoltageV = Field(alias="voltage")
    limit_a: CurrentA = Field(alias="limit")
    source: Id | None = Field(alias="from", default=None)
    efficiency: float = Field(default=0.85, strict=True, gt=0.2, le=1.0)


class Supply(Strict):
    """All rails."""

    rails: tuple[Rail, ...] = Field(min_length=1)

    def rail(self, rail_id: str) -> Rail:
        """The rail of that id."""
        return {rail.id: rail for rail in self.rails}[rail_id]
