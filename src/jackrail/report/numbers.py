"""Numbers: what the work asks of time, memory, supply and moving parts, as rows ready to be read."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from jackrail.checks.timing import busiest_second
from jackrail.findings import count
from jackrail.setting.idiom.told import manner_of
from jackrail.work import Work

from .scales import Linear
from .svg import tag

_TIGHTEST = 5
_BAR = (400.0, 22.0)


@dataclass(frozen=True)
class Table:
    """A table: its caption, column heads, rows of text with a row head first; none: what to say instead when empty."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    none: str = ""


def facts(work: Work) -> list[tuple[str, str]]:
    """Single numbers, each with its name."""
    start_s, cues = busiest_second(work.cues)
    comparison, setting, manner = work.comparison, work.setting, manner_of(work.setting)
    unheard = len(comparison.missing) + len(comparison.extra)
    off = f"onsets off by {1000 * comparison.worst_late_s:.2f} ms at most"
    off += "; nothing missing, nothing extra" if not unheard else f"; {len(comparison.missing)} missing, {len(comparison.extra)} extra"
    chords = f", {setting.chords_kept} of {count(setting.chords_total, 'chord')}" if setting.chords_total else ""
    small = f", {setting.small_kept} of {count(setting.small_total, 'small note')}" if setting.small_total else ""
    beats = f", {count(len(setting.beats), 'drum beat')}" if setting.beats else ""
    return [
        ("Length", f"{_minutes(work.performance.end_s)}, of which {setting.lead_in_s:g} s are the lead-in before the first beat"),
        ("Sounding", f"{setting.notes_kept} of {count(setting.notes_total, 'note')}{small}{chords}{beats}"),
        *([("Played", manner)] if manner else []),
        ("Busiest second", f"{count(cues, 'command')} from {start_s:.2f} s on" if cues else "no commands at all"),
        ("Roll against setting", off),
    ]


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    return f"{seconds:.1f} s" if whole < 60 else f"{whole // 60} min {whole % 60} s"


def moves_table(work: Work) -> Table:
    """The tightest moves, the tightest first."""
    rows = tuple(
        (move.place, move.voice, f"{move.origin} to {move.target}", _ms(move.takes_s, 0), _ms(max(0.0, move.spare_s), 1))
        for move in work.moves[:_TIGHTEST]
    )
    heads = ("Arrives", "Voice", "From and to", "Takes", "To spare")
    return Table(f"The tightest of {count(len(work.moves), 'move')}", heads, rows, "No voice moves from place to place in this tune.")


def _ms(seconds: float, decimals: int) -> str:
    return f"{1000 * seconds:.{decimals}f} ms"


def rails_table(work: Work) -> Table:
    """Peak and mean current of each rail beside what it can give."""
    rows = tuple(
        (
            trace.rail,
            f"{work.machine.supply.rail(trace.rail).voltage_v:g} V",
            f"{trace.peak_a:.2f} A at {trace.peak_at_s:.1f} s",
            f"{trace.mean_a:.2f} A",
            f"{trace.limit_a:g} A",
        )
        for trace in work.traces
    )
    return Table("Current of each supply rail", ("Rail", "Voltage", "Peak", "Mean", "Limit"), rows)


def work_table(work: Work) -> Table:
    """What each motor and coil does in the whole tune: metres, turns, strokes."""
    rows = []
    for motor in work.ensemble.mechanism.motors:
        moves = [int(cue.value) for cue in work.cues if cue.device == motor.id and cue.action == "move"]
        turns = sum(cue.device == motor.id and cue.action == "turn" for cue in work.cues)
        if moves:
            steps = sum(abs(b - a) for a, b in zip([0, *moves], moves, strict=False))
            rows.append((motor.id, "travels", f"{steps * work.ensemble.axes[motor.id].step / 1000:.2f} m in {count(len(moves), 'move')}"))
        elif turns:
            rows.append((motor.id, "turns", count(turns, "turn")))
        else:
            rows.append((motor.id, "rests", "not used"))
    for coil in work.ensemble.mechanism.coils:
        actions = [cue.action for cue in work.cues if cue.device == coil.id]
        strokes, holds = actions.count("pulse"), actions.count("hold")
        parts = [count(strokes, "stroke") if strokes else "", count(holds, "hold") if holds else ""]
        rows.append((coil.id, "strikes" if strokes else "holds" if holds else "rests", " and ".join(filter(None, parts)) or "not used"))
    return Table("Work of each motor and coil", ("Part", "What it does", "How much"), tuple(rows))


@dataclass(frozen=True)
class Flash:
    """The board's flash: a bar of its parts, the same as a table, and a sentence."""

    bar: Markup
    table: Table
    words: str


def flash(work: Work) -> Flash:
    """How the roll and all else fill the flash."""
    memory = work.memory
    parts = [
        ("boot loader", memory.boot_loader_b),
        ("firmware (room kept for it)", memory.firmware_b),
        ("machine block", memory.machine_block_b),
        ("roll of this tune", memory.roll_b),
        ("free", max(0, memory.free_b)),
    ]
    sounding = len(work.setting.notes)
    per_note = f", {memory.roll_b / sounding:.1f} bytes a note" if sounding else ""
    fits = "" if memory.free_b >= 0 else f" It is {-memory.free_b} bytes too long for this board."
    words = f"The roll takes {memory.roll_b} bytes{per_note}. {100 * memory.used_b / memory.flash_b:.0f} % of the flash is used.{fits}"
    rows = tuple((f"{letter}", name, f"{size} bytes") for letter, (name, size) in zip("ABCDE", parts, strict=True))
    return Flash(_flash_bar(parts, words), Table(f"Flash, {memory.flash_b} bytes", ("Mark", "Part", "Size"), rows), words)


def _flash_bar(parts: list[tuple[str, int]], words: str) -> Markup:
    """A bar cut in proportion, each part with its letter where there is room."""
    width, height = _BAR
    x = Linear(0, sum(size for _, size in parts), 0, width)
    drawn, at = [], 0
    for letter, (name, size) in zip("ABCDE", parts, strict=True):
        left, right = x(at), x(at + size)
        at += size
        title = tag("title", f"{letter}: {name}, {size} bytes")
        block = tag("rect", x=left, y=0, width=right - left, height=height)
        drawn.append(tag("g", title, block, class_=f"flash-{letter.lower()}"))
        if right - left >= 11:
            drawn.append(tag("text", letter, x=(left + right) / 2, y=height / 2 + 4, class_=f"flash-name flash-name-{letter.lower()}"))
    names = tag("title", "How the flash is filled", id="flash-name"), tag("desc", words, id="flash-words")
    attributes = {"role": "img", "aria_labelledby": "flash-name", "aria_describedby": "flash-words", "class_": "flash"}
    return tag("svg", *names, *drawn, viewBox=f"0 0 {width:g} {height:g}", **attributes)
