"""Rests longer than one record can wait (16.8 s) are bridged by records that change nothing."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.faults import BadInput, Fault

from .due import TICKS_PER_US, RollCue, Timing
from .format import LONGEST_WAIT_US, Op
from .fuse import TOLERANCE_US, Wanted

_BRIDGE_TICKS = (LONGEST_WAIT_US - 4 * TOLERANCE_US) * TICKS_PER_US


def with_rests(wanted: Sequence[Wanted], timing: Timing) -> tuple[list[Wanted], list[RollCue]]:
    """The records with bridges in every long rest, and the bridges as the commands they are.

    Raises BadInput for a rest on a machine that has nothing to bridge it with.
    """
    done: list[Wanted] = []
    bridges: list[RollCue] = []
    now = 0
    for one in wanted:
        while one.ideal - now > _BRIDGE_TICKS:
            now += _BRIDGE_TICKS
            op, argument = _idle(done, timing)
            at_us = now // TICKS_PER_US
            done.append(Wanted(now, op, argument, at_us - TOLERANCE_US, at_us + TOLERANCE_US))
            bridges.append(RollCue(now, op, argument))
        done.append(one)
        now = one.ideal
    return done, bridges


def _idle(before: Sequence[Wanted], timing: Timing) -> tuple[Op, int]:
    """A record that changes nothing: to where the carriage stands, or off with a coil that is off long since."""
    for one in reversed(before):
        if one.op in (Op.NOTE, Op.MOVE):
            return Op.MOVE, one.argument
    held: set[int] = set()
    for one in before:
        if one.op is Op.HOLD:
            held.add(one.argument)
        elif one.op is Op.RELEASE:
            held.discard(one.argument)
    for coil in range(len(timing.coil_leads_us)):
        if coil not in held:
            return Op.RELEASE, coil
    raise BadInput(Fault("range", "a rest is too long", value="more than 16.7 s", hint="play it faster"))
