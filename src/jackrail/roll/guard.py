"""The last look at a roll before it is written: would it harm anything, whatever planned it?

Like the dry run it reads the unpacked roll, not the setting: every coil off again in time, every motor done before it is
told to move again, every string plucked only while its bar stands still and settled: a fault in these is a fault of the
program. And would the board stop in the middle, because a coil grows too hot or more is due at once than it can hold? All
are errors, so that such a roll is never played.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from jackrail.findings import Finding
from jackrail.machine.mechanism import Coil, TravellingStop
from jackrail.motion.ensemble import Ensemble
from jackrail.motion.heat import Endurance

from .dry_run import plucks_of, spans_of, ticks_where
from .format import QUEUE_COMMANDS, Op
from .fuse import TOLERANCE_US
from .machine_block import Numbering
from .roll import Roll, seconds_of

_SLACK_S = 2 * TOLERANCE_US / 1e6
"""Two packed commands may be nearer or further apart than their cues by this much."""
_ADVICE = "this is a fault of the program: do not play the roll, and please report it"


def guard_findings(roll: Roll, numbering: Numbering, ensemble: Ensemble) -> list[Finding]:
    """An error for each device that the roll would treat badly, naming the first time it does."""
    found = [("roll.motion", *fault) for fault in (*_overlaps(roll, numbering, ensemble), *_unsettled(roll, numbering, ensemble))]
    hot: list[Finding] = []
    for coil_id in numbering.coils:
        coil = ensemble.mechanism.coil(coil_id)
        spans, faults = _coil_spans(roll, coil, _pulses_s(coil_id, numbering, ensemble))
        found += [("roll.coil", *fault) for fault in faults]
        hot += [] if faults else _heat_findings(coil, spans)
    first: dict[tuple[str, str], Finding] = {}
    for code, device, at_s, text in found:
        first.setdefault((code, device), Finding(code, "error", f"{at_s:.3f} s", f"{device} {text}", advice=_ADVICE))
    return [*first.values(), *hot, *_queue_findings(roll)]


Fault = tuple[str, float, str]
"""Device, moment in seconds, what is wrong."""
Faults = Iterator[Fault]


def _pulses_s(coil_id: str, numbering: Numbering, ensemble: Ensemble) -> dict[int, float]:
    """How long each pulse of a coil has it on, by its number in a roll: the coil's own first, then those of its touches."""
    own, *softer = numbering.pulses_of(coil_id)
    return {own: ensemble.mechanism.pulses_s().get(coil_id, 0.0)} | {
        number: numbering.touches[number - len(numbering.coils)][1] for number in softer
    }


def _coil_spans(roll: Roll, coil: Coil, pulses_s: dict[int, float]) -> tuple[list[tuple[float, float]], list[Fault]]:
    """When a coil is on, and what is wrong with that. A HOLD of a coil that is held changes nothing."""
    spans: list[tuple[float, float]] = []
    faults: list[Fault] = []
    held_s: float | None = None
    end_s = seconds_of(roll.end_tick)
    for cue in (cue for cue in roll.cues if cue.argument in pulses_s and cue.op in (Op.PULSE, Op.HOLD, Op.RELEASE)):
        at_s = seconds_of(cue.tick)
        if cue.op is Op.RELEASE:
            if held_s is not None:
                spans.append((held_s, at_s))
            held_s = None
        elif held_s is None:
            if spans and at_s < spans[-1][1]:
                faults.append((coil.id, at_s, "is switched on while it is on"))
            if cue.op is Op.HOLD:
                held_s = at_s
            else:
                spans.append((at_s, at_s + pulses_s[cue.argument]))
        elif cue.op is Op.PULSE:
            faults.append((coil.id, at_s, "is switched on while it is on"))
    late = [on_s for on_s, off_s in spans if off_s > end_s] + ([] if held_s is None else [held_s])
    faults += [(coil.id, on_s, "is switched on and not off again before the end") for on_s in late]
    for on_s, off_s in spans:
        if off_s - on_s > coil.max_on_s + _SLACK_S:
            faults.append((coil.id, on_s, f"is on for {off_s - on_s:.3f} s, longer than its {coil.max_on_s:g} s"))
    return spans, faults


def _heat_findings(coil: Coil, spans: Sequence[tuple[float, float]]) -> list[Finding]:
    """An error when a coil is on so long and so often that the board would switch it off and stop."""
    hot = Endurance(coil.max_on_s, coil.max_duty).first_too_hot(spans, _SLACK_S)
    if hot is None:
        return []
    on_s, as_long_s = hot
    share = f"{100 * coil.max_duty:g} % of the time"
    text = f"the coil {coil.id!r} grows too hot: the board would stop here, since it may be on for {share}"
    values = round(as_long_s, 4), coil.max_on_s
    advice = "play it slower, shorten the pulse, or use a coil that may be on for longer"
    return [Finding("coil.duty", "error", f"{on_s:.3f} s", text, *values, "s", advice)]


def _queue_findings(roll: Roll) -> list[Finding]:
    """An error when more is due at about one time than the board can hold."""
    if roll.queue.most <= QUEUE_COMMANDS:
        return []
    at = f"{max(0.0, seconds_of(roll.queue.at_tick)):.3f} s"
    text = f"{roll.queue.most} commands would wait at once on the board, which holds {QUEUE_COMMANDS}"
    advice = "play fewer notes at once, or more slowly"
    return [Finding("roll.queue", "error", at, text, roll.queue.most, QUEUE_COMMANDS, "commands", advice)]


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
