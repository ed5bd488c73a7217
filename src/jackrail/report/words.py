"""Words: the sentences of the report, plain and short."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.checks.heard import NO_REHEARSAL
from jackrail.findings import Finding, count
from jackrail.machine.mechanism import TravellingStop
from jackrail.rehearsal.model import Rehearsal
from jackrail.setting.as_written import written_s
from jackrail.setting.losses import played_instead
from jackrail.setting.melody import among_them
from jackrail.setting.model import Setting
from jackrail.setting.naming import chords_named, interval, key_name
from jackrail.tune.model import Tune
from jackrail.work import LONGEST_S, Work


def verdict(work: Work) -> str:
    """One sentence: how much of the tune is played, how fast, in which key, and what is changed."""
    setting = work.setting
    if not setting.notes_kept:
        return f"Nothing is left: not one of the {count(setting.notes_total, 'note')} can be played on this machine."
    return "; ".join([f"{_kept(work)}, {tempo(work)}, {key(work)}", *_changes(work)]) + "."


def _kept(work: Work) -> str:
    kept, total = work.setting.notes_kept, work.setting.notes_total
    if kept == total:
        return "The one note" if total == 1 else f"All {total} notes"
    return f"{kept} of {total} notes{among_them(work.setting, work.tune)}"


def tempo(work: Work) -> str:
    """The tempo as a part of a sentence."""
    return work.setting.pace


def key(work: Work) -> str:
    """The key as a part of a sentence."""
    shift = work.setting.transpose_semitones
    if shift == 0:
        return "in the written key"
    if shift % 12 == 0:
        return f"in the written key, {interval(shift)} than written"
    name = key_name(work.tune, shift)
    return f"in {name} instead of {key_name(work.tune, 0)}" if name else f"{interval(shift)} than written"


def before(work: Work) -> str:
    """What the sound of the tune as written is, to compare with; "" where it would last too long to be made."""
    if written_s(work.tune) > LONGEST_S:
        return ""
    moved = ", in the key as played" if work.setting.transpose_semitones else ""
    has_bars = any(voice.part == "chord" for voice in work.ensemble.voices)
    silent = ", without its chords" if work.setting.chords_total and not has_bars else ""
    return f"Beside it the tune as written: every note, at the written tempo{moved}{silent}"


def _changes(work: Work) -> list[str]:
    setting = work.setting
    kinds = [loss.kind for loss in setting.losses]
    folded, changed, lost = kinds.count("note-folded"), kinds.count("chord-changed"), kinds.count("chord-lost")
    parts = []
    if setting.small_total:
        parts.append(f"{setting.small_kept} of {count(setting.small_total, 'small note')} {_is(setting.small_total)} played")
    if folded:
        parts.append(f"{count(folded, 'note')} {_is(folded)} played in another octave")
    if changed:
        parts.append(f"{count(changed, 'chord')} {_is(changed)} played {played_instead(setting.losses)}")
    if lost:
        which = f"all {lost} chords are" if lost == setting.chords_total > 1 else f"{count(lost, 'chord')} {_is(lost)}"
        parts.append(f"{which} left out")
    if setting.harmony in _NOT_WRITTEN:
        parts.append(f"the chords are {_NOT_WRITTEN[setting.harmony]}")
    return parts


def nothing_lost(work: Work) -> str:
    """What to say where nothing was given up."""
    if work.setting.harmony in _NOT_WRITTEN:
        return f"Nothing: every note is played as written. The chords are {_NOT_WRITTEN[work.setting.harmony]}."
    chords = " and every chord" if work.setting.chords_total else ""
    return f"Nothing: every note{chords} is played as written."


_NOT_WRITTEN = {
    "proposed": "proposed from the machine's chord bars, none were written",
    "estimated": "told from the file's accompaniment, none were written",
}


def _is(number: int) -> str:
    return "is" if number == 1 else "are"


def outlook(findings: Sequence[Finding]) -> str:
    """What findings amount to, in one sentence."""
    severities = [finding.severity for finding in findings]
    errors, warnings = severities.count("error"), severities.count("warning")
    if errors:
        return f"Do not play it yet: {count(errors, 'error')} among the findings must be put right first."
    if warnings:
        return f"It can be played; {count(warnings, 'warning')} among the findings should be read first."
    return "It can be played: no finding speaks against it."


def not_rehearsed(findings: Sequence[Finding]) -> str:
    """Why there was no rehearsal, in one sentence; findings: all there are, among them the reason unless none was asked for."""
    why = next((finding.message for finding in findings if finding.code == "heard.skipped"), "")
    return f"It was not rehearsed: {why.removeprefix(NO_REHEARSAL)}." if why else "It was not rehearsed: that was not asked for."


def names_differ(work: Work) -> str:
    """How the notes and chords of the table of losses are named; "" where written and sounding are the same."""
    shift = work.setting.transpose_semitones
    return f"Written: as in the file. Played, and the reasons: as it sounds, {interval(shift)}." if shift else ""


def rehearsal_words(rehearsal: Rehearsal, findings: Sequence[Finding]) -> str:
    """Whether a rehearsal went as planned, in one sentence; findings: about it."""
    comparison = rehearsal.comparison
    total, missing, extra = len(comparison.differences), len(comparison.missing), len(comparison.extra)
    exact = f"onsets within {1000 * comparison.worst_late_s:.2f} ms and pitches within {comparison.worst_cents:.1f} cents"
    start = f"Rehearsed on the emulated board with something made to fail ({', '.join(rehearsal.injected)})"
    if not rehearsal.injected:
        start = (
            "Rehearsed on the emulated board, as planned" if not findings else "The rehearsal on the emulated board did not go as planned"
        )
    parts = [f"all {count(total, 'sound')} heard" if not missing else f"{missing} of {count(total, 'sound')} not heard"]
    parts += [f"{extra} heard that nobody asked for"] if extra else []
    parts += [exact] if missing < total else []
    parts += ["the end as it should be"] if rehearsal.finished else [f"the end: {rehearsal.ended}"]
    parts += ["not safe in the end"] if rehearsal.unsafe else []
    return f"{start}: {', '.join(parts)}."


def how_played(work: Work) -> list[tuple[str, str]]:
    """Tempo, key, transposition and the like, each with its name."""
    setting, tune = work.setting, work.tune
    shift = setting.transpose_semitones
    tempo_words = f"{count(round(setting.quarters_per_minute), 'quarter note')} a minute"
    tempo_words += f", {100 * setting.tempo_factor:.0f} % of the written tempo"
    if len(tune.tempo) > 1:
        tempo_words += f" (at the start; {count(len(tune.tempo) - 1, 'change')} later)"
    bars = tune.bars
    metres = list(dict.fromkeys("free" if bar.free else bar.metre for bar in bars))
    return [
        ("Tune", tune.title),
        ("Machine", work.machine.name),
        ("Instrument", work.machine.instrument.kind or "not named"),
        ("Tempo", tempo_words),
        ("Metre", ", ".join(metres) or "none written"),
        ("Key", key_name(tune, shift) or "none written"),
        ("Chords", chords_in_words(tune, setting)),
        ("Transposed", f"{interval(shift)} than written" if shift else "no"),
        ("Tuned to", f"A4 at {work.machine.instrument.a4_hz:g} Hz"),
        ("Search", "proven: no setting gives up less" if setting.optimal else "not proven: a better setting may exist"),
    ]


def chords_in_words(tune: Tune, setting: Setting) -> str:
    """The chords of a tune, as they sound too where that differs, where they come from, and where one says that none is to sound."""
    names = chords_named(tune, setting)
    if not names:
        return "none"
    silences = [tune.place(chord.onset_q) for chord in tune.chords if chord.silent]
    more = f" and {len(silences) - 3} more" if len(silences) > 3 else ""
    silent = f"; none from {', '.join(silences[:3])}{more}" if silences else ""
    return f"{names}, {_NOT_WRITTEN.get(tune.harmony, 'as written')}{silent}"


def cautions(work: Work) -> list[str]:
    """What can hurt on this machine, one sentence or two each."""
    machine = work.machine
    told = []
    if machine.instrument.strings:
        told.append("Strings are under tension and can whip when they break: wear eye protection, and keep your face away while tuning.")
    if any(isinstance(part, TravellingStop) for part in machine.mechanism.voices):
        told.append("The carriage pinches and starts without warning: keep hands and sleeves away, and switch off before reaching in.")
    if machine.mechanism.coils:
        told.append("Coils get hot and strike without warning: let them cool before touching, and never leave a running machine alone.")
    told.append("Fit a fuse that suits the wires, and a switch within reach that cuts the supply.")
    told.append(
        "Use a closed, certified supply. Mains wiring is work for a licensed person; your local code goes before anything said here."
    )
    return told
