"""SVG written as text: one function for an element, so that every attribute and word is escaped in one place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from markupsafe import Markup, escape

_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Text without what neither HTML nor XML can hold (control characters, lone surrogates): each becomes U+FFFD."""
    return text if isinstance(text, Markup) else _UNPRINTABLE.sub("\ufffd", text)


def tag(name: str, *inside: str, **attributes: str | float | None) -> Markup:
    """An element. A trailing _ in an attribute's name is dropped, another _ becomes "-"; None leaves the attribute out.

    Plain strings inside are escaped, Markup is taken as it is. Numbers are written with at most two decimals.
    """
    written = "".join(f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"' for key, value in attributes.items() if value is not None)
    body = "".join(escape(clean(part)) for part in inside)
    return Markup(f"<{name}{written}>{body}</{name}>" if inside else f"<{name}{written}/>")  # noqa: S704 - escaped above


def polyline(points: Sequence[tuple[float, float]], decimals: int = 2) -> str:
    """Path data of straight lines through points, "" for fewer than two. Lines along an axis are written as H and V, half as long."""
    if len(points) < 2:
        return ""
    written = [(number(x, decimals), number(y, decimals)) for x, y in points]
    parts = [f"M{written[0][0]} {written[0][1]}"]
    for (x0, y0), (x, y) in pairwise(written):
        parts.append(f"H{x}" if y == y0 else f"V{y}" if x == x0 else f"L{x} {y}")
    return "".join(parts)


def scattered(points: Sequence[tuple[float, float]], shape: str) -> str:
    """Path data of one shape at many points, each given from the one before, in tenths: half as long as from the corner.

    shape: relative path data that ends where it began.
    """
    parts, x, y = [], 0, 0
    for right, down in points:
        next_x, next_y = round(10 * right), round(10 * down)
        parts.append(f"m{number((next_x - x) / 10)} {number((next_y - y) / 10)}{shape}")
        x, y = next_x, next_y
    return "".join(parts)


def number(value: float, decimals: int = 2) -> str:
    """A coordinate with at most so many decimals and no trailing zeros."""
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".")
    return text if text not in ("", "-0") else "0"


def _value(value: str | float) -> str:
    return str(escape(clean(value))) if isinstance(value, str) else number(value)
