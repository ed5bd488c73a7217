"""Findings about a setting: what the fit gave up, in numbers."""

from __future__ import annotations

from jackrail.findings import Finding
from jackrail.setting.model import LossKind, Setting
from jackrail.tune.model import Tune


def tune_findings(tune: Tune) -> list[Finding]:
    """One finding for each warning of the reader, and one for chords that nobody wrote."""
    findings = [Finding("tune.reading", "warning", tune.title, warning) for warning in tune.warnings]
    findings += [Finding("tune.reading", "note", tune.title, remark) for remark in tune.remarks]
    if tune.harmony == "proposed":
        names = [chord.symbol for chord in tune.chords if not chord.silent]
        text = f"no chords were written: {len(names)} were proposed from the machine's chord bars ({' '.join(dict.fromkeys(names))})"
        advice = "write your own into the tune, or ask for --harmony written to go without"
        findings.append(Finding("tune.harmony", "note", tune.title, text, advice=advice))
    return findings


def fit_findings(setting: Setting) -> list[Finding]:
    """What was given up. Only a tune with nothing left is an error: the rest is the maker's to judge."""
    lost = setting.notes_total - setting.notes_kept
    findings = []
    if setting.notes_kept == 0:
        text = "not one note of the melody can be played by this machine"
        findings.append(
            Finding("fit.nothing-left", "error", setting.title, text, 0, 1, "notes", "choose another tune, or give the machine more stops")
        )
    elif lost:
        text = f"{lost} of {setting.notes_total} notes left out, first at {_first(setting, 'note-lost')}"
        findings.append(
            Finding(
                "fit.notes-lost",
                "warning",
                setting.title,
                text,
                lost,
                0,
                "notes",
                "the losses say what stood in the way; --tempo asks for a slower one",
            )
        )
    if setting.notes_folded:
        text = f"{setting.notes_folded} notes played in another octave, first at {_first(setting, 'note-folded')}"
        findings.append(Finding("fit.notes-folded", "note", setting.title, text, setting.notes_folded, 0, "notes"))
    small_lost = setting.small_total - setting.small_kept
    if small_lost:
        text = f"{small_lost} of {setting.small_total} small notes left out, first at {_first(setting, 'small-lost')}"
        findings.append(Finding("fit.small-lost", "note", setting.title, text, small_lost, 0, "notes"))
    chords_lost = setting.chords_total - setting.chords_kept
    if chords_lost:
        text = f"{chords_lost} of {setting.chords_total} chords left out, first at {_first(setting, 'chord-lost')}"
        findings.append(
            Finding("fit.chords-lost", "warning", setting.title, text, chords_lost, 0, "chords", "a chord bar for them would help")
        )
    changed = sum(loss.kind == "chord-changed" for loss in setting.losses)
    if changed:
        text = f"{changed} chords played as their plain triad, first at {_first(setting, 'chord-changed')}"
        findings.append(Finding("fit.chords-changed", "note", setting.title, text, changed, 0, "chords"))
    if setting.tempo_factor < 1 - 1e-9:
        text = (
            f"played at {setting.quarters_per_minute:.0f} quarter notes a minute, {100 * setting.tempo_factor:.0f} % of the written tempo"
        )
        findings.append(
            Finding(
                "fit.slower",
                "note",
                setting.title,
                text,
                round(setting.tempo_factor, 4),
                1,
                "of the written tempo",
                "the mechanism is slower than the tune",
            )
        )
    if not setting.optimal:
        text = "the search was cut short: a better setting may exist"
        findings.append(Finding("fit.not-proven", "note", setting.title, text))
    return findings


def _first(setting: Setting, kind: LossKind) -> str:
    return next((loss.place for loss in setting.losses if loss.kind == kind), "its start")
