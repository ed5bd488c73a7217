"""When each command of a roll is due: a record says when something sounds, the machine block how much earlier it starts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from jackrail.faults import BadInput, Fault
from jackrail.motion.ramp import TICK_HZ, Ramp

from .format import FIRST_STRIKER_COIL, NO_STRIKER, Op
from .machine_block import unpack_machine
from .records import RollRecord

TICKS_PER_US = TICK_HZ // 1_000_000


@dataclass(frozen=True, order=True)
class RollCue:
    """A command as the board carries it out: timer tick from the start, what to do, number of the stop, axis or coil."""

    tick: int
    op: Op
    argument: int


@dataclass(frozen=True)
class Timing:
    """What a machine block says about time. Leads and pulses in microseconds; stops as (axis, steps), touches as (coil, pulse, lead)."""

    stops: tuple[tuple[int, int], ...]
    ramps: tuple[Ramp, ...]
    axis_leads_us: tuple[int, ...]
    picks: tuple[bool, ...]
    strikers: tuple[int, ...]
    coil_leads_us: tuple[int, ...]
    pulses_us: tuple[int, ...]
    touches: tuple[tuple[int, int, int], ...] = ()

    def coil_of(self, argument: int) -> int:
        """The coil of a PULSE, HOLD or RELEASE, whichever touch it names."""
        coils = len(self.coil_leads_us)
        return argument if argument < coils else self.touches[argument - coils][0]

    def pulse_us(self, argument: int) -> int:
        """How long a PULSE switches its coil on."""
        coils = len(self.coil_leads_us)
        return self.pulses_us[argument] if argument < coils else self.touches[argument - coils][1]

    def strike(self, axis: int) -> tuple[Op, int, int]:
        """How a NOTE on a carriage strikes: operation, number of the device, its lead in microseconds."""
        striker = self.strikers[axis]
        if striker < FIRST_STRIKER_COIL:
            return Op.TURN, striker, self.axis_leads_us[striker]
        coil = striker - FIRST_STRIKER_COIL
        return Op.PULSE, coil, self.coil_leads_us[coil]

    def lead_us(self, op: Op, argument: int) -> int:
        """By how much a command is due before the time of its record, for records of one command."""
        if op is Op.TURN:
            return self.axis_leads_us[argument]
        if op is Op.PULSE and argument >= len(self.coil_leads_us):
            return self.touches[argument - len(self.coil_leads_us)][2]
        return self.coil_leads_us[argument] if op in (Op.PULSE, Op.HOLD) else 0

    def fault_of(self, record: RollRecord) -> str:
        """Why the machine cannot carry out a record, empty when it can."""
        op, number = record.op, record.argument
        if op in (Op.NOTE, Op.MOVE):
            if number >= len(self.stops):
                return f"names stop {number}"
            return "strikes nothing" if op is Op.NOTE and self.strikers[self.stops[number][0]] == NO_STRIKER else ""
        if op is Op.TURN:
            return "" if number < len(self.picks) and self.picks[number] else f"turns axis {number}"
        if number >= len(self.coil_leads_us) + (len(self.touches) if op is Op.PULSE else 0):
            return f"names coil {number}"
        if self.coil_of(number) >= len(self.coil_leads_us):
            return f"names touch {number - len(self.coil_leads_us)} of a coil"
        return f"pulses coil {number}, which is held" if op is Op.PULSE and not self.pulse_us(number) else ""


@lru_cache(maxsize=8)
def timing_of(machine_block: bytes) -> Timing:
    """The times that a machine block states. Raises BadInput for a damaged block."""
    found = unpack_machine(machine_block)
    entries: list[list[tuple[int, int]]] = [[] for _ in found["axes"]]
    for entry in found["ramps"]:
        entries[entry["axis"]].append((entry["interval"], entry["count"]))
    axes, coils = found["axes"], found["coils"]
    return Timing(
        stops=tuple((stop["axis"], stop["steps"]) for stop in found["stops"]),
        ramps=tuple(Ramp(tuple(rows), axis["cruise_ticks"]) for rows, axis in zip(entries, axes, strict=True)),
        axis_leads_us=tuple(axis["lead_us"] for axis in axes),
        picks=tuple(bool(axis["is_pick"]) for axis in axes),
        strikers=tuple(axis["striker"] for axis in axes),
        coil_leads_us=tuple(coil["lead_us"] for coil in coils),
        pulses_us=tuple(coil["pulse_us"] for coil in coils),
        touches=tuple((touch["coil"], touch["pulse_us"], touch["lead_us"]) for touch in found["touches"]),
    )


def commands_of(records: Iterable[RollRecord], timing: Timing) -> Iterator[tuple[RollCue, ...]]:
    """The commands of each record but END, due at whole timer ticks. Raises BadInput for one the machine cannot carry out."""
    at = [0] * len(timing.ramps)
    for record in records:
        if record.op is Op.END:
            return
        if wrong := timing.fault_of(record):
            raise BadInput(Fault("block", f"a record {wrong}, which its machine has not", f"{record.at_us} us"))
        yield tuple(_commands(record, timing, at))


def _commands(record: RollRecord, timing: Timing, at: list[int]) -> Iterator[RollCue]:
    """The commands of one record; `at`, where each carriage stands in steps, moves on."""
    sounds = record.at_us * TICKS_PER_US
    if record.op not in (Op.NOTE, Op.MOVE):
        yield RollCue(sounds - timing.lead_us(record.op, record.argument) * TICKS_PER_US, record.op, record.argument)
        return
    axis, target = timing.stops[record.argument]
    steps, at[axis] = abs(target - at[axis]), target
    if record.op is Op.MOVE:
        yield RollCue(sounds, Op.MOVE, record.argument)
        return
    if steps:
        arrives = sounds - timing.axis_leads_us[axis] * TICKS_PER_US
        yield RollCue(arrives - timing.ramps[axis].ticks(steps), Op.MOVE, record.argument)
    op, device, lead_us = timing.strike(axis)
    yield RollCue(sounds - lead_us * TICKS_PER_US, op, device)
