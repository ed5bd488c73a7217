"""One line of a picture: panels one above the other, bars above them and seconds below."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from jackrail.tune.model import Bar

from .drawing import GUTTER, WIDTH, Line, draw_panel, panel_height
from .panels import Panel
from .scales import text_width
from .svg import polyline, tag

Bars = Sequence[tuple[float, Bar]]
_HEADER = 20.0
_FOOTER = 18.0
_GAP = 5.0
_TICKS_S = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)


@dataclass(frozen=True)
class Alternative:
    """What a line is called and what it holds, for who does not see it. ident: of its own on the page."""

    ident: str
    name: str
    words: str


def draw_line(told: Alternative, line: Line, panels: Sequence[Panel], bars: Bars) -> Markup:
    """A line as SVG."""
    tops, top = [], _HEADER
    for panel in panels:
        tops.append(top)
        top += panel_height(panel) + _GAP
    height = top + _FOOTER
    drawn = [draw_panel(panel, line, top) for panel, top in zip(panels, tops, strict=True)]
    return tag(
        "svg",
        tag("title", told.name, id=f"{told.ident}-name"),
        tag("desc", told.words, id=f"{told.ident}-words"),
        *_bar_lines(line, bars, top),
        *_seconds(line, top),
        *drawn,
        viewBox=f"0 0 {WIDTH:g} {height:g}",
        width=WIDTH,
        height=height,
        class_="line",
        role="img",
        aria_labelledby=f"{told.ident}-name",
        aria_describedby=f"{told.ident}-words",
    )


def _bar_lines(line: Line, bars: Bars, bottom: float) -> Iterator[Markup]:
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
