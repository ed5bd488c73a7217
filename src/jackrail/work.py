"""Everything made on the way from a tune to a roll, in one value: what the report shows and `perform` writes."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.advise.gains import Gain, gains_of
from jackrail.board.memory import Memory, memory_findings, memory_of
from jackrail.checks.current import Trace, current_findings, current_traces
from jackrail.checks.fitting import fit_findings, tune_findings
from jackrail.checks.machine import machine_findings
from jackrail.checks.timing import Move, hold_findings, late_findings, moves_of, tight_findings
from jackrail.checks.wishes import wish_findings
from jackrail.cues.model import Cue
from jackrail.cues.plan import plan_cues
from jackrail.faults import BadInput, Fault
from jackrail.findings import Finding
from jackrail.machine.machine import Machine
from jackrail.motion.ensemble import Ensemble, make_ensemble
from jackrail.performance import Comparison, Performance, compare
from jackrail.roll.dry_run import play_on_paper
from jackrail.roll.guard import guard_findings
from jackrail.roll.machine_block import Numbering, numbering_of, pack_machine
from jackrail.roll.roll import Roll, pack_roll, ticks_of, to_board, unpack_roll
from jackrail.setting.expected import expected_performance
from jackrail.setting.fit import arrange, trade_off
from jackrail.setting.front import Front
from jackrail.setting.model import Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Tune

LONGEST_S = 3600.0
"""Longest performance: an hour of sound is 318 MB."""


@dataclass(frozen=True)
class Work:
    """One tune on one machine, from the notes to the bytes.

    tune: as it is to be played, with the small notes and the chords that were wished for or proposed. moves: tightest first;
    comparison: roll against setting.
    """

    machine: Machine
    tune: Tune
    ensemble: Ensemble
    setting: Setting
    performance: Performance
    cues: tuple[Cue, ...]
    numbering: Numbering
    machine_block: bytes
    roll_block: bytes
    roll: Roll
    comparison: Comparison
    moves: tuple[Move, ...]
    traces: tuple[Trace, ...]
    memory: Memory
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Alternatives:
    """What could be had instead of a setting: other points of the trade-off, and what changes to the machine would gain, the most first."""

    front: Front
    gains: tuple[Gain, ...] = ()


def alternatives_of(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> Alternatives:
    """What could be had instead for a tune as it was read; second strings take too long here. Raises BadInput like `do_work`."""
    ensemble = make_ensemble(machine.instrument, machine.mechanism)
    return Alternatives(trade_off(tune, ensemble.voices, wishes), gains_of(machine, tune, wishes, strings=False))


def do_work(machine: Machine, tune: Tune, wishes: Wishes | None = None) -> Work:
    """Fit, plan, pack, unpack and judge. Raises BadInput for wishes, ramps or tunes that cannot be used."""
    wishes = wishes or Wishes()
    ensemble = make_ensemble(machine.instrument, machine.mechanism)
    tune, setting = arrange(tune, ensemble.voices, machine.name, wishes)
    performance = expected_performance(setting, ensemble)
    if performance.end_s > LONGEST_S:
        hint = "play it faster, or fewer of its repeats"
        raise BadInput(Fault("range", "the tune lasts too long", tune.title, f"{performance.end_s:.0f} s", f"{LONGEST_S:.0f} s", hint))
    cues = plan_cues(setting, ensemble)
    numbering = numbering_of(ensemble)
    machine_block = pack_machine(ensemble, machine.board)
    roll_block = pack_roll(to_board(cues, numbering), tune.title, ticks_of(performance.end_s), machine_block)
    roll = unpack_roll(roll_block, machine_block)
    comparison = compare(performance, play_on_paper(roll, numbering, ensemble))
    moves = moves_of(setting, ensemble, tune, wishes.weights.least_ring_s)
    traces = current_traces(cues, ensemble, machine.board, machine.supply, performance.end_s)
    memory = memory_of(machine.board, machine_block, roll_block)
    findings = [
        *tune_findings(tune, setting),
        *machine_findings(ensemble, machine.supply),
        *fit_findings(setting, tune),
        *wish_findings(wishes, ensemble.voices),
        *late_findings(comparison),
        *guard_findings(roll, numbering, ensemble),
        *tight_findings(moves),
        *hold_findings(cues, ensemble),
        *current_findings(traces),
        *memory_findings(memory),
    ]
    return Work(
        machine=machine,
        tune=tune,
        ensemble=ensemble,
        setting=setting,
        performance=performance,
        cues=cues,
        numbering=numbering,
        machine_block=machine_block,
        roll_block=roll_block,
        roll=roll,
        comparison=comparison,
        moves=tuple(moves),
        traces=traces,
        memory=memory,
        findings=tuple(findings),
    )
