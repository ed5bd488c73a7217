"""Drawing: one panel in one line of music, as SVG."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from .panels import Lost, MarkKind, Panel, Sound
from .scales import Linear, Window, cut_path, text_width, thinned
from .svg import number, polyline, scattered, tag

WIDTH = 960.0
GUTTER = 84.0
MARGIN = 14.0
TITLE = 15.0
_NOTE = 7.0
_THINNEST = 0.3
_STROKE = 11.0
_LABEL = 10.5
_NAME = 9.0
_UNSEEN = 0.1
"""Points of a path so near to the line through the others are left out."""
SHAPES: dict[MarkKind, str] = {
    "expected": "v-6v6",
    "heard": "v6v-6",
    "within": "h0",
    "beyond": "m0-3.5l3.5 3.5-3.5 3.5-3.5-3.5zm0 3.5",
    "noticed": "m0-4.5l4.5 8h-9zm0 4.5",
    "missing": "m-3.5 1l7 7m0-7l-7 7m3.5-8",
    "extra": "m-4.5 1h9l-4.5 8zm4.5-1",
}
"""Each kind of mark as path data from its point and back: upper and lower stroke, dot, diamond, triangle, cross, triangle downwards."""


@dataclass(frozen=True)
class Line:
    """One line of music: its time and where each second lies across it."""

    window: Window
    x: Linear

    @property
    def end(self) -> float:
        """Where the line's time ends."""
        return self.x(self.window.end_s)


def line_of(window: Window, longest_s: float) -> Line:
    """A line at the scale all lines share: the longest one fills the width."""
    return Line(window, Linear(window.start_s, window.start_s + longest_s, GUTTER, WIDTH - MARGIN))


def draw_panel(panel: Panel, line: Line, top: float) -> Markup:
    """A panel with its title, its levels and what happens in it during the line; top: its upper edge."""
    inside = [*_levels(panel, line), *_sounds(panel, line), *_path(panel, line), *_marks(panel, line), *_losses(panel, line)]
    parts = [tag("text", panel.title, x=GUTTER, y=10, class_="panel-title"), tag("g", *inside, transform=f"translate(0 {TITLE:g})")]
    return tag("g", *parts, class_="panel", transform=f"translate(0 {top:g})")


def panel_height(panel: Panel) -> float:
    """Height of a drawn panel with its title."""
    return TITLE + panel.height


def _levels(panel: Panel, line: Line) -> Iterator[Markup]:
    for level in panel.levels:
        yield tag("path", d=polyline([(GUTTER, level.y), (line.end, level.y)]), class_=f"level {level.kind}")
    for level, y in panel.labels():
        text = _fitting(level.label, GUTTER - 16)
        yield tag("path", d=polyline([(GUTTER - 12, y), (GUTTER - 3, level.y), (GUTTER, level.y)]), class_="leader")
        yield tag("text", text, x=GUTTER - 15, y=y + 3.7, class_="level-name")


def _fitting(text: str, width: float) -> str:
    """The text, or its beginning and an ellipsis when it is too wide."""
    if text_width(text, 11) <= width:
        return text
    while text and text_width(text + "…", 11) > width:
        text = text[:-1]
    return text + "…"


def _sounds(panel: Panel, line: Line) -> Iterator[Markup]:
    window = line.window
    shown = [sound for sound in panel.sounds if window.meets(sound.onset_s, sound.end_s)]
    room = _rooms([(sound.onset_s, sound.y) for sound in shown], line)
    for sound, space in zip(shown, room, strict=True):
        if not window.holds(sound.onset_s):
            title = tag("title", f"{sound.title} (held on from the line before)")
            yield tag("g", title, _bar(sound, line, window.start_s), class_=f"held {sound.kind}")
        elif sound.kind in ("note", "folded"):
            yield _note(sound, line)
        else:
            x = line.x(sound.onset_s)
            mark = tag("rect", x=x - 2, y=sound.y - _STROKE / 2, width=4, height=_STROKE, rx=1)
            yield tag("g", tag("title", sound.title), mark, *_label(sound.label, x + 5, sound.y, space), class_=f"sound {sound.kind}")


def _note(sound: Sound, line: Line) -> Markup:
    """A bar as long as the note sounds, a dark edge where it is struck, its name above where the bar is long enough to carry it.

    The softer its blow, the thinner it is.
    """
    x, end = line.x(sound.onset_s), line.x(min(sound.end_s, line.window.end_s))
    parts = [
        tag("title", sound.title),
        _bar(sound, line, sound.onset_s),
        *(
            [tag("path", d=f"M{number(x)} {number(sound.y - _thick(sound) / 2)}v{number(_thick(sound))}", class_="onset")]
            if sound.struck
            else []
        ),
    ]
    if sound.label and text_width(sound.label, _NAME) <= end - x:
        parts.append(tag("text", sound.label, x=x, y=sound.y - 5.5, class_="note-name"))
    return tag("g", *parts, class_=f"sound {sound.kind}")


def _thick(sound: Sound) -> float:
    """How thick a note is drawn: even the softest is seen."""
    return _NOTE * max(_THINNEST, sound.strength)


def _bar(sound: Sound, line: Line, start_s: float) -> Markup:
    x, end, thick = line.x(start_s), line.x(min(sound.end_s, line.window.end_s)), _thick(sound)
    width = number(max(2.5, end - x))
    return tag("path", d=f"M{number(x)} {number(sound.y - thick / 2)}h{width}v{number(thick)}h-{width}z", class_="ring")


def _rooms(marks: list[tuple[float, float]], line: Line) -> list[float]:
    """For each mark (seconds, y), in time order, the room to the next in its row or the end of the line."""
    rooms, following = [], dict[float, float]()
    for at_s, y in reversed(marks):
        x = line.x(at_s)
        rooms.append(following.get(y, WIDTH) - x)
        following[y] = x
    return rooms[::-1]


def _label(text: str, x: float, y: float, room: float) -> Iterator[Markup]:
    """A label beside a mark, if it fits before the next."""
    if text and text_width(text, _LABEL) + 10 <= room:
        yield tag("text", text, x=x, y=y + 3.6, class_="mark-name")


def _losses(panel: Panel, line: Line) -> Iterator[Markup]:
    shown: list[Lost] = [lost for lost in panel.lost if line.window.holds(lost.at_s)]
    for lost, room in zip(shown, _rooms([(lost.at_s, lost.y) for lost in shown], line), strict=True):
        x, r = line.x(lost.at_s), 4.0
        cross = tag("path", d=f"M{x - r:.2f} {lost.y - r:.2f}l8 8m0-8l-8 8", class_="cross")
        touch = tag("circle", cx=x, cy=lost.y, r=6, class_="touch")
        yield tag("g", tag("title", lost.title), touch, cross, *_label(lost.label, x + 7, lost.y, room - 2), class_="lost")


def _path(panel: Panel, line: Line) -> Iterator[Markup]:
    points = [(line.x(at_s), y) for at_s, y in cut_path(panel.path, line.window)]
    if len(points) > 1:
        decimals = 2 if panel.path_kind == "carriage" else 1
        yield tag("path", tag("title", panel.path_title), d=polyline(thinned(points, _UNSEEN), decimals), class_=panel.path_kind)


def _marks(panel: Panel, line: Line) -> Iterator[Markup]:
    for marks in panel.marks:
        shown = [(line.x(at_s), y) for at_s, y in marks.points if line.window.holds(at_s)]
        if shown:
            title = [tag("title", marks.title)] if marks.title else []
            yield tag("path", *title, d=scattered(shown, SHAPES[marks.kind]), class_=f"mark {marks.kind}")
