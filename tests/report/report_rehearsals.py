"""Rehearsals made by hand for the report tests: what was heard is what was expected but for changes that a test makes."""

from dataclasses import replace

import numpy as np

from jackrail.board.messages import Status
from jackrail.performance import Performance, compare
from jackrail.rehearsal.model import Notice, RailTrace, Rehearsal

DIGEST = "0123456789ab" + 52 * "c"


def every_ms(length_s, before_s=1.0):
    """Seconds of samples a millisecond apart, from before time zero on."""
    return np.arange(-before_s, length_s, 0.001)


def steady(work, length_s=None):
    """The machine's rails at rest: nominal voltage, a tenth of an ampere, 9 V needed on the first."""
    time_s = every_ms(length_s or work.performance.end_s)
    return [
        RailTrace(rail.id, time_s, np.full(len(time_s), rail.voltage_v), np.full(len(time_s), 0.1), 0.0 if number else 9.0)
        for number, rail in enumerate(work.machine.supply.rails)
    ]


def rehearsal(work, change=lambda sound: sound, extra=(), **fields):
    """A rehearsal of a work. change: what became of each expected note or stroke, None for silence; extra: notes heard besides."""
    notes = [note for note in map(change, work.performance.notes) if note is not None]
    strokes = [stroke for stroke in map(change, work.performance.strokes) if stroke is not None]
    heard = Performance(tuple(sorted([*notes, *extra], key=lambda note: note.onset_s)), tuple(strokes), work.performance.end_s)
    end_s = work.performance.end_s
    usual = (Notice("homed"), Notice("playing", at_s=0.0), Notice("stopped: finished", at_s=end_s))
    status = Status(2, 1, 255, 0, 0, 0, 0, 0, 0, 0, (0, 0))
    made = Rehearsal(
        heard, compare(work.performance, heard), 1, usual, (), (), status, tuple(steady(work)), *3 * (np.empty(0),), 0, end_s, 700, DIGEST
    )
    return replace(made, **fields)


def later(seconds, of=lambda _: True):
    """A change: what `of` picks sounds so much later."""
    return lambda sound: replace(sound, onset_s=sound.onset_s + seconds) if of(sound) else sound


def silent(of):
    """A change: what `of` picks is not heard."""
    return lambda sound: None if of(sound) else sound
