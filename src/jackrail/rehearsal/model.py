"""A rehearsal as a value: what was heard, what the board noticed, how it ended."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from jackrail.board.messages import Status
from jackrail.board.reasons import REASON_BY_CODE
from jackrail.machine.machine import Machine
from jackrail.performance import Comparison, Performance
from jackrail.roll.machine_block import Numbering

if TYPE_CHECKING:  # the api names these values before anything heavy is needed
    from numpy.typing import NDArray

NONE, FINISHED = 0, 1


@dataclass(frozen=True)
class Piece:
    """What is to be rehearsed: the blocks that are flashed, the machine they are for, what is expected to sound.

    numbering: names of the axes and coils that the board tells by number.
    """

    machine: Machine
    machine_block: bytes
    roll_block: bytes
    numbering: Numbering
    expected: Performance


@dataclass(frozen=True)
class Notice:
    """Something the board told. at_s: from time zero of play, None before or unknown; device: id it concerns, "" for none."""

    what: str
    device: str = ""
    at_s: float | None = None


@dataclass(frozen=True)
class Slip:
    """A motor that lost steps: full steps, commanded less made, found at the end of a move, in seconds from time zero."""

    motor: str
    at_s: float
    steps: float


@dataclass(frozen=True)
class RailTrace:
    """One rail over the rehearsal, by the plant's current model: seconds from time zero, volts, amperes.

    needed_v: the highest minimum of the motor drivers on it, 0 for none. limit_a: what it can give, 0 when unknown.
    """

    rail: str
    time_s: NDArray[Any] = field(repr=False)
    voltage_v: NDArray[Any] = field(repr=False)
    current_a: NDArray[Any] = field(repr=False)
    needed_v: float = 0.0
    limit_a: float = 0.0

    @property
    def lowest_v(self) -> float:
        """Lowest voltage, 0 for no samples."""
        return float(self.voltage_v.min()) if len(self.voltage_v) else 0.0

    @property
    def highest_a(self) -> float:
        """Highest current (mean of a millisecond), 0 for no samples."""
        return float(self.current_a.max()) if len(self.current_a) else 0.0


@dataclass(frozen=True)
class Rehearsal:
    """One run of the flash image on the emulated board, wired to the plant of the machine.

    heard: what sounded; comparison: that beside what was expected. reason: code of why it ended (board/reasons.py), None when
    the board did not say. notices: what it told on the way. unsafe: what was not off, still and where the board believes it
    at the end, nothing when all is well. injected: mishaps that were made to happen. status: the board's counters, None when
    it never answered. edges, inputs, marks: every change of an output pin and of an input (cycle, pin, level), every mark of
    the board (cycle, place, value); zero_cycle: time zero of play. trouble: what ended the emulated chip itself,
    "" for nothing. digest: SHA-256 of the image. slips: moves after which a motor stood elsewhere than its steps say, which
    only the plant knows.
    """

    heard: Performance
    comparison: Comparison
    reason: int | None
    notices: tuple[Notice, ...]
    unsafe: tuple[str, ...]
    injected: tuple[str, ...]
    status: Status | None
    rails: tuple[RailTrace, ...]
    edges: NDArray[Any] = field(repr=False)
    inputs: NDArray[Any] = field(repr=False)
    marks: NDArray[Any] = field(repr=False)
    zero_cycle: int | None
    ran_s: float
    stack_free_b: int
    digest: str
    trouble: str = ""
    slips: tuple[Slip, ...] = ()

    @property
    def finished(self) -> bool:
        """Whether the tune was played to its end."""
        return self.reason == FINISHED

    @property
    def ended(self) -> str:
        """Why it ended, in the board's word."""
        known = REASON_BY_CODE.get(self.reason) if self.reason is not None else None
        if self.trouble:
            return f"trouble: {self.trouble}"
        if known is None:
            return "no answer"
        return "started anew" if known.code == NONE else known.word

    def to_json(self) -> dict[str, object]:
        """The stable JSON of rehearsal.json, see docs/formats.md."""
        comparison, status = self.comparison, self.status
        return {
            "ended": self.ended,
            "finished": self.finished,
            "injected": list(self.injected),
            "notices": [
                {"what": one.what, "device": one.device, "at_s": None if one.at_s is None else round(one.at_s, 3)} for one in self.notices
            ],
            "unsafe": list(self.unsafe),
            "slips": [{"motor": one.motor, "at_s": round(one.at_s, 3), "steps": round(one.steps, 1)} for one in self.slips],
            "expected": len(comparison.differences),
            "missing": len(comparison.missing),
            "extra": len(comparison.extra),
            "worst_late_s": round(comparison.worst_late_s, 7),
            "worst_cents": round(comparison.worst_cents, 3),
            "counters": None
            if status is None
            else {name: getattr(status, name) for name in ("late", "index_missed", "detent_missed", "rehomed", "bad_frames", "overruns")},
            "rails": [
                {
                    "rail": r.rail,
                    "lowest_v": round(r.lowest_v, 2),
                    "highest_a": round(r.highest_a, 3),
                    "needed_v": r.needed_v,
                    "limit_a": r.limit_a,
                }
                for r in self.rails
            ],
            "ran_s": round(self.ran_s, 3),
            "stack_free_b": self.stack_free_b,
            "image_sha256": self.digest,
            "heard": self.heard.to_json(),
        }
