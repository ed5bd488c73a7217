"""The rehearsal on the page: expected and heard beside each other, what the board told, what the supply bore."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from jackrail.findings import count
from jackrail.performance import Comparison, Difference
from jackrail.rehearsal.model import Notice, Rehearsal
from jackrail.work import Work

from .clock import Clock
from .drawing import SHAPES, line_of
from .hearing import heard_panels
from .lines import Alternative, Bars, draw_line
from .numbers import Table
from .panels import Level, MarkKind, Panel, Sound
from .picture import Key, Picture, key_of
from .scales import Window, even_lines
from .supplies import supply_panels
from .svg import tag

_LINE_S = 75.0
_MOMENTS_A_LINE = 300
_AFTER_S = 0.05
"""The picture goes on a little behind the last thing in it, so that its mark is seen."""
_ROW = 13.0
_EDGE = 7.0
_SEEN_S = 0.05
_MOST_TOLD = 12
_TOLD = {"index missed": "no index", "detent missed": "no detent"}
_MEANINGS: dict[MarkKind, str] = {
    "expected": "a sound was expected (above the line)",
    "heard": "a sound was heard (below the line)",
    "missing": "missing: expected and not heard",
    "extra": "extra: heard and not expected",
    "within": "an onset within 0.5 ms, a pitch within 5 cents",
    "beyond": "beyond that, but hardly to be noticed",
    "noticed": "beyond 6 ms or 10 cents: people notice it",
}


@dataclass(frozen=True)
class Rehearsed:
    """facts: single numbers with their names; voices, told: tables; picture: None when nothing was played."""

    facts: list[tuple[str, str]]
    voices: Table
    told: Table
    picture: Picture | None


def rehearsed_of(work: Work, rehearsal: Rehearsal) -> Rehearsed:
    """A rehearsal of a work, ready to be read."""
    picture = None if rehearsal.zero_cycle is None else _picture(work, rehearsal)
    return Rehearsed(_facts(rehearsal), _voices(work, rehearsal.comparison), _told(rehearsal.notices), picture)


def _facts(rehearsal: Rehearsal) -> list[tuple[str, str]]:
    comparison, status = rehearsal.comparison, rehearsal.status
    expected, missing, extra = len(comparison.differences), len(comparison.missing), len(comparison.extra)
    counters = "the board did not answer"
    if status is not None:
        unconfirmed = f"{count(status.index_missed, 'turn')} and {count(status.detent_missed, 'arrival')} not confirmed"
        counters = f"{count(status.late, 'late cue')}, {unconfirmed}, homed anew {count(status.rehomed, 'time')}, "
        counters += f"{count(status.bad_frames, 'bad frame')}, {count(status.overruns, 'overrun')}"
    facts = [
        ("Sounds", f"{expected} expected, {expected - missing + extra} heard, {missing} missing, {extra} extra"),
        ("Worst onset", _ms(comparison.worst_late_s)),
        ("Worst pitch", _cents(comparison.worst_cents)),
        ("How it ended", rehearsal.ended),
        ("Afterwards", "; ".join(rehearsal.unsafe) or "everything off, still and in its place"),
        ("Board's counters", counters),
        ("Stack to spare", f"{count(rehearsal.stack_free_b, 'byte')} of memory never touched"),
        ("Image", f"SHA-256 {rehearsal.digest[:12]}…, the very bytes to be flashed"),
    ]
    return [("Made to fail", ", ".join(rehearsal.injected)), *facts] if rehearsal.injected else facts


def _ms(seconds: float) -> str:
    return f"{1000 * seconds:.2f} ms"


def _cents(cents: float) -> str:
    return f"{cents:.1f} cents"


def _voices(work: Work, comparison: Comparison) -> Table:
    """For each voice that was expected or heard, how well it was."""
    rows = []
    for voice in work.ensemble.voice_ids:
        mine = tuple(one for one in comparison.differences if one.voice == voice)
        part = Comparison(mine, tuple(one for one in comparison.extra if one[1] == voice))
        if part.differences or part.extra:
            heard = len(mine) - len(part.missing)
            numbers = (len(mine), heard + len(part.extra), len(part.missing), len(part.extra))
            worst = (_ms(part.worst_late_s), _cents(part.worst_cents)) if heard else ("", "")
            rows.append((voice, *(str(number) for number in numbers), *worst))
    heads = ("Voice", "Expected", "Heard", "Missing", "Extra", "Worst onset", "Worst pitch")
    return Table("Expected and heard, voice by voice", heads, tuple(rows), "Nothing was expected and nothing was heard.")


def _told(notices: tuple[Notice, ...]) -> Table:
    first = f"The first {_MOST_TOLD} of {len(notices)} things" if len(notices) > _MOST_TOLD else "What"
    rows = tuple((one.what, "" if one.at_s is None else f"{one.at_s:.2f} s", one.device) for one in notices[:_MOST_TOLD])
    return Table(f"{first} the board told", ("What", "When", "Where"), rows, "The board told nothing.")


def _picture(work: Work, rehearsal: Rehearsal) -> Picture:
    """The whole tune in as few lines as can be read."""
    clock = Clock(work.tune, work.setting)
    bars: Bars = list(zip(clock.bars_s(), work.tune.bars, strict=True))
    known_s = [one.at_s for one in rehearsal.notices if one.at_s is not None]
    end_s = max(work.performance.end_s, *known_s, *(at_s for at_s, _ in rehearsal.comparison.extra), 0.0) + _AFTER_S
    windows = even_lines(end_s, _LINE_S)
    length_s = windows[0].end_s - windows[0].start_s
    told = _told_panel(rehearsal.notices)
    panels = [
        *([told] if told else []),
        *heard_panels(work, rehearsal.comparison),
        *supply_panels(work.machine, rehearsal, length_s / _MOMENTS_A_LINE),
    ]
    lines = []
    for number, window in enumerate(windows, start=1):
        name = f"Rehearsal, line {number} of {len(windows)}"
        alternative = Alternative(f"heard-{number}", name, _in_words(window, rehearsal))
        lines.append(draw_line(alternative, line_of(window, length_s), panels, bars))
    return Picture(tuple(lines), tuple(panel.about for panel in panels), tuple(_legend(panels)))


def _told_panel(notices: tuple[Notice, ...]) -> Panel | None:
    """A row for each kind of thing the board told while it played."""
    known = [(one.at_s, one.what.partition(":")[0], one) for one in notices if one.at_s is not None]
    y = {kind: _EDGE + _ROW * row for row, kind in enumerate(dict.fromkeys(kind for _, kind, _ in known))}
    if not y:
        return None
    sounds = tuple(
        Sound(at_s, at_s + _SEEN_S, y[kind], "told", f"{at_s:.3f} s: {' '.join(filter(None, (one.what, one.device)))}")
        for at_s, kind, one in known
    )
    levels = tuple(Level(at, _TOLD.get(kind, kind), "row") for kind, at in y.items())
    height = _ROW * (len(y) - 1) + 2 * _EDGE
    return Panel("what the board told", "what the board told while it played, a row for each kind", height, levels, sounds)


def _in_words(window: Window, rehearsal: Rehearsal) -> str:
    comparison = rehearsal.comparison
    mine: tuple[Difference, ...] = tuple(one for one in comparison.differences if window.holds(one.onset_s))
    part = Comparison(mine, tuple(one for one in comparison.extra if window.holds(one[0])))
    told = [f"{one.what} at {one.at_s:.1f} s" for one in rehearsal.notices if one.at_s is not None and window.holds(one.at_s)]
    more = f" and {len(told) - _MOST_TOLD} more" if len(told) > _MOST_TOLD else ""
    heard = f"{count(len(mine), 'sound')} expected, {len(part.missing)} of them missing, {len(part.extra)} extra"
    worst = f"worst onset {_ms(part.worst_late_s)}, worst pitch {_cents(part.worst_cents)}"
    news = f"; the board told: {', '.join(told[:_MOST_TOLD])}{more}" if told else ""
    return f"{window.start_s:.1f} to {window.end_s:.1f} s: {heard}; {worst}{news}"


def _legend(panels: list[Panel]) -> Iterator[Key]:
    kinds = {marks.kind for panel in panels for marks in panel.marks if marks.points}
    for kind, words in _MEANINGS.items():
        if kind in kinds:
            y = {"expected": 10, "heard": 5, "missing": 3, "extra": 3}.get(kind, 7)
            yield key_of(tag("path", d=f"M16 {y}{SHAPES[kind]}", class_=f"mark {kind}"), words)
    yield key_of(tag("path", d="M1 7H31", class_="level aim"), "the aim: 0.5 ms, 5 cents")
    yield key_of(tag("path", d="M1 7H31", class_="level limit"), "what people notice: 6 ms, 10 cents; and the limits of a rail")
    if any(sound.kind == "told" for panel in panels for sound in panel.sounds):
        mark = tag("rect", x=14, y=2, width=4, height=11, rx=1)
        yield key_of(tag("g", mark, class_="told"), "the board told something")
