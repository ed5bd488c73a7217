"""What the terminal shows: short tables and plain sentences."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from jackrail.faults import Fault
from jackrail.findings import Finding
from jackrail.pitch import pitch_name
from jackrail.setting.fit import key_name
from jackrail.setting.model import Loss, Setting
from jackrail.tune.model import Tune
from jackrail.work import Work

_MOST_ROWS = 12
_MARKS = {"error": "bold red", "warning": "yellow", "note": "cyan"}


def show_faults(faults: Sequence[Fault], *, as_json: bool) -> None:
    """Every fault of an input: on the error stream for a person, as JSON on standard output for a script."""
    if as_json:
        sys.stdout.write(json.dumps({"faults": [asdict(fault) for fault in faults]}, indent=1) + "\n")
        return
    console = Console(stderr=True, highlight=False, soft_wrap=True)
    things = "1 thing" if len(faults) == 1 else f"{len(faults)} things"
    console.print(Text(f"{things} to mend:", "bold"))
    for fault in faults:
        console.print(Text(f"  {fault.where or 'input'}", "bold"))
        console.print(Text(f"    {fault.what}" + (f": {fault.value}" if fault.value else "")))
        if fault.limit:
            console.print(Text(f"    allowed: {fault.limit}"))
        if fault.hint:
            console.print(Text(f"    {fault.hint}"))


@contextmanager
def working(what: str, *, quiet: bool) -> Iterator[None]:
    """A moving mark on the error stream while something takes time; nothing when that is no terminal."""
    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield
        return
    with console.status(what):
        yield


def show_work(work: Work, paths: Sequence[Path]) -> None:
    """One screen: what was made, what was given up, what to open."""
    console = _console()
    _setting_head(console, work.setting, work.tune)
    _losses(console, work.setting.losses)
    memory, setting = work.memory, work.setting
    table = _table()
    if work.moves:
        move = work.moves[0]
        spare = f"{max(0.0, 1000 * move.spare_s):.0f} ms to spare"
        table.add_row("tightest move", f"{move.place}: {move.origin} to {move.target} in {1000 * move.takes_s:.0f} ms, {spare}")
    worst_ms = 1000 * work.comparison.worst_late_s
    table.add_row("roll", f"{memory.roll_b} bytes, {memory.free_b} bytes of flash left; sounds within {worst_ms:.2f} ms of the beat")
    for trace in work.traces:
        table.add_row(f"rail {trace.rail}", f"{trace.peak_a:.2f} A at most, {trace.mean_a:.2f} A on average, of {trace.limit_a:g} A")
    console.print(table)
    shown = [finding for finding in work.findings if finding.severity != "note" and not finding.code.startswith("fit.")]
    _findings(console, shown)
    console.print(Text(f"\nMade in {paths[0].parent}/", "bold"), f"({setting.notes_kept} notes, {work.performance.end_s:.0f} s)")
    console.print(f"  open      {paths[0]}")
    console.print(f"  hear      {paths[1]}")
    console.print("  also      " + "  ".join(path.name for path in paths[2:]))


def show_setting(setting: Setting, tune: Tune) -> None:
    """A setting: what is kept, what is given up and why."""
    console = _console()
    _setting_head(console, setting, tune)
    _losses(console, setting.losses)


def show_tune(tune: Tune) -> None:
    """What a reader understood of a tune."""
    console = _console()
    console.print(Text(tune.title or "(no title)", "bold"))
    table = _table()
    table.add_row("notes", f"{len(tune.notes)}, {tune.seconds_at(tune.end_q):.0f} s with repeats played out")
    if tune.notes:
        low, high = min(note.midi for note in tune.notes), max(note.midi for note in tune.notes)
        table.add_row("range", f"{pitch_name(low)} to {pitch_name(high)}")
    table.add_row("chords", " ".join(dict.fromkeys(chord.symbol for chord in tune.chords)) or "none")
    if tune.bars:
        full = next((bar for bar in tune.bars if bar.number > 0), tune.bars[0])
        table.add_row("metre", f"{full.beats}/{full.beat_unit}")
    table.add_row("key", key_name(tune, 0) or "not stated")
    if tune.tempo:
        table.add_row("tempo", f"{tune.tempo[0].quarters_per_minute:g} quarter notes a minute")
    console.print(table)
    for warning in tune.warnings:
        console.print(Text("warning ", _MARKS["warning"]) + Text(warning))


def show_listing(tunes: Sequence[tuple[int, str]]) -> None:
    """The tunes of a file of several."""
    console = _console()
    table = _table()
    for number, title in tunes:
        table.add_row(str(number), title)
    console.print(table)


def show_findings(machine: str, findings: Mapping[str, Sequence[Finding]]) -> None:
    """Findings about a machine, then about each tune on it."""
    console = _console()
    for tune, found in findings.items():
        console.print(Text(tune or machine, "bold"), "" if found else "nothing found")
        _findings(console, found)


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


def _table() -> Table:
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="dim", no_wrap=True)
    table.add_column()
    return table


def _setting_head(console: Console, setting: Setting, tune: Tune) -> None:
    console.print(Text(setting.title or "(no title)", "bold"), f"on the {setting.machine}\n")
    table = _table()
    moved = f"moved {setting.transpose_semitones:+d} semitones" if setting.transpose_semitones else "as written"
    key = key_name(tune, setting.transpose_semitones)
    table.add_row("key", f"{key}, {moved}" if key else moved)
    pace = "as written" if abs(setting.tempo_factor - 1) < 1e-9 else f"{100 * setting.tempo_factor:.0f} % of the written tempo"
    table.add_row("tempo", f"{setting.quarters_per_minute:.0f} quarter notes a minute, {pace}")
    folded = f", {setting.notes_folded} of them in another octave" if setting.notes_folded else ""
    table.add_row("notes", f"{setting.notes_kept} of {setting.notes_total}{folded}")
    if setting.chords_total:
        changed = sum(loss.kind == "chord-changed" for loss in setting.losses)
        table.add_row("chords", f"{setting.chords_kept} of {setting.chords_total}" + (f", {changed} of them simpler" if changed else ""))
    table.add_row("proof", "no better setting exists by these weights" if setting.optimal else "a better setting may exist")
    console.print(table)


def _losses(console: Console, losses: Sequence[Loss]) -> None:
    """What was given up: equal cases on one line, the first dozen."""
    if not losses:
        console.print("\nNothing was given up.\n")
        return
    console.print(Text("\nGiven up", "bold"))
    groups: dict[tuple[str, str, str], list[str]] = {}
    for loss in losses:
        groups.setdefault((loss.written, loss.played, loss.reason), []).append(loss.place)
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    for (written, played, reason), places in list(groups.items())[:_MOST_ROWS]:
        where = places[0] + (f" and {len(places) - 1} more" if len(places) > 1 else "")
        table.add_row(where, written, f"as {played}" if played else "left out", reason)
    console.print(Padding(table, (0, 0, 0, 2)))
    if len(groups) > _MOST_ROWS:
        console.print(f"  and {len(groups) - _MOST_ROWS} more kinds: see the report or --json")
    console.print()


def _findings(console: Console, findings: Sequence[Finding]) -> None:
    for finding in findings:
        console.print(Text(f"{finding.severity:8}", _MARKS[finding.severity]) + Text(f"{finding.place}: {finding.message}"))
        if finding.advice:
            console.print(Text(f"        {finding.advice} ({finding.code})", "dim"))
