"""The emulated board: runs programs of the chip with exact times.

The chip is an ATmega328P at 16 MHz. libsimavr decodes its instructions; its peripherals are in rig/*.c, which build.py builds on first
use: `RigMissing` when it cannot. Times are cycles of its clock since power-on.
"""

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from .build import library
from .plant import Configuration
from .plant_run import Plant

CLOCK_HZ = 16_000_000
CAUSES = ("power-on", "external", "brown-out", "watchdog")
EDGES = np.dtype([("cycle", "u8"), ("pin", "i4"), ("level", "i4")])
MARKS = np.dtype([("cycle", "u8"), ("place", "i4"), ("value", "i4")])
SENT = np.dtype([("cycle", "u8"), ("value", "u8")])
LET_GO = -1


class ChipTrouble(Exception):  # noqa: N818
    """The program did what the emulated chip cannot do, or left its memory."""


@dataclass(frozen=True)
class Interrupt:
    """What one interrupt vector took over a run: times it came, its longest run and longest wait in cycles."""

    count: int
    longest_cycles: int
    latest_cycles: int


class Chip:
    """An emulated chip with a program in its flash; a context manager, since its memory is not Python's.

    Args:
        flash: bytes of the flash from address 0, at most 32,768; the rest is erased.
        latch_pin: latch of a chain of 74HC595 shift registers on D11 and D13; None when there is none.
    """

    def __init__(self, flash: bytes, *, latch_pin: int | None = None) -> None:
        self.ffi, self.lib = library()
        self.pointer = self.lib.chip_new(flash, len(flash))
        if self.pointer == self.ffi.NULL:
            raise ValueError(f"{len(flash)} bytes do not fit into the flash of 32768, or there is no memory")
        if latch_pin is not None:
            self.lib.chip_shift(self.pointer, latch_pin)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Free its memory; arrays taken before stay valid."""
        if self.pointer != self.ffi.NULL:
            self.lib.chip_free(self.pointer)
            self.pointer = self.ffi.NULL

    @property
    def cycle(self) -> int:
        """Cycles since power-on."""
        return int(self.lib.chip_cycle(self.pointer))

    def run(self, seconds: float = 0.0, *, cycles: int = 0) -> None:
        """Go on for so long, at least; the last instruction is finished.

        Raises:
            ChipTrouble: the program used what the rig does not model, or left its memory.
        """
        self.run_until(self.cycle + cycles + round(seconds * CLOCK_HZ))

    def run_until(self, cycle: int) -> None:
        """Go on to this cycle, or up to three cycles more; errors as `run`."""
        if self._go(cycle):
            what = self.ffi.string(self.lib.chip_trouble(self.pointer)).decode()
            raise ChipTrouble(f"{what}, at cycle {self.cycle}, program address {self.lib.chip_pc(self.pointer):#06x}")

    def _go(self, cycle: int) -> int:
        return int(self.lib.chip_run(self.pointer, cycle))

    def reset(self, cause: str = "external") -> None:
        """Reset now; cause is one of `CAUSES`."""
        self.lib.chip_reset(self.pointer, CAUSES.index(cause))

    def hang(self) -> None:
        """Its main program hangs from now on, until a reset; interrupts go on."""
        self.lib.chip_hang(self.pointer)

    def drive(self, pin: int, level: int, *, at: int | None = None) -> None:
        """The outside world drives a pin to 0 or 1, or lets it go (`LET_GO`), now or at a cycle to come."""
        if at is None:
            self.lib.chip_drive(self.pointer, pin, level)
        else:
            self.lib.chip_drive_at(self.pointer, pin, level, at)

    def level(self, pin: int) -> int:
        """What the chip puts out: 0, 1 or 2 for high impedance."""
        return int(self.lib.chip_level(self.pointer, pin))

    def send(self, data: bytes, *, baud: float, at: int | None = None, wrong_stop_bit: bool = False) -> int:
        """Bytes on the serial line to the chip, 8N1, from a cycle on, now when None, or behind what is queued; returns when it is idle."""
        at = self.cycle if at is None else at
        return int(self.lib.chip_send(self.pointer, data, len(data), at, CLOCK_HZ / baud, wrong_stop_bit))

    def _log(self, name: str, item: str, dtype: np.dtype[Any], start: int = 0) -> NDArray[Any]:
        first = self.ffi.new(f"const {item} **")
        count = getattr(self.lib, name)(self.pointer, first)
        if count <= start:
            return np.empty(0, dtype)
        return np.frombuffer(bytes(self.ffi.buffer(first[0] + start, (count - start) * dtype.itemsize)), dtype)

    def edges(self) -> NDArray[Any]:
        """Every change of an output: cycle, pin, level."""
        return self._log("chip_edges", "chip_edge", EDGES)

    def inputs(self) -> NDArray[Any]:
        """Every drive of an input by the world outside: cycle, pin, level; 2 where it let go."""
        return self._log("chip_inputs", "chip_edge", EDGES)

    def edges_of(self, pin: int) -> tuple[NDArray[Any], NDArray[Any]]:
        """Cycles and levels of one pin."""
        edges = self.edges()
        mine = edges[edges["pin"] == pin]
        return mine["cycle"].astype(np.int64), mine["level"]

    def marks(self, start: int = 0) -> NDArray[Any]:
        """Every write to GPIOR0-2, from the start-th on: cycle, place 0-2, value."""
        return self._log("chip_marks", "chip_mark", MARKS, start)

    def sent(self, start: int = 0) -> NDArray[Any]:
        """Every byte the chip sent, from the start-th on: cycle of the end of its last stop bit, value."""
        return self._log("chip_sent", "chip_byte", SENT, start)

    def received(self) -> bytes:
        """What a listener on TXD has received since the last `forget`."""
        return self.sent()["value"].astype(np.uint8).tobytes()

    def forget(self) -> None:
        """Empty the logs of edges, inputs, marks and bytes."""
        self.lib.chip_forget(self.pointer)

    def interrupts(self) -> dict[int, Interrupt]:
        """By vector number, those that came."""
        all_of_them = self.lib.chip_interrupts(self.pointer)
        found = {n: all_of_them[n] for n in range(1, 26)}
        return {n: Interrupt(int(one.count), int(one.longest), int(one.latest)) for n, one in found.items() if one.count}

    def line_faults(self) -> tuple[int, int]:
        """Receive overruns and framing errors."""
        faults = self.lib.chip_line_faults(self.pointer)
        return int(faults.overruns), int(faults.framing_errors)

    @property
    def asleep_cycles(self) -> int:
        """Cycles spent asleep."""
        return int(self.lib.chip_asleep(self.pointer))

    @property
    def stack_low(self) -> int:
        """Lowest address that the stack came to."""
        return int(self.lib.chip_stack_low(self.pointer))

    @property
    def stack_free_b(self) -> int:
        """Bytes of SRAM below the deepest stack that nothing ever wrote: what the stack could still grow."""
        return int(self.lib.chip_stack_room(self.pointer))

    def memory(self, first: int, count: int) -> bytes:
        """Bytes of the data space; SRAM is 0x100-0x8FF."""
        return bytes(self.ffi.buffer(self.lib.chip_memory(self.pointer) + first, count))

    def eeprom(self) -> bytes:
        """The 1,024 bytes of the EEPROM."""
        return bytes(self.ffi.buffer(self.lib.chip_eeprom(self.pointer), 1024))


class Rig(Chip):
    """A chip joined to a plant: its edges move the machine, the machine's switches move its pins.

    Args:
        flash, latch_pin: as for `Chip`.
        configuration: the machine as the plant knows it, from `plant.configure`.
    """

    def __init__(self, flash: bytes, configuration: Configuration, *, latch_pin: int | None = None) -> None:
        super().__init__(flash, latch_pin=latch_pin)
        self.plant = Plant(self.ffi, self.lib, configuration)
        self.joint = self.lib.rig_join(self.pointer, self.plant.pointer)

    def close(self) -> None:
        """Free its memory and the plant's; arrays taken before stay valid."""
        if self.pointer != self.ffi.NULL:
            self.lib.rig_part(self.joint)
            self.plant.close()
        super().close()

    def _go(self, cycle: int) -> int:
        return int(self.lib.rig_run(self.joint, cycle))
