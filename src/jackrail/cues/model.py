"""A cue: one timed command to one motor or coil."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal

Action = Literal["move", "turn", "pulse", "hold", "release"]


@dataclass(frozen=True, order=True)
class Cue:
    """At time_s seconds from the start of play, do this.

    action: "move" a carriage to an absolute step (value), "turn" a pick once, "pulse" a coil on for value seconds, "hold"
    a coil on, "release" it. device: id of the motor or coil.
    """

    time_s: float
    device: str
    action: Action
    value: float = 0.0


def cues_csv(cues: tuple[Cue, ...]) -> str:
    """The cues as CSV text with a header line; time in seconds, value in steps for a move and in seconds for a pulse."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time_s", "device", "action", "value"])
    for cue in cues:
        value = "" if cue.action in ("turn", "hold", "release") else f"{cue.value:g}"
        writer.writerow([f"{cue.time_s:.6f}", cue.device, cue.action, value])
    return out.getvalue()
