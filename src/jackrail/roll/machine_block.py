"""The machine block: what the board must know of the machine, and the numbers by which a roll names its parts."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.faults import BadInput, Fault
from jackrail.machine.board import FIRST_SHIFT_PIN, SHIFT_LATCH, Board, pin_number
from jackrail.machine.mechanism import Coil, Hammer, KickedPick, Mechanism, Touch, TravellingStop, TurningPick
from jackrail.motion.axis import Axis
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.ramp import TICK_HZ
from jackrail.motion.voice import GUARD_S, coil_lead_s, coil_release_s, pluck_lead_s

from .format import (
    AXIS,
    COIL,
    FIRST_STRIKER_COIL,
    MACHINE_HEAD,
    MACHINE_KIND,
    NO_AXIS,
    NO_PIN,
    NO_STRIKER,
    RAMP_ENTRY,
    STOP,
    SWITCH,
    TOUCH,
    Policy,
    Role,
    unwrap,
    wrap,
)

_PLAIN_RECORDS = (("coils", COIL), ("switches", SWITCH), ("stops", STOP), ("touches", TOUCH))
_POLICIES = {"go on": Policy.GO_ON, "home again": Policy.HOME_AGAIN, "stop": Policy.STOP}
_SLOWEST_HOMING_TICKS = 4000
"""A switch is approached with 2 ms a step or slower: common practice, no source."""


@dataclass(frozen=True)
class Numbering:
    """By what number the roll names each axis, coil and stop: their order in the machine block.

    stops: (motor id, steps) of each place of each carriage, then of where its bar turns when it sways. touches: (coil id, seconds on)
    of each softer blow, numbered on from the coils.
    """

    axes: tuple[str, ...]
    coils: tuple[str, ...]
    stops: tuple[tuple[str, int], ...]
    touches: tuple[tuple[str, float], ...] = ()

    def pulse(self, coil: str, pulse_s: float) -> int:
        """The number of a pulse: that of its touch, else that of its coil."""
        if (coil, pulse_s) in self.touches:
            return len(self.coils) + self.touches.index((coil, pulse_s))
        return self.coils.index(coil)

    def pulses_of(self, coil: str) -> list[int]:
        """The numbers of all pulses of a coil, the full one first."""
        touches = (len(self.coils) + number for number, (one, _) in enumerate(self.touches) if one == coil)
        return [self.coils.index(coil), *touches]


def numbering_of(ensemble: Ensemble) -> Numbering:
    """The numbering of a machine: axes and stops in the order of its voices, coils in the order of its file."""
    bars = [
        (part.carriage.motor, voice)
        for part, voice in zip(ensemble.mechanism.voices, ensemble.voices, strict=True)
        if isinstance(part, TravellingStop)
    ]
    stops = [(motor, place.steps) for motor, voice in bars for place in voice.places]
    stops += [
        (motor, place.steps + side * sway.swing_steps)
        for motor, voice in bars
        for place, sway in zip(voice.places, voice.sways, strict=True)
        if sway is not None
        for side in (1, -1)
    ]
    touches = tuple((hammer.coil, touch.pulse_s) for hammer, touch in _touches(ensemble.mechanism))
    return Numbering(tuple(ensemble.axes), tuple(coil.id for coil in ensemble.mechanism.coils), tuple(stops), touches)


def _touches(mechanism: Mechanism) -> Iterator[tuple[Hammer, Touch]]:
    """Every softer blow, in the order of the file."""
    for part in mechanism.voices:
        if isinstance(part, Hammer):
            yield from ((part, touch) for touch in part.touches)


Records = dict[str, list[dict[str, int]]]
"""The records of a machine block by kind, each a dict of its fields. ramps: the entries of all axes, with their axis."""


def _records_of(ensemble: Ensemble, board: Board) -> Records:
    """What a machine block says of a machine, but for its head."""
    numbering, mechanism = numbering_of(ensemble), ensemble.mechanism
    closed_high = {switch.id: switch.closed == "high" for switch in mechanism.switches}
    pulses_s = mechanism.pulses_s()
    return {
        "axes": [
            {**_axis(axis, board, mechanism), **_lead_and_striker(axis.motor, ensemble, numbering)} for axis in ensemble.axes.values()
        ],
        "ramps": [
            {"axis": number, "interval": interval, "count": count}
            for number, axis in enumerate(ensemble.axes.values())
            for interval, count in axis.ramp.entries
        ],
        "coils": [_coil(coil, pulses_s.get(coil.id, 0.0), board, mechanism) for coil in mechanism.coils],
        "switches": [
            {"pin": _pin(board, switch), "closed_high": int(closed_high[switch]), "role": role, "axis": axis}
            for switch, role, axis in _switches(mechanism, numbering, board)
        ],
        "stops": [{"axis": numbering.axes.index(motor), "steps": steps} for motor, steps in numbering.stops],
        "touches": [
            {"coil": numbering.coils.index(hammer.coil), "pulse_us": _us(touch.pulse_s), "lead_us": _us(touch.pull_in_s)}
            for hammer, touch in _touches(mechanism)
        ],
    }


def pack_machine(ensemble: Ensemble, board: Board) -> bytes:
    """The machine block of a machine. It is unpacked and compared before it is returned, as every roll is."""
    records = _records_of(ensemble, board)
    counts = {kind: len(records[kind]) for kind in ("axes", "coils", "switches", "stops", "touches")}
    head = {"tick_hz": TICK_HZ, **counts, **_board_values(board)}
    body = bytearray(MACHINE_HEAD.pack(machine_id=0, **head)[4:])
    for number, axis in enumerate(records["axes"]):
        body += AXIS.pack(**axis)
        body += b"".join(RAMP_ENTRY.pack(**entry) for entry in records["ramps"] if entry["axis"] == number)
    for kind, record in _PLAIN_RECORDS:
        body += b"".join(record.pack(**values) for values in records[kind])
    number = zlib.crc32(body)
    block = wrap(MACHINE_KIND, number.to_bytes(4, "little") + bytes(body))
    if unpack_machine(block) != {"head": [{"machine_id": number, **head}], **records}:
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
    found: Records = {"head": [head], "axes": [], "ramps": [], "coils": [], "switches": [], "stops": [], "touches": []}
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


def _pin(board: Board, device: str) -> int:
    return pin_number(board.pins[device]) if device in board.pins else NO_PIN


def _board_values(board: Board) -> dict[str, int]:
    """The fields of the head that say what the board does and has."""
    outputs = [pin_number(pin) - FIRST_SHIFT_PIN + 1 for pin in board.pins.values() if pin.startswith("S")]
    return {
        "policy": _POLICIES[board.on_mismatch],
        "shift_latch_pin": _pin(board, SHIFT_LATCH),
        "shift_outputs": 8 * math.ceil(max(outputs, default=0) / 8),
    }


def _axis(axis: Axis, board: Board, mechanism: Mechanism) -> dict[str, int]:
    slowest = axis.ramp.entries[0][0] if axis.ramp.entries else axis.ramp.cruise_ticks
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
        "home_ticks": max(slowest, _SLOWEST_HOMING_TICKS),
        "entries": len(axis.ramp.entries),
    }


def _lead_and_striker(motor: str, ensemble: Ensemble, numbering: Numbering) -> dict[str, int]:
    """The lead of an axis and, for a carriage, what a NOTE on it strikes."""
    mechanism = ensemble.mechanism
    for part in mechanism.voices:
        pluck = getattr(part, "pluck", None)
        if isinstance(pluck, TurningPick) and pluck.motor == motor:
            return {"lead_us": _us(pluck_lead_s(pluck, mechanism, ensemble.axes)), "striker": NO_STRIKER}
        if isinstance(part, TravellingStop) and part.carriage.motor == motor:
            lead_us = _us(part.carriage.settle_s + GUARD_S)
            if isinstance(part.pluck, KickedPick):
                return {"lead_us": lead_us, "striker": FIRST_STRIKER_COIL + numbering.coils.index(part.pluck.coil)}
            return {"lead_us": lead_us, "striker": numbering.axes.index(part.pluck.motor)}
    raise AssertionError(f"the axis {motor!r} belongs to no voice")


def _us(time_s: float) -> int:
    return round(time_s * 1e6)


def _coil(coil: Coil, pulse_s: float, board: Board, mechanism: Mechanism) -> dict[str, int]:
    return {
        "pin": _pin(board, coil.id),
        "pulse_us": _us(pulse_s),
        "lead_us": _us(coil_lead_s(coil, mechanism)),
        "max_on_ms": min(65535, int(coil.max_on_s * 1000)),
        "release_ms": math.ceil(coil_release_s(coil, mechanism) * 1000),
        "max_duty": round(100 * coil.max_duty),
    }


def _switches(mechanism: Mechanism, numbering: Numbering, board: Board) -> Iterator[tuple[str, Role, int]]:
    """Switch id, role and axis number of each switch in use."""
    for part in mechanism.voices:
        if isinstance(part, TravellingStop):
            axis = numbering.axes.index(part.carriage.motor)
            yield part.carriage.home_switch, Role.HOME, axis
            if part.carriage.detent_switch is not None:
                yield part.carriage.detent_switch, Role.DETENT, axis
        pluck = getattr(part, "pluck", None)
        if isinstance(pluck, TurningPick) and pluck.index_switch is not None:
            yield pluck.index_switch, Role.INDEX, numbering.axes.index(pluck.motor)
    if board.play_button is not None:
        yield board.play_button, Role.PLAY_BUTTON, NO_AXIS
