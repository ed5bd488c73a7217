"""A plant at work: rig/plant.c held by Python. Edges go in one by one only in tests; in a rehearsal the rig passes them on in C."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from .plant import Configuration, Row

AT_REST = 2**64 - 1
"""What `Plant.advance` returns when only an edge or a fault can change anything."""
EVENTS = np.dtype([("cycle", "u8"), ("kind", "i4"), ("device", "i4"), ("value", "f8"), ("extra", "f8")], align=True)
SAMPLES = np.dtype([("cycle", "u8"), ("rail", "i4"), ("voltage_v", "f8"), ("current_a", "f8")], align=True)
PLACES = np.dtype([("cycle", "u8"), ("motor", "i4"), ("position", "f8"), ("speed", "f8")], align=True)
KINDS = (
    "",
    "pluck",
    "blow",
    "leaves",
    "pressed",
    "lets go",
    "lifted",
    "starts",
    "rests",
    "hits",
    "closes",
    "opens",
    "driver off",
    "driver on",
    "fault",
)
"""Names of plant.h's events, by their number."""
FAULTS = {
    "lost steps": (1, "motor"),
    "stalled": (2, "motor"),
    "stuck open": (3, "switch"),
    "stuck closed": (4, "switch"),
    "bounces": (5, "switch"),
    "coil late": (6, "coil"),
    "coil stuck": (7, "coil"),
    "weak supply": (8, "rail"),
}
"""Number and kind of device of each fault of plant.h; what its value means stands there."""


class Plant:
    """One plant of a configuration; a context manager, since its memory is not Python's.

    Args:
        ffi, lib: cffi's interface and the opened library that holds plant.c.
        configuration: from `plant.configure`.

    Raises:
        ValueError: the configuration makes no sense (rails in a ring, say), or there is no memory.
    """

    def __init__(self, ffi: Any, lib: Any, configuration: Configuration) -> None:  # noqa: ANN401 -- cffi has no types
        self.ffi, self.lib, self.configuration = ffi, lib, configuration
        self._alive: list[Any] = []
        self.pointer = lib.plant_new(self._config())
        self._alive.clear()  # plant_new has copied it all
        if self.pointer == ffi.NULL:
            raise ValueError("no plant can be made of this configuration")

    def _config(self) -> Any:  # noqa: ANN401
        made = self.configuration
        parts = {"rail": made.rails, "motor": made.motors, "coil": made.coils, "switch_": made.switches, "contact": made.contacts}
        rows = {name: self._rows(f"plant_{name.rstrip('_')}_config[]", part) for name, part in parts.items()}
        names = ("rails", "motors", "coils", "switches", "contacts")
        counts = {plural: len(part) for plural, part in zip(names, parts.values(), strict=True)}
        return self.ffi.new("plant_config *", {"clock_hz": made.clock_hz, "seed": made.seed, **counts, **rows})

    def _rows(self, kind: str, rows: tuple[Row, ...]) -> Any:  # noqa: ANN401
        self._alive.append(self.ffi.new(kind, [self._row(row) for row in rows]))
        return self._alive[-1]

    def _row(self, row: Row) -> Row:
        if "low" not in row:
            return row
        spans = {side: self.ffi.new("double[]", row[side]) for side in ("low", "high")}
        self._alive += spans.values()
        return {**row, **spans, "spans": len(row["low"])}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Free its memory; arrays taken before stay valid."""
        if self.pointer != self.ffi.NULL:
            self.lib.plant_free(self.pointer)
            self.pointer = self.ffi.NULL

    def edge(self, pin: int, level: int, cycle: int) -> int:
        """A pin of the chip goes to 0, 1 or 2 (floating); returns when the plant wants to be called."""
        return int(self.lib.plant_edge(self.pointer, pin, level, cycle))

    def advance(self, cycle: int) -> int:
        """Time goes on; returns when the plant wants to be called next, `AT_REST` for never."""
        return int(self.lib.plant_advance(self.pointer, cycle))

    def fault(self, name: str, device: str, cycle: int = 0, value: float = 0.0) -> None:
        """Let a fault begin at a cycle. name: a key of `FAULTS`; device: its id in the machine file.

        Raises:
            KeyError: there is no fault of this name.
            ValueError: there is no such device of the fault's kind, or more than 64 faults wait.
        """
        number, kind = FAULTS[name]
        ids: tuple[str, ...] = getattr(self.configuration, f"{kind}_ids")
        if device not in ids:
            raise ValueError(f"there is no {kind} {device!r}")
        if self.lib.plant_fault(self.pointer, number, ids.index(device), cycle, value):
            raise ValueError(f"the fault {name!r} cannot be armed: too many wait")

    def on_pin(self, set_pin: Callable[[int, int, int], None]) -> None:
        """Call `set_pin(pin, level, cycle)` for each switch now and whenever one changes."""
        self._set_pin = self.ffi.callback("plant_set_pin", lambda _, pin, level, cycle: set_pin(pin, level, cycle))
        self.lib.plant_on_pin(self.pointer, self._set_pin, self.ffi.NULL)

    def _told(self, name: str, dtype: np.dtype[Any]) -> NDArray[Any]:
        if self.lib.plant_out_of_memory(self.pointer):
            raise MemoryError("the plant had no memory left for all it has to tell")
        count = self.ffi.new("uint32_t *")
        first = getattr(self.lib, name)(self.pointer, count)
        size = count[0] * dtype.itemsize
        return np.frombuffer(bytes(self.ffi.buffer(first, size)), dtype) if size else np.empty(0, dtype)

    def events(self) -> NDArray[Any]:
        """All that happened so far, in time order: cycle, kind (index of `KINDS`), device, value, extra."""
        events = self._told("plant_events", EVENTS)
        return events[np.argsort(events["cycle"], kind="stable")]

    def samples(self) -> NDArray[Any]:
        """Voltage and current of every rail, a millisecond apart while anything works."""
        return self._told("plant_samples", SAMPLES)

    def places(self) -> NDArray[Any]:
        """Position and speed of every motor that turns, a millisecond apart."""
        return self._told("plant_places", PLACES)

    def motor(self, ident: str) -> Any:  # noqa: ANN401
        """What a motor does now: position, speed, commanded, current_a, torque_nm, lost_steps, still."""
        state = self.ffi.new("plant_motor_state *")
        self.lib.plant_motor_now(self.pointer, self.configuration.motor_ids.index(ident), state)
        return state

    def coil(self, ident: str) -> Any:  # noqa: ANN401
        """What a coil does now: current_a, stroke, on."""
        state = self.ffi.new("plant_coil_state *")
        self.lib.plant_coil_now(self.pointer, self.configuration.coil_ids.index(ident), state)
        return state

    def rail_v(self, ident: str) -> float:
        """Voltage of a rail now."""
        return float(self.lib.plant_rail_v(self.pointer, self.configuration.rail_ids.index(ident)))
