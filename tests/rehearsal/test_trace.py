"""The waveform dump, read back by the library pyvcd, which is not ours."""

import io

import numpy as np
from emulated import needs_rig, quirk
from vcd.reader import TokenKind, tokenize

from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.rig import EDGES, MARKS, Rig
from jackrail.rehearsal.trace import pin_names, vcd
from workshop import machine


def read(text):
    """Seconds a unit, the width of each signal, and its changes: unit and value."""
    unit, names, widths, changes, now = None, {}, {}, {}, 0
    for token in tokenize(io.BytesIO(text.encode("ascii"))):
        match token.kind:
            case TokenKind.TIMESCALE:
                unit = token.timescale.magnitude, token.timescale.unit.value
            case TokenKind.VAR:
                names[token.var.id_code] = token.var.reference
                widths[token.var.reference] = token.var.size
            case TokenKind.CHANGE_TIME:
                now = token.time_change
            case TokenKind.CHANGE_SCALAR:
                changes.setdefault(names[token.scalar_change.id_code], []).append((now, token.scalar_change.value))
            case TokenKind.CHANGE_VECTOR:
                changes.setdefault(names[token.vector_change.id_code], []).append((now, token.vector_change.value))
    return unit, widths, changes


def test_a_dump_holds_every_change_at_its_time():
    # 16 MHz: cycle 1 is at 62.5 ns = 625 * 100 ps, cycle 16,000,000 at one second
    edges = np.array([(1, 9, 0), (5, 9, 1), (16_000_000, 33, 1), (16_000_000, 9, 2)], EDGES)
    inputs = np.array([(3, 14, 1)], EDGES)
    marks = np.array([(4, 0, 0x50), (6, 2, 255)], MARKS)
    unit, widths, changes = read(vcd(edges, {9: "carriage_step", 2: "1st coil-g"}, inputs=inputs, marks=marks))
    assert unit == (100, "ps")
    assert widths == {"carriage_step": 1, "_1st_coil_g": 1, "A0": 1, "S1": 1, "play": 8, "state": 8}
    assert changes["carriage_step"] == [(0, "z"), (625, "0"), (3125, "1"), (10**10, "z")]
    assert changes["S1"] == [(0, "z"), (10**10, "1")]
    assert changes["A0"] == [(0, "z"), (1875, "1")]
    assert changes["play"] == [(0, 0), (2500, 0x50)]
    assert changes["state"] == [(0, 0), (3750, 255)]
    assert changes["_1st_coil_g"] == [(0, "z")]


@needs_rig
def test_a_rehearsal_bears_the_names_of_the_machine():
    # machines/quay_zither.toml: D9 steps the carriage, A1 is its detent
    configuration = configure(machine("quay_zither"))
    with Rig(quirk("pins", "joined"), configuration) as rig:
        rig.run(0.95)
        at, levels = rig.edges_of(9)
        _, _, changes = read(vcd(rig.edges(), pin_names(configuration), inputs=rig.inputs(), marks=rig.marks()))
        assert changes["carriage_step"][1:] == [(int(cycle) * 625, str(level)) for cycle, level in zip(at, levels, strict=True)]
        assert changes["detent"][1][1] == "1"  # open
        assert changes["detent"][-1][1] == "0"  # then closed
