"""The picture: every panel under one time axis, broken into lines like music on a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from jackrail.tune.model import Bar
from jackrail.work import Work

from .clock import Clock
from .drawing import GUTTER, WIDTH, Line, draw_panel, line_of, panel_height
from .panels import Panel
from .parts import panels_of
from .scales import lines_of_music, text_width
from .svg import polyline, tag
from .words import count

_HEADER = 20.0
_FOOTER = 18.0
_GAP = 5.0
_TICKS_S = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)


@dataclass(frozen=True)
class Key:
    """An entry of the legend: a small drawing and the words for it."""

    swatch: Markup
    words: str


@dataclass(frozen=True)
class Picture:
    """lines: one SVG each; about: what each panel shows, from top to bottom; legend: the marks that occur."""

    lines: tuple[Markup, ...]
    about: tuple[str, ...]
    legend: tuple[Key, ...]


def picture_of(work: Work) -> Picture:
    """The picture of a work."""
    clock = Clock(work.tune, work.setting)
    panels, bars = panels_of(work, clock), list(zip(clock.bars_s(), work.tune.bars, strict=True))
    end_s = max(work.performance.end_s, clock.seconds(work.tune.end_q))  # the last notes may be among those left out
    windows = lines_of_music([at_s for at_s, _ in bars], end_s)
    longest_s = max(window.end_s - window.start_s for window in windows)
    lines = [line_of(window, longest_s) for window in windows]
    drawn = tuple(_draw_line(number, len(lines), line, panels, bars) for number, line in enumerate(lines, start=1))
    return Picture(drawn, tuple(panel.about for panel in panels), tuple(_legend(panels)))


def _draw_line(number: int, of: int, line: Line, panels: tuple[Panel, ...], bars: list[tuple[float, Bar]]) -> Markup:
    tops, top = [], _HEADER
    for panel in panels:
        tops.append(top)
        top += panel_height(panel) + _GAP
    height = top + _FOOTER
    names = (f"line-{number}-name", f"line-{number}-words")
    words = (
        tag("title", f"Line {number} of {of}", id=names[0]),
        tag("desc", _in_words(line, panels, bars), id=names[1]),
    )
    drawn = [draw_panel(panel, line, top) for panel, top in zip(panels, tops, strict=True)]
    return tag(
        "svg",
        *words,
        *_bar_lines(line, bars, top),
        *_seconds(line, top),
        *drawn,
        viewBox=f"0 0 {WIDTH:g} {height:g}",
        width=WIDTH,
        height=height,
        class_="line",
        role="img",
        aria_labelledby=names[0],
        aria_describedby=names[1],
    )


def _in_words(line: Line, panels: tuple[Panel, ...], bars: list[tuple[float, Bar]]) -> str:
    """What a line holds, for who does not see it."""
    window = line.window
    kinds = [sound.kind for panel in panels for sound in panel.sounds if window.holds(sound.onset_s)]
    lost = sum(window.holds(lost.at_s) for panel in panels for lost in panel.lost)
    parts = [
        count(sum(kind in ("note", "folded") for kind in kinds), "note"),
        count(sum(kind in ("stroke", "again") for kind in kinds), "chord stroke"),
        count(kinds.count("beat"), "drum beat"),
        f"{lost} left out",
    ]
    inside = [bar.number for at_s, bar in bars if window.holds(at_s)]
    names = f"bars {inside[0]} to {inside[-1]}, " if inside else ""
    return f"{names}{window.start_s:.1f} to {window.end_s:.1f} s: " + ", ".join(part for part in parts if not part.startswith("0 "))


def _bar_lines(line: Line, bars: list[tuple[float, Bar]], bottom: float) -> Iterator[Markup]:
    """A line at each bar with its number above, where there is room; the rest of a split bar has a line and no number."""
    yield tag("text", "bar", x=GUTTER - 15, y=11, class_="axis-name")
    free, last = GUTTER - 4, None
    for at_s, bar in bars:
        if line.window.holds(at_s):
            x = line.x(at_s)
            yield tag("path", d=polyline([(x, _HEADER - 2), (x, bottom)]), class_="bar-line")
            text = str(bar.number) if bar.time == 1 else f"{bar.number} ({bar.time})"
            if free <= x - 2 and x + text_width(text, 12) <= WIDTH and bar.number != last:
                yield tag("text", text, x=x - 2, y=11, class_="bar-number")
                free = x + text_width(text, 12) + 4
        last = bar.number


def _seconds(line: Line, top: float) -> Iterator[Markup]:
    """The time axis below: a tick and its second wherever there is room for it."""
    window = line.window
    pixels_s = line.x(window.start_s + 1) - line.x(window.start_s)
    step_s = next((step_s for step_s in _TICKS_S if step_s * pixels_s >= 56), _TICKS_S[-1])
    yield tag("path", d=polyline([(GUTTER, top), (line.end, top)]), class_="axis")
    yield tag("text", "second", x=GUTTER - 15, y=top + 13, class_="axis-name")
    first = -int(-(window.start_s - 1e-9) // step_s)
    for n in range(max(0, first), int((window.end_s + 1e-9) / step_s) + 1):
        x = line.x(n * step_s)
        yield tag("path", d=polyline([(x, top), (x, top + 4)]), class_="axis")
        yield tag("text", f"{n * step_s:g}", x=x, y=top + 14, class_="second")


def _legend(panels: tuple[Panel, ...]) -> Iterator[Key]:
    """The marks that occur in the panels, each with its words."""
    kinds = {sound.kind for panel in panels for sound in panel.sounds}
    paths = {panel.path_kind for panel in panels if panel.path}
    ring, onset = tag("rect", x=2, y=4, width=28, height=7, class_="ring"), tag("rect", x=2, y=4, width=2.5, height=7, class_="onset")
    stroke = tag("rect", x=14, y=2, width=4, height=11, rx=1)
    if "note" in kinds:
        yield _key(tag("g", ring, onset, class_="note"), "a note, from its onset (dark edge) until its voice leaves or it stops ringing")
    if "folded" in kinds:
        yield _key(tag("g", ring, onset, class_="folded"), "a note in another octave than written")
    if "carriage" in paths:
        yield _key(tag("path", d="M1 12H9C15 12 17 3 23 3H31", class_="carriage"), "where the carriage is")
    if "stroke" in kinds:
        yield _key(tag("g", stroke, class_="stroke"), "a chord stroke, with the chord written beside it where its bar has another")
    if "again" in kinds:
        yield _key(tag("g", stroke, class_="again"), "the same chord struck again at a bar line")
    if "beat" in kinds:
        yield _key(tag("g", stroke, class_="beat"), "a drum beat")
    if any(panel.lost for panel in panels):
        cross = tag("path", d="M12 3l8 8m0-8l-8 8", class_="cross")
        yield _key(tag("g", cross, class_="lost"), "left out: marked where it would have been")
    if "current" in paths:
        yield _key(tag("path", d="M1 12H9V5H15V12H31", class_="current"), "current drawn")
        yield _key(tag("path", d="M1 7H31", class_="level limit"), "what the rail can give")


def _key(drawing: Markup, words: str) -> Key:
    return Key(tag("svg", drawing, viewBox="0 0 32 15", width=32, height=15, aria_hidden="true", class_="swatch"), words)
