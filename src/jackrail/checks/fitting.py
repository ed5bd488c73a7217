"""Findings about a setting: what the fit gave up, in numbers."""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.findings import WHOLE_TUNE, Finding, count
from jackrail.setting.losses import played_instead
from jackrail.setting.melody import melody_kept, melody_of
from jackrail.setting.model import Loss, LossKind, Setting
from jackrail.setting.naming import chords_named
from jackrail.tune.model import Tune

_SOURCES = {"proposed": "proposed from the machine's chord bars", "estimated": "told from the file's accompaniment"}
_MELODY_ALONE = "--line top reads the melody alone"
_NOT_THERE = "no voice has"
"""How the reasons begin that have nothing to do with time."""


def tune_findings(tune: Tune, setting: Setting) -> list[Finding]:
    """One finding for each warning and remark of the reader, and one for chords that nobody wrote. tune: as it is played."""
    findings = [Finding("tune.reading", "warning", WHOLE_TUNE, warning) for warning in tune.warnings]
    findings += [Finding("tune.reading", "note", WHOLE_TUNE, remark) for remark in tune.remarks]
    if tune.harmony in _SOURCES:
        many = sum(not chord.silent for chord in tune.chords)
        was = "was" if many == 1 else "were"
        text = f"no chords were written: {many} {was} {_SOURCES[tune.harmony]} ({chords_named(tune, setting)})"
        advice = "write your own into the tune, or ask for --harmony written to go without"
        findings.append(Finding("tune.harmony", "note", WHOLE_TUNE, text, advice=advice))
    return findings


def fit_findings(setting: Setting, tune: Tune) -> list[Finding]:
    """What was given up. Only a tune with nothing left is an error: the rest is the maker's to judge. tune: as it is played."""
    return [*_notes(setting, tune), *_chords(setting), *_search(setting)]


def _notes(setting: Setting, tune: Tune) -> Iterator[Finding]:
    lost = setting.notes_total - setting.notes_kept
    if setting.notes_kept == 0:
        text = "not one note of the tune can be played by this machine"
        advice = "choose another tune or key, or give the machine more stops"
        yield Finding("fit.nothing-left", "error", WHOLE_TUNE, text, 0, 1, "notes", advice)
    elif lost:
        kept, melody = melody_kept(setting, tune)
        which = f"{lost} of {count(setting.notes_total, 'note')} left out"
        which += f", {melody - kept or 'none'} of them of the melody" if melody < setting.notes_total else ""
        text = f"{which}, first at {_first(setting, 'note-lost')}"
        yield Finding("fit.notes-lost", "warning", WHOLE_TUNE, text, lost, 0, "notes", what_helps(setting, tune))
    if setting.notes_folded:
        text = f"{count(setting.notes_folded, 'note')} played in another octave, first at {_first(setting, 'note-folded')}"
        yield Finding("fit.notes-folded", "note", WHOLE_TUNE, text, setting.notes_folded, 0, "notes")
    small_lost = setting.small_total - setting.small_kept
    if small_lost:
        text = f"{small_lost} of {count(setting.small_total, 'small note')} left out, first at {_first(setting, 'small-lost')}"
        yield Finding("fit.small-lost", "note", WHOLE_TUNE, text, small_lost, 0, "notes")


def what_helps(setting: Setting, tune: Tune) -> str:
    """What would help against notes left out, by what stood in their way; "" where none were."""
    return "; ".join(_helps(setting, tune))


def _helps(setting: Setting, tune: Tune) -> Iterator[str]:
    melody, losses = melody_of(tune), [loss for loss in setting.losses if loss.kind == "note-lost"]
    if any(loss.index not in melody and not _absent(loss) for loss in losses):
        yield _MELODY_ALONE
    if any(loss.index in melody and not _absent(loss) for loss in losses):
        yield "--tempo asks for a slower one"
    if any(_absent(loss) for loss in losses):
        yield "a stop, a fret or a hammer for what no voice has would help"


def _absent(loss: Loss) -> bool:
    return loss.reason.startswith(_NOT_THERE) and ";" not in loss.reason


def _chords(setting: Setting) -> Iterator[Finding]:
    lost = setting.chords_total - setting.chords_kept
    if lost:
        text = f"{lost} of {count(setting.chords_total, 'chord')} left out, first at {_first(setting, 'chord-lost')}"
        reasons = {loss.reason for loss in setting.losses if loss.kind == "chord-lost"}
        advice = "--tempo asks for a slower one"
        if "this machine has no chord bars" in reasons:
            advice = "--harmony none goes without chords"
        elif any(reason.startswith("no chord bar") for reason in reasons):
            advice = "a chord bar for them would help"
        yield Finding("fit.chords-lost", "warning", WHOLE_TUNE, text, lost, 0, "chords", advice)
    changed = sum(loss.kind == "chord-changed" for loss in setting.losses)
    if changed:
        text = f"{count(changed, 'chord')} played {played_instead(setting.losses)}, first at {_first(setting, 'chord-changed')}"
        yield Finding("fit.chords-changed", "note", WHOLE_TUNE, text, changed, 0, "chords")


def _search(setting: Setting) -> Iterator[Finding]:
    if setting.tempo_factor < 1 - 1e-9:
        share, factor = f"{100 * setting.tempo_factor:.0f} % of the written tempo", round(setting.tempo_factor, 4)
        text = f"played at {count(round(setting.quarters_per_minute), 'quarter note')} a minute, {share}"
        advice = "--tempo 100% asks for the written tempo, at which more may be left out"
        yield Finding("fit.slower", "note", WHOLE_TUNE, text, factor, 1, "of the written tempo", advice)
    if not setting.optimal and setting.point is None:
        advice = "--key and --tempo leave less to be searched"
        yield Finding(
            "fit.not-proven",
            "note",
            WHOLE_TUNE,
            "a better setting may exist: the search was cut short, or ornaments that could not be whole were set aside on the way",
            advice=advice,
        )


def _first(setting: Setting, kind: LossKind) -> str:
    return next((loss.place for loss in setting.losses if loss.kind == kind), "its start")
