"""Findings about a rehearsal: what was heard beside what was expected, how it ended, what the rails bore."""

from __future__ import annotations

import math
from collections.abc import Iterator

from jackrail.board.reasons import NO_ADVICE, REASON_BY_CODE
from jackrail.findings import Finding, Severity, count
from jackrail.performance import Difference
from jackrail.rehearsal.model import RailTrace, Rehearsal

LATE_S = 0.0005
NOTICED_S = 0.006
"""People notice a tone of an even row that is displaced by 6 ms (Friberg & Sundberg 1995, check value G25)."""
OFF_CENTS = 5.0
NOTICED_CENTS = 10.0
"""What amateurs notice in a melody (Hill & Summers 2007, check value G24)."""
UNEVEN_DB = 1.0
"""The least change of level that people notice is about 1 dB (Zwicker & Fastl, Psychoacoustics, from memory)."""
WRONG_DB = 3.0
"""Half the power: soft and loud are no longer what was set (a judgement)."""


def rehearsal_findings(rehearsal: Rehearsal) -> list[Finding]:
    """What a rehearsal shows that should not be; nothing when it went as planned."""
    found = [*_ending(rehearsal), *_slips(rehearsal), *_sounds(rehearsal), *_counters(rehearsal)]
    for rail in rehearsal.rails:
        found += _supply(rail)
    return found


NO_REHEARSAL = "there was no rehearsal: "


def skipped_finding(why: str) -> Finding:
    """That there was no rehearsal, and why."""
    return Finding("heard.skipped", "note", "rehearsal", NO_REHEARSAL + why)


def _ending(rehearsal: Rehearsal) -> Iterator[Finding]:
    if not rehearsal.finished:
        told = [one for one in rehearsal.notices if one.what.startswith(("stopped", "started"))]
        at_s = next((one.at_s for one in reversed(told) if one.at_s is not None), None)
        place = "rehearsal" if at_s is None else f"{at_s:.3f} s"
        device = next((f" ({one.device})" for one in reversed(told) if one.device), "")
        text = f"the board did not play to the end: {rehearsal.ended}{device}"
        yield Finding("heard.stopped", "error", place, text, advice=_advice(rehearsal.reason))
    for text in rehearsal.unsafe:
        yield Finding("heard.unsafe", "error", "rehearsal", f"not safe: {text}", advice="do not run this on the machine")


def _advice(code: int | None) -> str:
    """The board's own advice for a reason, where it has one."""
    known = REASON_BY_CODE.get(code) if code is not None else None
    return known.advice if known and known.advice != NO_ADVICE else "see the board's reasons in docs/SPEC-link.md"


def _slips(rehearsal: Rehearsal) -> Iterator[Finding]:
    """One for each motor, naming the first time."""
    for motor in dict.fromkeys(one.motor for one in rehearsal.slips):
        first, *more = [one for one in rehearsal.slips if one.motor == motor]
        again = f", and {count(len(more), 'more time')}" if more else ""
        text = f"the motor {motor} lost {count(round(abs(first.steps)), 'full step')} in the model{again}"
        advice = "lower its acceleration or its speed, or free what it moves"
        yield Finding("heard.slipped", "error", f"{first.at_s:.3f} s", text, round(first.steps, 1), 0, "steps", advice)


def _sounds(rehearsal: Rehearsal) -> Iterator[Finding]:
    comparison = rehearsal.comparison
    if comparison.missing:
        first = comparison.missing[0]
        was = "was" if len(comparison.missing) == 1 else "were"
        expected = count(len(comparison.differences), "sound")
        text = f"{len(comparison.missing)} of {expected} {was} not heard, the first of {first.voice}"
        yield Finding("heard.missing", "error", f"{first.onset_s:.3f} s", text, len(comparison.missing), 0, "sounds")
    if comparison.extra:
        onset_s, voice = comparison.extra[0]
        was = "was" if len(comparison.extra) == 1 else "were"
        text = f"{count(len(comparison.extra), 'sound')} {was} heard that nobody asked for, the first of {voice}"
        yield Finding("heard.extra", "warning", f"{onset_s:.3f} s", text, len(comparison.extra), 0, "sounds")
    heard = [one for one in comparison.differences if one.late_s is not None and one.sharp_cents is not None]
    if heard:
        yield from _late(max(heard, key=lambda one: abs(one.late_s or 0.0)))
        yield from _off(max(heard, key=lambda one: abs(one.sharp_cents or 0.0)))
        soft = {one.voice for one in comparison.differences if one.strength < 1}
        if touched := [one for one in heard if one.voice in soft]:
            yield from _uneven(max(touched, key=lambda one: abs(_louder_db(one))))


