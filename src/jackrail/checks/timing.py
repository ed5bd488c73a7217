"""Findings about time: moves with little to spare, sounds that would miss their beat, coils held to their limit."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.cues.model import Cue
from jackrail.findings import Finding, count
from jackrail.motion.ensemble import Ensemble
from jackrail.performance import Comparison
from jackrail.setting.model import Setting
from jackrail.tune.model import Tune

TIGHT_S = 0.01
LATE_S = 0.0005
"""A planned onset may be off by this much, which roll rounding never reaches; people notice 6 ms (Friberg & Sundberg)."""
OFF_CENTS = 1.0


@dataclass(frozen=True)
class Move:
    """A change of place by a voice. spare_s: how much later it could have left, beyond the least ringing time."""

    place: str
    onset_s: float
    voice: str
    origin: str
    target: str
    takes_s: float
    spare_s: float


def moves_of(setting: Setting, ensemble: Ensemble, tune: Tune, least_ring_s: float) -> list[Move]:
    """All moves of a setting, the tightest first. One from a small note into its main note is none: such a slide takes what it needs."""
    following: dict[int, int] = {}
    moves = []
    for number in range(len(setting.notes) - 1, -1, -1):
        note = setting.notes[number]
        if note.voice in following:
            after = setting.notes[following[note.voice]]
            if after.place != note.place and not (after.slid and note.ornamental):
                voice = ensemble.voices[note.voice]
                takes_s = (voice.slide_s if after.slid else voice.move_s)[note.place][after.place]
                spare_s = after.onset_s - takes_s - (note.again_s or (note.onset_s,))[-1] - least_ring_s
                names = voice.places[note.place].name, voice.places[after.place].name
                moves.append(Move(tune.place(tune.notes[after.index].onset_q), after.onset_s, voice.id, *names, takes_s, spare_s))
        following[note.voice] = number
    return sorted(moves, key=lambda move: move.spare_s)


def tight_findings(moves: list[Move]) -> list[Finding]:
    """One note naming the tightest move, when it has less than 10 ms to spare."""
    tight = [move for move in moves if move.spare_s < TIGHT_S]
    if not tight:
        return []
    worst = tight[0]
    takes = f"takes {1000 * worst.takes_s:.0f} ms and has {max(0.0, 1000 * worst.spare_s):.1f} ms to spare"
    text = f"{worst.voice}: {worst.origin} to {worst.target} {takes}"
    more = f"; {len(tight)} moves have less than {1000 * TIGHT_S:.0f} ms" if len(tight) > 1 else ""
    return [Finding("time.tight", "note", worst.place, text + more, round(1000 * worst.spare_s, 3), 1000 * TIGHT_S, "ms")]


def late_findings(comparison: Comparison) -> list[Finding]:
    """An error for the first sound that the packed roll would not make on its beat and at its pitch."""
    wrong = [
        d
        for d in comparison.differences
        if d.late_s is None or abs(d.late_s) > LATE_S or (d.sharp_cents is not None and abs(d.sharp_cents) > OFF_CENTS)
    ]
    if not wrong and not comparison.extra:
        return []
    if not wrong:
        at_s, voice = comparison.extra[0]
        text = f"{count(len(comparison.extra), 'sound')} that no one asked for, first by {voice} at {at_s:.3f} s"
        return [
            Finding(
                "time.late",
                "error",
                f"{at_s:.3f} s",
                text,
                len(comparison.extra),
                0,
                "sounds",
                "this is a fault of the program: please report it",
            )
        ]
    first = wrong[0]
    what = "does not sound" if first.late_s is None else f"sounds {1000 * first.late_s:+.2f} ms and {first.sharp_cents or 0:+.1f} cents off"
    text = f"{count(len(wrong), 'sound')} would miss, first {first.voice} at {first.onset_s:.3f} s, which {what}"
    return [
        Finding(
            "time.late",
            "error",
            f"{first.onset_s:.3f} s",
            text,
            len(wrong),
            0,
            "sounds",
            "this is a fault of the program: please report it",
        )
    ]


def hold_findings(cues: tuple[Cue, ...], ensemble: Ensemble) -> list[Finding]:
    """A warning for each coil that had to be let go because it may not be on any longer."""
    since: dict[str, float] = {}
    times: dict[str, int] = {}
    for cue in cues:
        if cue.action == "hold":
            since[cue.device] = cue.time_s
        elif cue.action == "release":
            held_s = cue.time_s - since[cue.device]
            if held_s >= ensemble.mechanism.coil(cue.device).max_on_s - 1e-9:
                times[cue.device] = times.get(cue.device, 0) + 1
    return [
        Finding(
            "coil.held-long",
            "warning",
            f"mechanism.coils.{coil}",
            f"let go {count(many, 'time')} at its limit of {ensemble.mechanism.coil(coil).max_on_s:g} s, before its note was over",
            many,
            0,
            "times",
            "a coil that bears longer holding, or a faster tempo",
        )
        for coil, many in times.items()
    ]


def busiest_second(cues: tuple[Cue, ...]) -> tuple[float, int]:
    """When the busiest second starts and how many cues fall in it; (0, 0) without cues."""
    best, first = (0.0, 0), 0
    for last, cue in enumerate(cues):
        while cue.time_s - cues[first].time_s > 1.0:
            first += 1
        if last - first + 1 > best[1]:
            best = (cues[first].time_s, last - first + 1)
    return best
