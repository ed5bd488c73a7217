"""The machine block: what the board must know of the machine, and the numbers by which a roll names its parts."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.faults import BadInput, Fault
from jackrail.machine.board import Board
from jackrail.machine.mechanism import ChordBar, Coil, FrettedString, Hammer, KickedPick, Mechanism, TravellingStop, TurningPick
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.ramp import TICK_HZ
from jackrail.motion.voice import coil_release_s

from .format import AXIS, COIL, MACHINE_HEAD, MACHINE_KIND, NO_PIN, RAMP_ENTRY, ROLL_TICK_US, STOP, SWITCH, unwrap, wrap

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


def pack_machine(ensemble: Ensemble, board: Board) -> bytes:
    """The machine block of a machine."""
    numbering, mechanism = numbering_of(ensemble), ensemble.mechanism
    pulses = _pulses(mechanism)
    switches = list(_switches(mechanism, numbering))
    axes = b"".join(_axis(axis, board, mechanism) for axis in ensemble.axes.values())
    coils = b"".join(_coil(coil, pulses.get(coil.id, 0.0), board, mechanism) for coil in mechanism.coils)
    closed = {switch.id: switch.closed for switch in mechanism.switches}
    reads = b"".join(
        SWITCH.pack(pin=_pin(board, switch), closed_high=closed[switch] == "high", role=role, axis=axis) for switch, role, axis in switches
    )
    stops = b"".join(STOP.pack(axis=numbering.axes.index(motor), steps=steps) for motor, steps in numbering.stops)
    head = MACHINE_HEAD.pack(
        machine_id=0,
        tick_hz=TICK_HZ,
        roll_tick_us=ROLL_TICK_US,
        axes=len(numbering.axes),
        coils=len(numbering.coils),
        switches=len(switches),
        stops=len(numbering.stops),
    )
    body = head[4:] + axes + coils + reads + stops
    return wrap(MACHINE_KIND, zlib.crc32(body).to_bytes(4, "little") + body)


def machine_id(block: bytes) -> int:
    """The number by which rolls name their machine block. Raises BadInput for a damaged block."""
    values, _ = MACHINE_HEAD.unpack(unwrap(block, MACHINE_KIND), 0)
    return values["machine_id"]


def unpack_machine(block: bytes) -> dict[str, list[dict[str, int]]]:
    """The records of a machine block by name: head, axes, ramps, coils, switches, stops. Raises BadInput if damaged.

    ramps holds the entries of all axes in order, each with its axis number.
    """
    payload = unwrap(block, MACHINE_KIND)
    head, offset = MACHINE_HEAD.unpack(payload, 0)
    if zlib.crc32(payload[4:]) != head["machine_id"]:
        raise BadInput(Fault("block", "has a machine_id that is not its own", "bytes 8-11", f"{head['machine_id']:08X}"))
    found: dict[str, list[dict[str, int]]] = {"head": [head], "axes": [], "ramps": [], "coils": [], "switches": [], "stops": []}
    for number in range(head["axes"]):
        axis, offset = AXIS.unpack(payload, offset)
        found["axes"].append(axis)
        for _ in range(axis["entries"]):
            entry, offset = RAMP_ENTRY.unpack(payload, offset)
            found["ramps"].append({"axis": number, **entry})
    for name, record in (("coils", COIL), ("switches", SWITCH), ("stops", STOP)):
        for _ in range(head[name]):
            values, offset = record.unpack(payload, offset)
            found[name].append(values)
    if offset != len(payload):
        raise BadInput(Fault("block", "has bytes behind its last record", f"byte {offset}", f"{len(payload) - offset} bytes", "0 bytes"))
    return found


def pin_number(name: str) -> int:
    """Number of a pin as on the usual board: D0-D13 are 0-13, A0-A5 are 14-19."""
    return int(name[1:]) + (14 if name.startswith("A") else 0)


def _pin(board: Board, device: str) -> int:
    return pin_number(board.pins[device]) if device in board.pins else NO_PIN


def _axis(axis: Axis, board: Board, mechanism: Mechanism) -> bytes:
    record = AXIS.pack(
        step_pin=_pin(board, f"{axis.motor}.step"),
        direction_pin=_pin(board, f"{axis.motor}.direction"),
        enable_pin=_pin(board, f"{axis.motor}.enable"),
        is_pick=axis.unit == "turn",
        reversed=mechanism.motor(axis.motor).reversed,
        lowest=axis.lowest,
        highest=axis.highest,
        turn_steps=mechanism.motor(axis.motor).microsteps_per_turn,
        cruise_ticks=axis.ramp.cruise_ticks,
        entries=len(axis.ramp.entries),
    )
    return record + b"".join(RAMP_ENTRY.pack(interval=interval, count=count) for interval, count in axis.ramp.entries)


def _coil(coil: Coil, pulse_s: float, board: Board, mechanism: Mechanism) -> bytes:
    return COIL.pack(
        pin=_pin(board, coil.id),
        pulse_ticks=round(pulse_s * 1e6 / ROLL_TICK_US),
        max_on_ms=min(65535, int(coil.max_on_s * 1000)),
        release_ms=math.ceil(coil_release_s(coil, mechanism) * 1000),
    )


def _pulses(mechanism: Mechanism) -> dict[str, float]:
    """On-time in seconds of each coil that is pulsed."""
    pulses = {}
    for part in mechanism.voices:
        if isinstance(part, Hammer | ChordBar):
            pulses[part.coil] = part.pulse_s
        elif isinstance(part, TravellingStop | FrettedString) and isinstance(part.pluck, KickedPick):
            pulses[part.pluck.coil] = part.pluck.pulse_s
    return pulses


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
