"""Engraving: MusicXML in, one small SVG for each page out, drawn by verovio and taken down to what a page needs.

verovio's own SVG names every group by a random id and class, holds a style sheet that speaks of colours, and the shapes of its glyphs
anew on every page. None of that is kept: shapes are named once for all pages, what became of a note is a class.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple
from xml.etree import ElementTree as ET

from markupsafe import Markup

from .heads import COLOURS
from .note_values import Unwritable
from .svg import number, tag

_OPTIONS = {
    "inputFrom": "musicxml",
    "breaks": "encoded",
    "header": "none",
    "footer": "none",
    "adjustPageHeight": True,
    "pageMarginTop": 20,
    "pageMarginBottom": 20,
    "pageMarginLeft": 10,
    "pageMarginRight": 10,
    "mnumInterval": 1,
    "minLastJustification": 0.35,
    "svgViewBox": True,
    "svgFormatRaw": True,
    "svgRemoveXlink": True,
    "svgHtml5": True,
    "smuflTextFont": "none",
    "xmlIdSeed": 1,
}
_SIZE = 0.72
"""verovio's scale of a glyph of full size; named shapes have it already."""
_FATES = {colour.lower(): fate for fate, colour in COLOURS.items()}
_TEXTS = ("mNum", "harm", "dir", "label", "labelAbbr")
_MOVED = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\) scale\((-?[\d.]+), -?[\d.]+\)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_SHRINK = 0.1
_Line = tuple[int, int, int, int]
_SVG = "{http://www.w3.org/2000/svg}"


class Page(NamedTuple):
    """The inside of an SVG, and its view box."""

    inside: Markup
    view: str


@dataclass
class Engraved:
    """Pages, and the shapes that they use, by name."""

    pages: list[Page] = field(default_factory=list)
    shapes: dict[str, Markup] = field(default_factory=dict)


def engrave(score: str, page_width: int) -> Engraved:
    """Every page of a score. page_width: in verovio's tenths of its unit. Raises Unwritable when verovio cannot be loaded or refuses."""
    try:
        import verovio  # noqa: PLC0415 - 5 MB of font and code, only the report needs it
    except ImportError:
        raise Unwritable("the library verovio that engraves it cannot be loaded") from None
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS | {"pageWidth": page_width})
    if not toolkit.loadData(score):
        raise Unwritable("the library verovio refuses it")
    engraved = Engraved()
    for page in range(1, toolkit.getPageCount() + 1):
        root = ET.fromstring(toolkit.renderToSVG(page))  # noqa: S314 - written by the library from our own text
        for shape in root.iter(_SVG + "g"):
            name = shape.get("id", "").partition("-")[0]
            if re.fullmatch("E[0-9A-F]{3}", name) and name not in engraved.shapes:
                engraved.shapes[name] = _shape(name, shape)
        engraved.pages.append(_page(root))
    return engraved


def _page(root: ET.Element) -> Page:
    (sheet,) = (node for node in root.iter(_SVG + "svg") if node.get("class") == "definition-scale")
    (inner,) = (node for node in sheet.iter(_SVG + "g") if node.get("class") == "page-margin")
    left, top = (float(value) for value in _NUMBER.findall(inner.get("transform", "")))
    _, _, width, height = (float(value) for value in sheet.get("viewBox", "").split())
    view = " ".join(str(round(_SHRINK * value)) for value in (-left, -top, width, height))
    return Page(Markup("").join(_drawn(inner)), view)


def _shape(name: str, group: ET.Element) -> Markup:
    path = next(group.iter(_SVG + "path"))
    return tag("path", id=name, transform=f"scale({number(_SIZE * _SHRINK, 4)} {number(-_SIZE * _SHRINK, 4)})", d=path.get("d"))


def _drawn(group: ET.Element) -> Iterator[Markup]:
    """What a group draws, its groups dissolved but those that have a colour; lines of one width are one path."""
    lines: dict[float, list[_Line]] = {}
    for node in _leaves(group):
        line = _LINE.fullmatch(node.get("d", "")) if node.tag == _SVG + "path" else None
        if line is None:
            yield from _element(node)
        else:
            x, y, to_x, to_y = (round(_SHRINK * float(value)) for value in line.groups())
            lines.setdefault(_SHRINK * float(node.get("stroke-width", "1")), []).append((x, y, to_x, to_y))
    for width, found in lines.items():
        yield tag("path", d=_joined(found), stroke_width=width)


