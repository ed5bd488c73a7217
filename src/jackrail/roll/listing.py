"""A roll as text that a person can read: one line a record, with the names of the machine file."""

from __future__ import annotations

from .format import OP_MEANINGS, Op
from .machine_block import Numbering
from .records import RollRecord
from .roll import Roll


def list_roll(roll: Roll, numbering: Numbering) -> str:
    """The listing of an unpacked roll, repeats played out, ending in a newline. Times are of the sound, as in the roll."""
    lines = [
        f"roll     {roll.title}",
        f"machine  {roll.machine_id:08X}",
        f"length   {roll.length_us / 1e6:.3f} s, {len(roll.records)} records",
        "",
        "      time_s  record   what",
    ]
    lines += [f"{record.at_us / 1e6:12.6f}  {record.op.name.lower():8} {_named(record, numbering)}" for record in roll.records]
    lines.append(f"{roll.length_us / 1e6:12.6f}  end")
    return "\n".join(lines) + "\n"


def _named(record: RollRecord, numbering: Numbering) -> str:
    if record.op in (Op.NOTE, Op.MOVE):
        motor, steps = numbering.stops[record.argument]
        return f"{motor} to stop {record.argument} at {steps} steps"
    if record.op is Op.PULSE and record.argument >= len(numbering.coils):
        coil, pulse_s = numbering.touches[record.argument - len(numbering.coils)]
        return f"{coil} for {1000 * pulse_s:g} ms"
    kind = OP_MEANINGS[record.op][0]
    return (numbering.axes if kind == "axis" else numbering.coils)[record.argument]
