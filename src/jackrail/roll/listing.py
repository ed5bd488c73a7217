"""A roll as text that a person can read: one line a cue, with the names of the machine file."""

from __future__ import annotations

from .format import OP_MEANINGS, Op
from .machine_block import Numbering
from .roll import Roll, RollCue, seconds_of


def list_roll(roll: Roll, numbering: Numbering) -> str:
    """The listing of an unpacked roll, ending in a newline."""
    lines = [
        f"roll     {roll.title}",
        f"machine  {roll.machine_id:08X}",
        f"length   {seconds_of(roll.end_tick):.3f} s, {len(roll.cues)} cues",
        "",
        "    tick    time_s  cue      what",
    ]
    lines += [f"{cue.tick:8d}{seconds_of(cue.tick):10.3f}  {cue.op.name.lower():8} {_named(cue, numbering)}" for cue in roll.cues]
    lines.append(f"{roll.end_tick:8d}{seconds_of(roll.end_tick):10.3f}  end")
    return "\n".join(lines) + "\n"


def _named(cue: RollCue, numbering: Numbering) -> str:
    if cue.op is Op.MOVE:
        motor, steps = numbering.stops[cue.argument]
        return f"{motor} to stop {cue.argument} at {steps} steps"
    kind = OP_MEANINGS[cue.op][0]
    return (numbering.axes if kind == "axis" else numbering.coils)[cue.argument]
