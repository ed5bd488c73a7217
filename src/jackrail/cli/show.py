"""What the terminal shows: short tables and plain sentences."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from jackrail.board.reasons import State
from jackrail.checks.fitting import what_helps
from jackrail.faults import Fault
from jackrail.findings import WHOLE_TUNE, Finding, count
from jackrail.pitch import pitch_name
from jackrail.rehearsal.model import Rehearsal
from jackrail.setting.idiom.told import manner_of
from jackrail.setting.losses import gather, played_instead
from jackrail.setting.melody import among_them
from jackrail.setting.model import Setting
from jackrail.setting.naming import chords_named, interval, key_name
from jackrail.tune.choice import Offer
from jackrail.tune.model import DEFAULT_QUARTERS_PER_MINUTE, Tune
from jackrail.work import Work

_MOST_ROWS = 6
_MOST_BESIDE = 4
"""Rows of what was given up where much else stands on the screen, each with what stood in the way alone; the report has all."""
_MARKS = {"error": "bold red", "warning": "yellow", "note": "cyan"}


def show_faults(faults: Sequence[Fault], *, as_json: bool) -> None:
    """Every fault of an input: on the error stream for a person, as JSON on standard output for a script."""
    if as_json:
        sys.stdout.write(json.dumps({"faults": [asdict(fault) for fault in faults]}, indent=1) + "\n")
        return
    console = terminal(stderr=True)
    console.print(Text(f"{count(len(faults), 'thing')} to mend:", "bold"))
    for fault in faults:
        console.print(Padding(Text(fault.where or "input", "bold"), (0, 0, 0, 2)))
        lines = [fault.what + (f": {fault.value}" if fault.value else ""), f"allowed: {fault.limit}" if fault.limit else "", fault.hint]
        for line in filter(None, lines):
            console.print(Padding(Text(line), (0, 0, 0, 4)))


@contextmanager
def working(what: str, *, quiet: bool) -> Iterator[None]:
    """A moving mark on the error stream while something takes time; nothing when that is no terminal."""
    console = terminal(stderr=True)
    if quiet or not console.is_terminal:
        yield
        return
    with console.status(what):
        yield


def show_work(work: Work, paths: Sequence[Path], rehearsal: Rehearsal | None, findings: Sequence[Finding]) -> None:
    """One screen: what was made, what was given up, what was heard, what to open."""
    console = terminal()
    memory, comparison = work.memory, work.comparison
    _setting_head(console, work.setting, work.tune)
    _losses(console, work.setting, briefly=True)
    table = _table()
    if work.moves:
        move = work.moves[0]
        spare_ms = max(0.0, 1000 * move.spare_s)
        table.add_row("tightest", f"{move.place}: {move.origin} to {move.target}, {spare_ms:.0f} ms to spare")
    size = count(abs(memory.free_b), "byte")
    room = f"{size} of flash left" if memory.free_b >= 0 else f"{size} too many for the flash"
    table.add_row("roll", f"{memory.roll_b} bytes, {room}, {1000 * comparison.worst_late_s:.2f} ms from the beat")
    for trace in work.traces:
        table.add_row(trace.rail, f"{trace.peak_a:.2f} A at most, {trace.mean_a:.2f} A on average, of {trace.limit_a:g} A")
    if rehearsal is not None:
        table.add_row("rehearsal", _heard(rehearsal))
    console.print(table)
    told = ("fit.notes-lost", "fit.chords-lost")  # the lines above say these
    shown = [f for f in findings if (f.severity != "note" and f.code not in told) or f.code == "heard.skipped"]
    _findings(console, shown)
    folder = paths[0].parent
    console.print(Text(f"Made in {folder}/", "bold"))
    console.print(f"  open  {paths[0]}")
    console.print(f"  hear  {paths[1]}")
    console.print(f"  also  {', '.join(path.name for path in paths[2:])}")


def _heard(rehearsal: Rehearsal) -> str:
    """One line: what of what was expected was heard, how exactly."""
    comparison = rehearsal.comparison
    heard = len(comparison.differences) - len(comparison.missing)
    extra = f", {len(comparison.extra)} more than expected" if comparison.extra else ""
    exact = f", within {1000 * comparison.worst_late_s:.2f} ms and {comparison.worst_cents:.1f} cents" if heard else ""
    return f"{heard} of {count(len(comparison.differences), 'sound')} heard{extra}{exact}; {rehearsal.ended}"


def show_rehearsal(rehearsal: Rehearsal, findings: Sequence[Finding]) -> None:
    """A rehearsal: what was heard, what the board noticed, what the rails bore."""
    console = terminal()
    table = _table()
    table.add_row("heard", _heard(rehearsal))
    if rehearsal.injected:
        table.add_row("made to fail", ", ".join(rehearsal.injected))
    rows = [(one.what, "" if one.at_s is None else f"{one.at_s:.3f} s", one.device) for one in rehearsal.notices]
    for number, row in enumerate(rows[:_MOST_ROWS]):
        table.add_row("" if number else "board told", "  ".join(filter(None, row)))
    if len(rows) > _MOST_ROWS:
        table.add_row("", f"and {len(rows) - _MOST_ROWS} more; {rows[-1][0]}")
    for rail in rehearsal.rails:
        table.add_row(rail.rail, f"{rail.lowest_v:.2f} V at least, {rail.highest_a:.2f} A at most, of {rail.limit_a:g} A")
    counted = _counted(rehearsal)
    if counted:
        table.add_row("counted", counted)
    table.add_row("board", f"{count(rehearsal.stack_free_b, 'byte')} of memory to spare for its stack, image {rehearsal.digest[:12]}")
    lost = rehearsal.status is not None and rehearsal.status.state == State.NOT_HOMED
    table.add_row("in the end", "; ".join(rehearsal.unsafe) or "everything off and still" + ("; it must find home again" if lost else ""))
    console.print(table)
    _findings(console, findings)


def _counted(rehearsal: Rehearsal) -> str:
    """What the board counted and is not 0."""
    status = rehearsal.status
    if status is None:
        return ""
    counts = {
        "index missed": status.index_missed,
        "detent missed": status.detent_missed,
        "homed again": status.rehomed,
        "late cues": status.late,
        "damaged frames": status.bad_frames,
        "bytes lost": status.overruns,
    }
    return ", ".join(f"{what} {many}" for what, many in counts.items() if many)


def show_paths(paths: Sequence[Path]) -> None:
    """The files that were made."""
    for path in paths:
        terminal().print(f"  made  {path}")


def show_pairs(pairs: Sequence[tuple[str, str]]) -> None:
    """Names, each with what it means."""
    table = _table()
    for name, text in pairs:
        table.add_row(name, text)
    terminal().print(table)


def show_setting(setting: Setting, tune: Tune) -> None:
    """A setting: what is kept, what is given up and why. tune: as it is played."""
    console = terminal()
    _setting_head(console, setting, tune)
    _why(console, setting)
    _losses(console, setting)
    _told(console, setting.warnings, setting.remarks)


def show_tune(tune: Tune) -> None:
    """What a reader understood of a tune."""
    console = terminal()
    console.print(Text(tune.title or "(no title)", "bold"))
    table, repeated = _table(), any(bar.time > 1 for bar in tune.bars)
    table.add_row("notes", f"{len(tune.notes)}, {tune.seconds_at(tune.end_q):.0f} s" + (" with repeats played out" if repeated else ""))
    if tune.notes:
        low, high = min(note.midi for note in tune.notes), max(note.midi for note in tune.notes)
        table.add_row("range", f"{pitch_name(low)} to {pitch_name(high)}")
    names = " ".join(dict.fromkeys(chord.symbol for chord in tune.chords))
    table.add_row("chords", f"{names} ({_SOURCES.get(tune.harmony, 'written')})" if names else "none")
    if tune.ornaments:
        table.add_row("ornaments", f"{_ornaments(tune)}: kept apart, --ornaments plays them")
    if tune.bars:
        full = next((bar for bar in tune.bars if bar.number > 0), tune.bars[0])
        table.add_row("metre", "free" if full.free else full.metre)
    table.add_row("key", (key_name(tune, 0) or "not stated") + (" (told from the notes)" if tune.key_estimated else ""))
    stated = f"{tune.tempo[0].quarters_per_minute:g} quarter notes a minute" if tune.tempo else "not stated"
    table.add_row("tempo", stated if tune.tempo else f"{stated}, {DEFAULT_QUARTERS_PER_MINUTE:g} quarter notes a minute taken")
    console.print(table)
    _told(console, tune.warnings, tune.remarks)


_SOURCES = {"estimated": "told from the accompaniment", "proposed": "proposed"}


def _ornaments(tune: Tune) -> str:
    """How many there are of each kind: "12 grace notes, 3 trills"."""
    counts: Counter[str] = Counter()
    for one in tune.ornaments:
        grace = one.kind in ("grace", "after-grace")
        counts["grace note" if grace else one.kind.replace("-", " ")] += len(one.keys) if grace else 1
    return ", ".join(count(many, kind) for kind, many in counts.items())


def _told(console: Console, warnings: Sequence[str], remarks: Sequence[str]) -> None:
    for warning in warnings:
        console.print(Text("warning: ", _MARKS["warning"]) + Text(warning))
    for remark in remarks:
        console.print(Text("note: ", _MARKS["note"]) + Text(remark))


def show_offers(offers: Sequence[Offer]) -> None:
    """What is in a file, with the words that choose it and what helps to choose; a star marks what is read unasked."""
    console = terminal()
    rows = [_offer_row(offer) for offer in offers]
    heads = ("", "to ask for it", "name", "notes", "range", "together", "what it is")
    used = [index for index in range(len(heads)) if any(row[index] for row in rows)]
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for index in used:
        table.add_column(heads[index], justify="right" if heads[index] in ("notes", "together") else "left")
    for row in rows:
        table.add_row(*(Text(row[index]) for index in used))
    console.print(table)
    console.print(Text("* is read when nothing is asked for", "dim"))


def _offer_row(offer: Offer) -> tuple[str, ...]:
    span = ""
    if offer.lowest is not None and offer.highest is not None:
        span = " to ".join(dict.fromkeys([pitch_name(offer.lowest), pitch_name(offer.highest)]))
    notes = "" if offer.notes is None else str(offer.notes)
    together = f"{100 * offer.together:.0f} %" if offer.together else ""
    return ("*" if offer.chosen else "", " ".join(offer.options), offer.title or "(no name)", notes, span, together, offer.about)


def show_findings(machine: str, findings: Mapping[str, Sequence[Finding]]) -> None:
    """Findings about a machine, then about each tune on it. Remarks of the reader are left to `read` and to the report."""
    console = terminal()
    for tune, found in findings.items():
        shown = [finding for finding in found if (finding.code, finding.severity) != ("tune.reading", "note")]
        console.print(Text(f"{tune or machine}:", "bold"), "" if shown else "nothing found")
        _findings(console, shown)


def terminal(*, stderr: bool = False) -> Console:
    """A console that prints names and titles as they are, whatever brackets and colons they hold."""
    return Console(stderr=stderr, highlight=False, markup=False, emoji=False)


def _table() -> Table:
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column()
    return table


def _setting_head(console: Console, setting: Setting, tune: Tune) -> None:
    console.print(Text(setting.title or "(no title)", "bold"), f"on {setting.machine}")
    table = _table()
    moved = f"moved {setting.transpose_semitones:+d} semitones" if setting.transpose_semitones else "as written"
    key = key_name(tune, setting.transpose_semitones)
    table.add_row("key", f"{key}, {moved}" if key else moved)
    table.add_row("tempo", f"{setting.quarters_per_minute:.4g} quarter notes a minute, {setting.pace}")
    folded = f", {setting.notes_folded} of them in another octave" if setting.notes_folded else ""
    lost = setting.notes_total - setting.notes_kept
    left_out = f"; {lost} left out: {what_helps(setting, tune)}" if lost else ""
    table.add_row("notes", f"{setting.notes_kept} of {setting.notes_total}{among_them(setting, tune)}{folded}{left_out}")
    if setting.small_total:
        table.add_row("small notes", f"{setting.small_kept} of {setting.small_total}")
    if manner := manner_of(setting):
        table.add_row("played", manner)
    if setting.chords_total:
        changed = sum(loss.kind == "chord-changed" for loss in setting.losses)
        lost = setting.chords_total - setting.chords_kept
        left_out = f"; {lost} left out" if lost else ""
        instead = f", {changed} of them {played_instead(setting.losses)}" if changed else ""
        table.add_row("chords", f"{setting.chords_kept} of {setting.chords_total}{instead}{left_out}")
    if setting.harmony in _SOURCES and setting.strokes:
        table.add_row("", f"{_SOURCES[setting.harmony]}: {chords_named(tune, setting)}; none were written")
    table.add_row("proof", _proof(setting))
    console.print(table)


def _why(console: Console, setting: Setting) -> None:
    table = _table()
    for number, sentence in enumerate(setting.why):
        table.add_row("" if number else "why", sentence)
    console.print(table)


def _proof(setting: Setting) -> str:
    if setting.optimal:
        return "no setting costs less, by the weights in docs/fitting.md"
    if setting.point is not None:
        return f"point {setting.point} of the trade-off, as asked for: fit --front lists them"
    return "a better setting may exist"


def _losses(console: Console, setting: Setting, *, briefly: bool = False) -> None:
    """What was given up: equal cases together, the first few kinds. The tune is named as written, what sounds as it sounds."""
    rows, shift = gather(setting.losses), setting.transpose_semitones
    head = "Given up" if rows else "Nothing was given up."
    if rows and shift:
        head += f", named as written; what is played and why, as it sounds, {interval(shift)}"
    console.print(Text(head, "bold"))
    most = _MOST_BESIDE if briefly else _MOST_ROWS
    for row in rows[:most]:
        reason = row.reason.partition(";")[0] if briefly else row.reason
        more = f" and {len(row.places) - 1} more" if len(row.places) > 1 else ""
        played = {"nothing": "left out", "shorter": "shorter"}.get(row.played, f"as {row.played}")
        console.print(Padding(Text(f"{row.places[0]}{more}: {row.written} {played}, {reason}"), (0, 0, 0, 2)))
    if len(rows) > most:
        console.print(f"  and {count(len(rows) - most, 'more kind')}: see the report or --json")


def _findings(console: Console, findings: Sequence[Finding]) -> None:
    for finding in findings:
        advice = f"; {finding.advice}" if finding.advice else ""
        mark = Text(f"{finding.severity}: ", _MARKS[finding.severity])
        place = "" if finding.place == WHOLE_TUNE else f"{finding.place}: "
        code = "" if finding.code == "tune.reading" else f" ({finding.code})"
        console.print(Padding(mark + Text(f"{place}{finding.message}{advice}{code}"), (0, 0, 0, 2)))