def _joined(lines: list[_Line]) -> str:
    """Path data of lines, level ones that touch drawn as one: the staff goes on over the bar line."""
    level: dict[tuple[int, int], list[int]] = {}
    parts = []
    for x, y, to_x, to_y in lines:
        if y != to_y:
            parts.append(f"M{x} {y}V{to_y}" if x == to_x else f"M{x} {y}L{to_x} {to_y}")
            continue
        reach = level.pop((x, y), [x, x])
        level[to_x, y] = [reach[0], to_x]
    return "".join([*parts, *(f"M{x} {y}H{to_x}" for (_, y), (x, to_x) in level.items())])


def _leaves(group: ET.Element) -> Iterator[ET.Element]:
    """Everything drawn in a group, and the groups in it that mean something by themselves."""
    for node in group:
        kinds = node.get("class", "").split()
        if "placeholder" in kinds:
            continue
        plain = not _fate(node) and not set(kinds) & set(_TEXTS) and node.get("transform") is None
        if node.tag == _SVG + "g" and plain:
            yield from _leaves(node)
        elif node.get("transform") and node.tag != _SVG + "use":
            raise Unwritable("the library verovio moves a sign in a way that was not expected")
        elif node.tag not in (_SVG + "defs", _SVG + "style", _SVG + "desc"):
            yield node


def _element(node: ET.Element) -> Iterator[Markup]:
    """One element in our own words."""
    name, kind = node.tag.removeprefix(_SVG), node.get("class", "").split(" ")[0]
    if name == "g" and kind in _TEXTS:
        yield from (_text(text, kind) for text in node.iter(_SVG + "text") if "".join(text.itertext()).strip())
    elif name == "g":
        inside = Markup("").join(_drawn(node))
        if inside:
            yield tag("g", inside, class_=_fate(node))
    elif name == "use":
        yield _use(node)
    elif name in ("path", "polygon", "polyline", "rect", "ellipse"):
        kept = ("d", "points", "x", "y", "width", "height", "cx", "cy", "rx", "ry", "stroke-width", "stroke-dasharray")
        yield tag(name, **{key.replace("-", "_"): _shrunk(node.get(key, "")) for key in kept if node.get(key) is not None})
    else:
        raise Unwritable(f"the library verovio draws a {name}, which was not expected")


def _use(node: ET.Element) -> Markup:
    shape = "#" + node.get("href", "").removeprefix("#").partition("-")[0]
    moved = _MOVED.fullmatch(node.get("transform", ""))
    if moved is None:
        raise Unwritable("the library verovio places a sign in a way that was not expected")
    x, y, size = (float(value) for value in moved.groups())
    x, y = round(_SHRINK * x), round(_SHRINK * y)
    if size == _SIZE:
        return tag("use", href=shape, x=x, y=y)
    return tag("use", href=shape, transform=f"translate({x} {y})scale({number(size / _SIZE, 4)})")


def _text(text: ET.Element, kind: str) -> Markup:
    sizes = [float(size.get("font-size", "0px").removesuffix("px")) for size in text.iter()]
    fates = [fate for part in text.iter() if (fate := _fate(part))]
    return tag(
        "text",
        " ".join("".join(text.itertext()).split()),
        class_=" ".join([kind, *fates[:1]]),
        x=round(_SHRINK * float(text.get("x", "0"))),
        y=round(_SHRINK * float(text.get("y", "0"))),
        font_size=round(_SHRINK * max(sizes), 1),
        text_anchor=text.get("text-anchor"),
    )


def _shrunk(values: str) -> str:
    """The numbers in an attribute, a tenth as large: 2700 to a page's width instead of 27,000."""
    return _NUMBER.sub(lambda found: number(_SHRINK * float(found[0]), 1), values)


def _fate(node: ET.Element) -> str:
    """What the colour of an element stands for."""
    return _FATES.get((node.get("fill") or node.get("color") or "").lower(), "")