def _late(worst: Difference) -> Iterator[Finding]:
    off_s = worst.late_s or 0.0
    if abs(off_s) > LATE_S:
        word, limit = "late" if off_s > 0 else "early", 1000 * LATE_S
        text = f"{worst.voice} sounds {1000 * abs(off_s):.1f} ms {word}"
        yield Finding("heard.late", _severity(abs(off_s), NOTICED_S), f"{worst.onset_s:.3f} s", text, round(1000 * off_s, 3), limit, "ms")


def _off(worst: Difference) -> Iterator[Finding]:
    off = worst.sharp_cents or 0.0
    if abs(off) > OFF_CENTS:
        text = f"{worst.voice} sounds {abs(off):.0f} cents {'sharp' if off > 0 else 'flat'} of what was expected"
        yield Finding("heard.pitch", _severity(abs(off), NOTICED_CENTS), f"{worst.onset_s:.3f} s", text, round(off, 1), OFF_CENTS, "cents")


def _louder_db(one: Difference) -> float:
    """By how much a sound was heard louder than expected, in dB."""
    return 20 * math.log10(max(one.heard_strength, 1e-3) / max(one.strength, 1e-3))


def _uneven(worst: Difference) -> Iterator[Finding]:
    off_db = _louder_db(worst)
    if abs(off_db) > UNEVEN_DB:
        text = f"{worst.voice} sounds {abs(off_db):.1f} dB {'louder' if off_db > 0 else 'softer'} than it was to strike"
        severity, advice = _severity(abs(off_db), WRONG_DB), "measure its touches again, and what its rail gives"
        yield Finding("heard.strength", severity, f"{worst.onset_s:.3f} s", text, round(off_db, 1), UNEVEN_DB, "dB", advice)


def _severity(value: float, noticed: float) -> Severity:
    return "error" if value > noticed else "warning"


def _counters(rehearsal: Rehearsal) -> Iterator[Finding]:
    status = rehearsal.status
    for missed, what in ((status.index_missed, "turns of a pick"), (status.detent_missed, "arrivals at a stop")) if status else ():
        if missed:
            text = f"not confirmed by their switch: {missed} of the {what}"
            yield Finding("heard.missed", "warning", "rehearsal", text, missed, 0, "moves", "see board.on_mismatch in docs/formats.md")
    if status and status.late:
        was = "was" if status.late == 1 else "were"
        yield Finding("heard.missed", "warning", "rehearsal", f"{count(status.late, 'cue')} {was} carried out late", status.late, 0, "cues")
    if status and status.overruns:
        text = f"{count(status.overruns, 'byte')} from the line came faster than the board took them"
        yield Finding("heard.missed", "warning", "rehearsal", text, status.overruns, 0, "bytes")


def _supply(rail: RailTrace) -> Iterator[Finding]:
    if rail.needed_v and 0 < rail.lowest_v < rail.needed_v:
        text = f"rail {rail.rail} falls to {rail.lowest_v:.1f} V, and its motor drivers need {rail.needed_v:g} V"
        advice = "use a stronger supply, or shorter and thicker wires"
        yield Finding("heard.supply", "error", f"supply.rails.{rail.rail}", text, round(rail.lowest_v, 2), rail.needed_v, "V", advice)
    if rail.limit_a and rail.highest_a > rail.limit_a:
        text = f"rail {rail.rail} would have to give {rail.highest_a:.2f} A, and can give {rail.limit_a:g} A"
        advice = "use a stronger supply, or let fewer things work at once"
        yield Finding("heard.supply", "error", f"supply.rails.{rail.rail}", text, round(rail.highest_a, 2), rail.limit_a, "A", advice)
