"""The last look at a roll before it is written: would it harm anything, whatever planned it?

Like the dry run it reads the unpacked roll, not the setting: every coil off again in time, every motor done before it is
told to move again, every string plucked only while its bar stands still and settled. A finding here is a fault of the
program; it is an error, so that such a roll is never played.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from jackrail.findings import Finding
from jackrail.machine.mechanism import TravellingStop
from jackrail.motion.ensemble import Ensemble

from .dry_run import plucks_of, spans_of, ticks_where
from .format import ROLL_TICK_US, Op
from .machine_block import Numbering
from .roll import Roll, seconds_of

_TICK_S = ROLL_TICK_US / 1e6
_ADVICE = "this is a fault of the program: do not play the roll, and please report it"


def guard_findings(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> list[Finding]:
    """An error for each device that the roll would treat badly, naming the first time it does."""
    found = [("roll.coil", *fault) for fault in _coil_faults(roll, numbering, ensemble)]
    found += [("roll.motion", *fault) for fault in _overlaps(roll, numbering, ensemble)]
    found += [("roll.motion", *fault) for fault in _unsettled(roll, numbering, ensemble)]
    first: dict[tuple[str, str], Finding] = {}
    for code, device, at_s, text in found:
        first.setdefault((code, device), Finding(code, "error", f"{at_s:.3f} s", f"{device} {text}", advice=_ADVICE))
    return list(first.values())


Faults = Iterator[tuple[str, float, str]]
"""Device, moment in seconds, what is wrong."""


def _coil_faults(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> Faults:
    pulses_s = ensemble.mechanism.pulses_s()
    for number, coil_id in enumerate(numbering.coils):
        coil = ensemble.mechanism.coil(coil_id)
        spans: list[tuple[float, float | None]] = []
        for cue in roll.cues:
            at_s = seconds_of(cue.tick)
            if cue.argument != number or cue.op not in (Op.PULSE, Op.HOLD, Op.RELEASE):
                continue
            if cue.op is Op.RELEASE:
                if spans and spans[-1][1] is None:
                    spans[-1] = (spans[-1][0], at_s)
                continue
            if spans and (spans[-1][1] is None or at_s < (spans[-1][1] or 0.0)):
                yield coil.id, at_s, "is switched on while it is on"
            spans.append((at_s, at_s + pulses_s.get(coil.id, 0.0) if cue.op is Op.PULSE else None))
        for on_s, off_s in spans:
            if off_s is None or off_s > seconds_of(roll.end_tick):
                yield coil.id, on_s, "is switched on and not off again before the end"
            elif off_s - on_s > coil.max_on_s + _TICK_S:
                yield coil.id, on_s, f"is on for {off_s - on_s:.3f} s, longer than its {coil.max_on_s:g} s"


def _overlaps(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> Faults:
    """Motors told to move before they are done, or not done at the end."""
    for number, (motor, axis) in enumerate(ensemble.axes.items()):
        if axis.unit == "turn":
            turn_s = axis.ramp.duration_s(ensemble.mechanism.motor(motor).microsteps_per_turn)
            times = [(seconds_of(tick), seconds_of(tick) + turn_s) for tick in ticks_where(roll, Op.TURN, number)]
        else:
            spans = spans_of(roll, numbering, axis)
            times = [(span.start_s, span.end_s) for span in spans]
            yield from (
                (motor, span.start_s, "is sent beyond its limits") for span in spans if not axis.lowest <= span.target <= axis.highest
            )
        for (_, done_s), (start_s, _) in pairwise(times):
            if start_s < done_s:
                yield motor, start_s, "is told to move before it is done"
        if times and times[-1][1] > seconds_of(roll.end_tick):
            yield motor, times[-1][0], "is not done at the end"


def _unsettled(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> Faults:
    """Strings plucked while their bar moves, has not settled, or leaves."""
    for part, voice in zip(ensemble.mechanism.voices, ensemble.voices, strict=True):
        if isinstance(part, TravellingStop):
            spans = spans_of(roll, numbering, ensemble.axes[part.carriage.motor])
            started = 0
            for at_s in plucks_of(roll, numbering, part.pluck, voice):
                while started < len(spans) and spans[started].start_s <= at_s:
                    started += 1
                if started and spans[started - 1].end_s + part.carriage.settle_s > at_s:
                    yield voice.id, at_s, "is plucked before its bar stands still and settled"
