"""The picture: every panel under one time axis, broken into lines like music on a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from jackrail.findings import count
from jackrail.work import Work

from .clock import Clock
from .drawing import Line, line_of
from .lines import Alternative, Bars, draw_line
from .panels import Panel
from .parts import panels_of
from .scales import lines_of_music
from .svg import tag


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
    drawn = [
        draw_line(Alternative(f"line-{number}", f"Line {number} of {len(lines)}", _in_words(line, panels, bars)), line, panels, bars)
        for number, line in enumerate(lines, start=1)
    ]
    return Picture(tuple(drawn), tuple(panel.about for panel in panels), tuple(_legend(panels)))


def _in_words(line: Line, panels: tuple[Panel, ...], bars: Bars) -> str:
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


def _legend(panels: tuple[Panel, ...]) -> Iterator[Key]:
    """The marks that occur in the panels, each with its words."""
    kinds = {sound.kind for panel in panels for sound in panel.sounds}
    paths = {panel.path_kind for panel in panels if panel.path}
    yield from _note_keys(panels)
    stroke = tag("rect", x=14, y=2, width=4, height=11, rx=1)
    if "carriage" in paths:
        yield key_of(tag("path", d="M1 12H9C15 12 17 3 23 3H31", class_="carriage"), "where the carriage is")
    if "stroke" in kinds:
        yield key_of(tag("g", stroke, class_="stroke"), "a chord stroke, with the chord written beside it where its bar has another")
    if "again" in kinds:
        yield key_of(tag("g", stroke, class_="again"), "the same chord struck again at a bar line")
    if "beat" in kinds:
        yield key_of(tag("g", stroke, class_="beat"), "a drum beat")
    if "silence" in kinds:
        yield key_of(tag("g", stroke, class_="silence"), "no chord sounds from here on")
    if any(panel.lost for panel in panels):
        cross = tag("path", d="M12 3l8 8m0-8l-8 8", class_="cross")
        yield key_of(tag("g", cross, class_="lost"), "left out: marked where it would have been")
    if "current" in paths:
        yield key_of(tag("path", d="M1 12H9V5H15V12H31", class_="current"), "current drawn")
        yield key_of(tag("path", d="M1 7H31", class_="level limit"), "what the rail can give")


def _note_keys(panels: tuple[Panel, ...]) -> Iterator[Key]:
    kinds = {sound.kind for panel in panels for sound in panel.sounds}
    ring, onset = tag("path", d="M2 4h28v7h-28z", class_="ring"), tag("path", d="M2 4v7", class_="onset")
    if "note" in kinds:
        yield key_of(tag("g", ring, onset, class_="note"), "a note, from its onset (dark edge) until its voice leaves or it stops ringing")
    if any(sound.strength < 1 for panel in panels for sound in panel.sounds):
        thin = tag("g", tag("path", d="M2 6h28v3h-28z", class_="ring"), tag("path", d="M2 6v3", class_="onset"), class_="note")
        yield key_of(thin, "a note struck softly: the thinner, the softer")
    if "folded" in kinds:
        yield key_of(tag("g", ring, onset, class_="folded"), "a note in another octave than written")


def key_of(drawing: Markup, words: str) -> Key:
    """An entry of a legend; the drawing is 32 wide and 15 high."""
    return Key(tag("svg", drawing, viewBox="0 0 32 15", width=32, height=15, aria_hidden="true", class_="swatch"), words)
