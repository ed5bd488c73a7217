"""Rehearsals made up as values, without an emulator: all is well in them but what a test changes."""

import numpy as np

from jackrail.board.messages import Status
from jackrail.performance import Comparison, Difference, Performance
from jackrail.rehearsal.model import FINISHED, RailTrace, Rehearsal

NOTHING = np.empty(0, [("cycle", "u8"), ("pin", "i4"), ("level", "i4")])


def a_status(**counters):
    values = dict.fromkeys(("where", "tune", "late", "index_missed", "detent_missed", "rehomed", "bad_frames", "overruns"), 0)
    return Status(state=2, reason=FINISHED, positions=(0,), **(values | counters))


def sound(late_s=0.0, sharp_cents=0.0, onset_s=1.0, voice="melody", *, strength=1.0, heard_strength=1.0):
    """One that was expected, and by how much it was off; late_s None: not heard."""
    return Difference(onset_s, voice, late_s, None if late_s is None else sharp_cents, strength, heard_strength)


def a_rail(lowest_v, needed_v=9.0, highest_a=1.0):
    return RailTrace("main", np.array([0.0, 0.001]), np.array([12.0, lowest_v]), np.array([0.1, highest_a]), needed_v)


def a_rehearsal(*sounds, extra=(), **changes):
    values = {
        "heard": Performance((), (), 2.0),
        "comparison": Comparison(sounds or (sound(),), tuple(extra)),
        "reason": FINISHED,
        "notices": (),
        "unsafe": (),
        "injected": (),
        "status": a_status(),
        "rails": (a_rail(12.0),),
        "edges": NOTHING,
        "inputs": NOTHING,
        "marks": NOTHING,
        "zero_cycle": 0,
        "ran_s": 2.0,
        "stack_free_b": 500,
        "digest": "0" * 64,
    }
    return Rehearsal(**(values | changes))
