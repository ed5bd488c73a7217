"""The machine block: what the board must know of the machine, and the numbers by which a roll names its parts."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.faults import BadInput, Fault
from jackrail.machine.board import Board
from jackrail.machine.mechanism import Coil, Mechanism, TravellingStop, TurningPick
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.ramp import TICK_HZ
from jackrail.motion.voice import coil_release_s

from .format import AXIS, COIL, MACHINE_HEAD, MACHINE_KIND, NO_PIN, RAMP_ENTRY, ROLL_TICK_US, STOP, SWITCH, unwrap, wrap

_PLAIN_RECORDS = (("coils", COIL), ("switches", SWITCH), ("stops", STOP))
_ROLES = ("home", "detent", "index")


@dataclass(frozen=True)
class Numbering:
    """By what number the roll names each axis, coil and stop: their order in the machine block.

    stops: (motor id, steps) of each place of each carriage.
    """

    axes: tuple[str, ...]
    coils: tuple[str, ...]
    stops: tuple[tuple[str, int], ...]


def numbering_of(ensemble: Ensemble) -> Numbering:
    """The numbering of a machine: axes and stops in the order of its voices, coils in the order of its file."""
    stops = [
        (part.carriage.motor, place.steps)
        for part, voice in zip(ensemble.mechanism.voices, ensemble.voices, strict=True)
        if isinstance(part, TravellingStop)
        for place in voice.places
    ]
    return Numbering(tuple(ensemble.axes), tuple(coil.id for coil in ensemble.mechanism.coils), tuple(stops))


Records = dict[str, list[dict[str, int]]]
"""The records of a machine block by kind, each a dict of its fields. ramps: the entries of all axes, with their axis."""


def records_of(ensemble: Ensemble, board: Board) -> Records:
    """What a machine block says of a machine, but for its head."""
    numbering, mechanism = numbering_of(ensemble), ensemble.mechanism
    closed_high = {switch.id: switch.closed == "high" for switch in mechanism.switches}
    pulses_s = mechanism.pulses_s()
    return {
        "axes": [_axis(axis, board, mechanism) for axis in ensemble.axes.values()],
        "ramps": [
            {"axis": number, "interval": interval, "count": count}
            for number, axis in enumerate(ensemble.axes.values())
            for interval, count in axis.ramp.entries
        ],
        "coils": [_coil(coil, pulses_s.get(coil.id, 0.0), board, mechanism) for coil in mechanism.coils],
        "switches": [
            {"pin": _pin(board, switch), "closed_high": int(closed_high[switch]), "role": role, "axis": axis}
            for switch, role, axis in _switches(mechanism, numbering)
        ],
        "stops": [{"axis": numbering.axes.index(motor), "steps": steps} for motor, steps in numbering.stops],
    }


def pack_machine(ensemble: Ensemble, board: Board) -> bytes:
    """The machine block of a machine. It is unpacked and compared before it is returned, as every roll is."""
    records = records_of(ensemble, board)
    counts = {kind: len(records[kind]) for kind in ("axes", "coils", "switches", "stops")}
    head = MACHINE_HEAD.pack(machine_id=0, tick_hz=TICK_HZ, roll_tick_us=ROLL_TICK_US, **counts)
    body = bytearray(head[4:])
    for number, axis in enumerate(records["axes"]):
        body += AXIS.pack(**axis)
        body += b"".join(RAMP_ENTRY.pack(**entry) for entry in records["ramps"] if entry["axis"] == number)
    for kind, record in _PLAIN_RECORDS:
        body += b"".join(record.pack(**values) for values in records[kind])
    block = wrap(MACHINE_KIND, zlib.crc32(body).to_bytes(4, "little") + bytes(body))
    if {kind: rows for kind, rows in unpack_machine(block).items() if kind != "head"} != records:
        raise AssertionError("the packed machine block does not read back as what was packed")
    return block


def machine_id(block: bytes) -> int:
    """The number by which rolls name their machine block. Raises BadInput for a damaged block."""
    values, _ = MACHINE_HEAD.unpack(unwrap(block, MACHINE_KIND), 0)
    return values["machine_id"]


def unpack_machine(block: bytes) -> Records:
    """The records of a machine block, its head included. Raises BadInput if it is damaged."""
    payload = unwrap(block, MACHINE_KIND)
    head, offset = MACHINE_HEAD.unpack(payload, 0)
    if zlib.crc32(payload[4:]) != head["machine_id"]:
        raise BadInput(Fault("block", "has a machine_id that is not its own", "bytes 8-11", f"{head['machine_id']:08X}"))
    found: Records = {"head": [head], "axes": [], "ramps": [], "coils": [], "switches": [], "stops": []}
    for number in range(head["axes"]):
        axis, offset = AXIS.unpack(payload, offset)
        found["axes"].append(axis)
        for _ in range(axis["entries"]):
            entry, offset = RAMP_ENTRY.unpack(payload, offset)
            found["ramps"].append({"axis": number, **entry})
    for kind, record in _PLAIN_RECORDS:
        for _ in range(head[kind]):
            values, offset = record.unpack(payload, offset)
            found[kind].append(values)
    if offset != len(payload):
        raise BadInput(Fault("block", "has bytes behind its last record", f"byte {offset}", f"{len(payload) - offset} bytes", "0 bytes"))
    return found


def pin_number(name: str) -> int:
    """Number of a pin as on the usual board: D0-D13 are 0-13, A0-A5 are 14-19."""
    return int(name[1:]) + (14 if name.startswith("A") else 0)


def _pin(board: Board, device: str) -> int:
    return pin_number(board.pins[device]) if device in board.pins else NO_PIN


def _axis(axis: Axis, board: Board, mechanism: Mechanism) -> dict[str, int]:
    return {
        "step_pin": _pin(board, f"{axis.motor}.step"),
        "direction_pin": _pin(board, f"{axis.motor}.direction"),
        "enable_pin": _pin(board, f"{axis.motor}.enable"),
        "is_pick": int(axis.unit == "turn"),
        "reversed": int(mechanism.motor(axis.motor).reversed),
        "lowest": axis.lowest,
        "highest": axis.highest,
        "turn_steps": mechanism.motor(axis.motor).microsteps_per_turn,
        "cruise_ticks": axis.ramp.cruise_ticks,
        "entries": len(axis.ramp.entries),
    }


def _coil(coil: Coil, pulse_s: float, board: Board, mechanism: Mechanism) -> dict[str, int]:
    return {
        "pin": _pin(board, coil.id),
        "pulse_ticks": round(pulse_s * 1e6 / ROLL_TICK_US),
        "max_on_ms": min(65535, int(coil.max_on_s * 1000)),
        "release_ms": math.ceil(coil_release_s(coil, mechanism) * 1000),
    }


def _switches(mechanism: Mechanism, numbering: Numbering) -> Iterator[tuple[str, int, int]]:
    """Switch id, role number and axis number of each switch in use."""
    for part in mechanism.voices:
        if isinstance(part, TravellingStop):
            axis = numbering.axes.index(part.carriage.motor)
            yield part.carriage.home_switch, _ROLES.index("home"), axis
            if part.carriage.detent_switch is not None:
                yield part.carriage.detent_switch, _ROLES.index("detent"), axis
        pluck = getattr(part, "pluck", None)
        if isinstance(pluck, TurningPick) and pluck.index_switch is not None:
            yield pluck.index_switch, _ROLES.index("index"), numbering.axes.index(pluck.motor)
