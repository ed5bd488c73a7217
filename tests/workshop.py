"""Machines and tunes for the tests: the examples as shipped, changed in one place, or made up at random."""

import os
import tomllib
from fractions import Fraction
from functools import cache
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.machine.load import load_machine, parse_machine
from jackrail.motion.ensemble import make_ensemble
from jackrail.tune.model import Bar, ChordSymbol, KeyMark, TempoMark, Tune, TuneNote

ROOT = Path(__file__).parent.parent
MACHINES = sorted((ROOT / "machines").glob("*.toml"))
MACHINE_NAMES = [path.stem for path in MACHINES]
EFFORT = int(os.environ.get("JACKRAIL_TEST_EFFORT", "1"))
"""1 tries the same few random inputs each time; 20 tries twenty times as many, others each time."""


def examples(count):
    """Settings of a property test that tries `count` inputs, or more when asked to."""
    return settings(max_examples=count * EFFORT, deadline=None)


def authority(name):
    """The rows of a table of outside values, by id, each with its origin."""
    rows = tomllib.loads((ROOT / "authorities" / f"{name}.toml").read_text(encoding="utf-8"))["values"]
    for row in rows:
        assert row["source"], f"{row['id']} names no source"
        assert row["how"] in ("seen", "memory", "derived"), f"{row['id']} says neither seen, memory nor derived"
    return {row["id"]: row for row in rows}


@cache
def machine(name):
    return load_machine(ROOT / "machines" / f"{name}.toml")


@cache
def ensemble(name):
    return make_ensemble(machine(name).instrument, machine(name).mechanism)


def machine_text(name, *changes):
    """The text of an example with (old, new) changes, each of which must find its old words."""
    text = (ROOT / "machines" / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{old!r} is not in {name}"
        text = text.replace(old, new)
    return text


def changed(name, *changes):
    """An example machine with (old, new) changes in its text."""
    return parse_machine(machine_text(name, *changes))


def faults_of(function, *arguments, **named):
    """All faults that a call raises, none when its input is healthy."""
    try:
        function(*arguments, **named)
    except BadInput as bad:
        return bad.faults
    return ()


def fault_codes(function, *arguments, **named):
    """The codes of the faults that a call raises, in order."""
    return [fault.code for fault in faults_of(function, *arguments, **named)]


def ensemble_of(some_machine):
    return make_ensemble(some_machine.instrument, some_machine.mechanism)


def tune(*notes, chords=(), tempo=120.0, bars=0, sharps=1, warnings=(), title="A made tune"):
    """A tune in 4/4 of (midi, quarters) notes one after the other; midi None is a rest. chords: (onset, symbol)."""
    at, made = Fraction(0), []
    for midi, quarters in notes:
        if midi is not None:
            made.append(TuneNote(at, Fraction(quarters), midi))
        at += Fraction(quarters)
    lines = tuple(Bar(Fraction(4 * n), Fraction(4), n + 1, 4, 4) for n in range(bars))
    symbols = tuple(ChordSymbol(Fraction(onset), symbol) for onset, symbol in chords)
    keys = (KeyMark(Fraction(0), sharps, "major"),) if sharps is not None else ()
    return Tune(title, tuple(made), symbols, (TempoMark(Fraction(0), tempo),), lines, keys, warnings=tuple(warnings))


_LENGTHS = [Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(3, 4), Fraction(1), Fraction(3, 2), Fraction(2), Fraction(7)]
_SYMBOLS = ["G", "C", "D", "Em", "Am", "D7", "Bm", "F#dim", "G/B"]


@st.composite
def tunes(draw, most_notes=24):
    """Any tune: leaps, repeated notes, rests, two notes at once, chords anywhere, slow and very fast."""
    keys = st.integers(50, 90)
    pitch = st.one_of(keys, st.none(), st.sampled_from([62, 64, 66, 67, 69, 71, 72, 74]))
    line = draw(st.lists(st.tuples(pitch, st.sampled_from(_LENGTHS)), min_size=1, max_size=most_notes))
    made = tune((draw(keys), Fraction(1)), *line, tempo=draw(st.sampled_from([40.0, 90.0, 120.0, 200.0, 320.0])))
    doubled = draw(st.lists(st.sampled_from(made.notes), max_size=4, unique=True))
    notes = sorted({*made.notes, *(TuneNote(n.onset_q, n.duration_q, n.midi - draw(st.integers(1, 12))) for n in doubled)}, key=_order)
    bars = int(made.end_q / 4) + 1
    onsets = sorted(draw(st.sets(st.integers(0, 4 * bars - 1).map(Fraction), max_size=8)))
    chords = tuple(ChordSymbol(onset, draw(st.sampled_from(_SYMBOLS))) for onset in onsets)
    lines = tuple(Bar(Fraction(4 * n), Fraction(4), n + 1, 4, 4) for n in range(bars))
    return Tune("Any", tuple(notes), chords, made.tempo, lines, made.keys)


def _order(note):
    return note.onset_q, note.midi
