"""The pin log as a value change dump (VCD, IEEE 1364-2005 clause 18), for any viewer of waveforms.

A cycle of the 16 MHz clock is 62.5 ns. The standard allows time units of 1, 10 or 100 only, so a unit is 100 ps and a cycle 625.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jackrail.machine.board import pin_name

from .plant import Configuration

UNITS_PER_CYCLE = 625
MARKS = ("play", "reason", "state")
"""Names of the marks in GPIOR0-2."""
LEVELS = "01z"
FIRST_MARK = 64
"""Numbers of signals: the board's pins, then the outputs of the shift registers, then the marks."""


def pin_names(configuration: Configuration) -> dict[int, str]:
    """What hangs on each pin, by the ids of the machine file: `carriage_step`, `home`, `coil_g`."""
    names: dict[int, str] = {}
    for ident, motor in zip(configuration.motor_ids, configuration.motors, strict=True):
        names |= {motor[f"{what}_pin"]: f"{ident}_{what}" for what in ("step", "direction", "enable")}
    for ids, parts in ((configuration.coil_ids, configuration.coils), (configuration.switch_ids, configuration.switches)):
        names |= {part["pin"]: ident for ident, part in zip(ids, parts, strict=True)}
    names.pop(-1, None)
    return names


def _word(name: str) -> str:
    """A name that a viewer accepts: letters, digits, _ and $, no digit first."""
    return re.sub(r"^(?=\d)|[^A-Za-z0-9_$]", "_", name)


def _changes(edges: NDArray[Any], inputs: NDArray[Any], marks: NDArray[Any]) -> Iterable[tuple[int, int, str]]:
    """Cycle, signal and value of each change in time order; a mark is the signal behind all pins."""
    pins = np.concatenate([edges, inputs])
    found = [(int(one["cycle"]), int(one["pin"]), LEVELS[one["level"]]) for one in pins]
    found += [(int(one["cycle"]), FIRST_MARK + int(one["place"]), f"b{one['value']:b} ") for one in marks]
    return sorted(found, key=lambda change: change[0])


def vcd(edges: NDArray[Any], names: Mapping[int, str], *, inputs: NDArray[Any] | None = None, marks: NDArray[Any] | None = None) -> str:
    """The text of a dump.

    Args:
        edges: cycle, pin and level of the chip's outputs in time order, from `Chip.edges`.
        names: what hangs on a pin, from `pin_names`; other pins that change are named by the board.
        inputs: likewise of what the world drives, from `Chip.inputs`.
        marks: writes of GPIOR0-2, from `Chip.marks`; they show as numbers of eight bits.
    """
    changes = list(_changes(edges, edges[:0] if inputs is None else inputs, np.empty(0) if marks is None else marks))
    signals = sorted({signal for _, signal, _ in changes} | set(names))
    codes = {signal: chr(33 + number) for number, signal in enumerate(signals)}  # 55 at most, of 94 that 18.2.3.7 allows
    lines = ["$version jackrail $end", "$timescale 100 ps $end", "$scope module board $end"]
    for signal in signals:
        width, name = (8, MARKS[signal - FIRST_MARK]) if signal >= FIRST_MARK else (1, names.get(signal, pin_name(signal)))
        lines.append(f"$var wire {width} {codes[signal]} {_word(name)} $end")
    lines += ["$upscope $end", "$enddefinitions $end", "#0", "$dumpvars"]
    lines += [f"b0 {codes[signal]}" if signal >= FIRST_MARK else f"z{codes[signal]}" for signal in signals]
    lines.append("$end")
    now = 0
    for cycle, signal, value in changes:
        if cycle != now:
            lines.append(f"#{cycle * UNITS_PER_CYCLE}")
            now = cycle
        lines.append(value + codes[signal])
    return "\n".join(lines) + "\n"
