"""Findings: judgements on healthy input, the one type that every check returns.

Codes are `subject.word`. The catalogue below is the whole list; a test holds one input for each that rings it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

Severity = Literal["note", "warning", "error"]
WHOLE_TUNE = "the tune"
"""The place of a finding about a tune as a whole."""

FINDING_CODES: dict[str, str] = {
    "tune.reading": "the reader did something with the notation that you should know",
    "tune.harmony": "the tune has no chords written, and some were proposed or told from its accompaniment",
    "fit.notes-lost": "notes of the tune that the machine will not play",
    "fit.notes-folded": "notes moved by one or more octaves",
    "fit.small-lost": "small notes of ornaments that the machine will not play",
    "fit.chords-changed": "chord symbols played as a nearby chord",
    "fit.chords-lost": "chord symbols that the machine will not play",
    "fit.slower": "the tune is played slower than written",
    "fit.nothing-left": "no note of the melody is left",
    "fit.not-proven": "the setting is good but not proven to be the best",
    "fit.wish-unmet": "a manner of playing was wished for that no voice of the machine has",
    "time.tight": "a move that arrives with little time to spare",
    "time.late": "a note whose cues would sound it away from its beat",
    "roll.coil": "the packed roll would leave a coil on, switch it on twice, or keep it on for too long",
    "roll.motion": "the packed roll would move a motor before it is done, or pluck a string while its bar is not still",
    "roll.queue": "more commands at about one time than the board can hold",
    "coil.duty": "a coil on so long and so often that the board would stop to spare it",
    "coil.pulse-short": "a coil is switched off again before its plunger can have arrived",
    "coil.held-long": "a coil let go before its note is over, because it may be on no longer",
    "power.rail-over": "more current drawn from a rail than it can give",
    "power.rail-near": "current drawn from a rail comes near what it can give",
    "power.driver-low": "a motor driver is fed with less than its minimum voltage",
    "memory.full": "the packed tune does not fit in the board's flash",
    "memory.near": "the packed tune nearly fills the board's flash",
    "heard.missing": "sounds of the setting that the rehearsal did not hear",
    "heard.extra": "sounds that the rehearsal heard and nobody asked for",
    "heard.late": "a sound that the rehearsal heard away from its moment",
    "heard.pitch": "a note that the rehearsal heard away from its pitch",
    "heard.strength": "a hammer that can strike softly heard louder or softer than it was to strike",
    "heard.slipped": "a motor that lost steps in the model of the machine",
    "heard.stopped": "the board of the rehearsal did not play to the end",
    "heard.unsafe": "something was on, or moving, that must not be when the rehearsal ended",
    "heard.missed": "moves that a switch did not confirm, or cues that came late, in the rehearsal",
    "heard.supply": "the supply falls below what the motor drivers need, or would have to give more than it can, in the rehearsal",
    "heard.skipped": "there was no rehearsal",
    "chord.strings": "the strings under a chord bar do not make the chord it is named for",
    "stop.off-pitch": "a stop stands where it does not give a note of the scale",
}


@dataclass(frozen=True)
class Finding:
    """One judgement.

    code: key of `FINDING_CODES`. severity: "error" makes `perform` exit with 1. place: bar and beat, path in the
    machine file, or `WHOLE_TUNE`. value, limit: numbers in `unit`, None when they do not apply. advice: what to do about it.
    """

    code: str
    severity: Severity
    place: str
    message: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    advice: str = ""

    def __post_init__(self) -> None:
        if self.code not in FINDING_CODES:
            raise KeyError(f"no finding code {self.code!r}: add it to FINDING_CODES")

    def to_json(self) -> dict[str, object]:
        """The finding as plain JSON types, keys in the order above."""
        return asdict(self)


def count(number: int, noun: str) -> str:
    """A number with its noun: "1 note", "2 notes"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def worst(findings: Iterable[Finding]) -> Severity | None:
    """The highest severity present, or None for no findings."""
    present = {finding.severity for finding in findings}
    ranking: tuple[Severity, ...] = ("error", "warning", "note")
    return next((severity for severity in ranking if severity in present), None)
