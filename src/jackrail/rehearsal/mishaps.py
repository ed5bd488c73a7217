"""What can be made to go wrong in a rehearsal, each by its name: in the machine, in the flash, on the line, in the chip.

`CATALOGUE` is the whole list; tests/rehearsal proves of each that it is noticed and ends safely.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from jackrail.board.link_format import BAUD
from jackrail.faults import BadInput, Fault, nearest
from jackrail.machine.board import pin_number
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import TravellingStop, TurningPick
from jackrail.roll.due import RollCue, timing_of
from jackrail.roll.format import Op
from jackrail.roll.roll import pack_roll, unpack_roll

from .driver import Driver
from .model import Piece

_LOST_CYCLES = 6
"""Electrical cycles by which a rotor is thrown: 4.8 mm on a belt of 40 mm a turn, beyond any detent."""
_LONG_BOUNCE_S = 0.02
_LATE_S = 0.02
_WEAK_OHM = 3.0
"""Two metres of wire far too thin and a tired plug, say: at 2 A the rail loses 6 V of its 12."""
_NOISE = {"noise-10": 0.1, "noise-30": 0.3}


@dataclass(frozen=True)
class Mishap:
    """One thing that goes wrong.

    text: what is done. before: to the rig when power comes on. during: in mid song. spoil: to what is flashed. streamed: the
    tune comes over the line. noise: share of frames damaged.
    """

    name: str
    text: str
    before: Callable[[Driver, Machine], None] | None = None
    during: Callable[[Driver, Machine], None] | None = None
    spoil: Callable[[Piece], Piece] | None = None
    streamed: bool = False
    noise: float = 0.0


def _carriage_motor(machine: Machine) -> str:
    return _first(machine, "carriage", [v.carriage.motor for v in machine.mechanism.voices if isinstance(v, TravellingStop)])


def _switch(machine: Machine, role: str) -> str:
    found = [getattr(v.carriage, f"{role}_switch") for v in machine.mechanism.voices if isinstance(v, TravellingStop)]
    return _first(machine, f"{role} switch", [switch for switch in found if switch])


def _index_switch(machine: Machine) -> str:
    picks = [getattr(voice, "pluck", None) for voice in machine.mechanism.voices]
    return _first(machine, "index switch", [pick.index_switch for pick in picks if isinstance(pick, TurningPick) and pick.index_switch])


def _motor_rail(machine: Machine) -> str:
    return _first(machine, "motor", [motor.rail for motor in machine.mechanism.motors])


def _first(machine: Machine, kind: str, found: Sequence[str]) -> str:
    if not found:
        raise BadInput(Fault("option", f"this machine has no {kind} for that to happen to", "--fault", machine.name))
    return found[0]


def _plant(name: str, device: Callable[[Machine], str], value: float = 0.0) -> Callable[[Driver, Machine], None]:
    """A fault of the plant (plant.h) that begins when it is called for."""

    def begin(driver: Driver, machine: Machine) -> None:
        driver.rig.plant.fault(name, device(machine), driver.rig.cycle, value)

    return begin


def _late_coil(driver: Driver, machine: Machine) -> None:
    """The coil that struck most often so far: one that the tune uses."""
    pins = driver.rig.edges()["pin"].tolist()
    coils = sorted(machine.mechanism.pulses_s(), key=lambda coil: -pins.count(pin_number(machine.board.pins[coil])))
    driver.rig.plant.fault("coil late", _first(machine, "striking coil", coils), driver.rig.cycle, _LATE_S)


def _reset(cause: str) -> Callable[[Driver, Machine], None]:
    def begin(driver: Driver, _: Machine) -> None:
        driver.rig.reset(cause)

    return begin


def _hang(driver: Driver, _: Machine) -> None:
    driver.rig.hang()


def _vanish(driver: Driver, _: Machine) -> None:
    driver.silent = True


def _flood(driver: Driver, _: Machine) -> None:
    """Twenty questions typed at once: the answers take the line longer than the questions leave room."""
    driver.rig.send(b"status\r" * 20, baud=BAUD, at=driver.rig.cycle)


def _damage(block: bytes) -> bytes:
    """One bit of the payload flipped."""
    at = len(block) // 2
    return block[:at] + bytes([block[at] ^ 0x10]) + block[at + 1 :]


def _leave_on(piece: Piece) -> Piece:
    """The first PULSE becomes a HOLD that no RELEASE ends."""
    roll = unpack_roll(piece.roll_block, piece.machine_block)
    cues = list(roll.cues)
    pulses = [place for place, cue in enumerate(cues) if cue.op is Op.PULSE]
    if not pulses:
        raise BadInput(Fault("option", "this tune switches no coil that could be left on", "--fault", roll.title))
    first, coil_of = cues[pulses[0]], timing_of(piece.machine_block).coil_of
    coil = coil_of(first.argument)
    kept = [cue for cue in cues[pulses[0] + 1 :] if not (cue.op is Op.PULSE and coil_of(cue.argument) == coil)]
    cues = [*cues[: pulses[0]], RollCue(first.tick, Op.HOLD, coil), *kept]
    return replace(piece, roll_block=pack_roll(cues, roll.title, roll.end_tick, piece.machine_block))


_MISHAPS = (
    Mishap("lost-steps", "the carriage is knocked off its steps in mid song", during=_plant("lost steps", _carriage_motor, _LOST_CYCLES)),
    Mishap("stalled", "the carriage is blocked in mid song", during=_plant("stalled", _carriage_motor, math.nan)),
    Mishap("detent-open", "the detent switch never closes", before=_plant("stuck open", lambda machine: _switch(machine, "detent"))),
    Mishap("detent-closed", "the detent switch never opens", before=_plant("stuck closed", lambda machine: _switch(machine, "detent"))),
    Mishap("index-missing", "the index switch stops closing in mid song", during=_plant("stuck open", _index_switch)),
    Mishap("home-open", "the home switch never closes", before=_plant("stuck open", lambda machine: _switch(machine, "home"))),
    Mishap("home-closed", "the home switch never opens", before=_plant("stuck closed", lambda machine: _switch(machine, "home"))),
    Mishap(
        "home-bounces",
        "the home switch bounces for 20 ms",
        before=_plant("bounces", lambda machine: _switch(machine, "home"), _LONG_BOUNCE_S),
    ),
    Mishap("late-coil", "a striking coil comes 20 ms late from mid song on", during=_late_coil),
    Mishap("coil-left-on", "the roll switches a coil on and never off", spoil=_leave_on),
    Mishap(
        "damaged-machine-block",
        "one bit of the machine block is wrong",
        spoil=lambda piece: replace(piece, machine_block=_damage(piece.machine_block)),
    ),
    Mishap("damaged-roll", "one bit of the roll is wrong", spoil=lambda piece: replace(piece, roll_block=_damage(piece.roll_block))),
    *(
        Mishap(name, f"{share:.0%} of all frames are damaged while the tune is streamed", streamed=True, noise=share)
        for name, share in _NOISE.items()
    ),
    Mishap("host-vanishes", "the host falls silent while the tune is streamed", during=_vanish, streamed=True),
    Mishap("hang", "the program on the chip hangs in mid song", during=_hang),
    *(
        Mishap(f"reset-{cause}", f"the chip is reset in mid song: {cause}", during=_reset(cause))
        for cause in ("power-on", "external", "brown-out", "watchdog")
    ),
    Mishap("overrun", "more is typed in mid song than the line takes", during=_flood),
    Mishap("weak-supply", "the supply sags below what the drivers need", before=_plant("weak supply", _motor_rail, _WEAK_OHM)),
)
CATALOGUE = {mishap.name: mishap for mishap in _MISHAPS}


def mishaps_of(names: Sequence[str]) -> tuple[Mishap, ...]:
    """The mishaps of these names, in the catalogue's order: what packs a block anew comes before what damages it.

    Raises BadInput with a fault for each name that is none.
    """
    faults = [
        Fault("option", "there is no such fault", "--fault", name, hint=nearest(name, sorted(CATALOGUE)))
        for name in names
        if name not in CATALOGUE
    ]
    if faults:
        raise BadInput(faults)
    return tuple(mishap for name, mishap in CATALOGUE.items() if name in names)
