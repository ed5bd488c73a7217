"""Opening MusicXML safely: encodings, compressed files, bounds; no entities, no network, no other file."""

from __future__ import annotations

import codecs
import re
from xml.etree import ElementTree as ET

from jackrail.faults import BadInput, Fault

from .container import unpacked

MAX_TAGS = 1_000_000
"""Most tags of a score, so that its tree stays below some 100 MB."""
MAX_ATTRIBUTES = 500_000
_ENCODING = re.compile(rb"""^<\?xml[^>]{0,200}encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']""")
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"<\x00", "utf-16-le"), (b"\x00<", "utf-16-be"))

# Codecs of Python that are no character sets.
_NO_CHARACTER_SETS = {"undefined", "punycode", "idna", "unicode_escape", "raw_unicode_escape", "unicode-escape", "raw-unicode-escape"}

# What lets a file grow on reading, or reach for other files.
_REFUSED = (
    ("<!ENTITY", "declares entities, which are not read here"),
    ("<!ATTLIST", "declares attributes of its own, which are not read here"),
    ("http://www.w3.org/2001/XInclude", "includes other files, which are not read here"),
)


def looks_like_xml(data: bytes) -> bool:
    """Whether the first sign that is not blank is <, in any encoding read here."""
    head = data[:400]
    for bom, encoding in _BOMS:
        if head.startswith(bom):
            head = head[: len(head) & ~1].decode(encoding, "replace").encode("ascii", "replace")
    return head.lstrip().startswith(b"<")


def open_musicxml(data: bytes) -> tuple[ET.Element, tuple[str, ...]]:
    """Root element of a score and what there is to say about the file. Raises BadInput."""
    warnings: tuple[str, ...] = ()
    if data.startswith(b"PK"):
        data, warnings = unpacked(data, lambda container: _parsed(_decoded(container)))
        if data.startswith(b"PK"):
            raise BadInput(Fault("format", "is packed twice", hint="unpack it once and read the file inside"))
    root = _parsed(_decoded(data))
    if root.tag not in {"score-partwise", "score-timewise"}:
        hint = "a score begins with <score-partwise>; export it as MusicXML"
        raise BadInput(Fault("format", "is XML but no MusicXML score", value=f"<{root.tag[:40]}>", hint=hint))
    return root, warnings


def _decoded(data: bytes) -> str:
    encoding = next((name for bom, name in _BOMS if data.startswith(bom)), None)
    if encoding is None:
        declared = _ENCODING.match(data.lstrip())
        encoding = declared[1].decode("ascii") if declared else "utf-8"
    reason = "no character set"
    try:
        if codecs.lookup(encoding).name not in _NO_CHARACTER_SETS:
            return data.decode(encoding).lstrip("\ufeff \t\r\n")
    except (UnicodeError, LookupError) as error:
        reason = str(error)[:80]
    raise BadInput(Fault("format", f"cannot be decoded as {encoding}", value=reason, hint="save the score again as UTF-8"))


def _parsed(text: str) -> ET.Element:
    """The tree of a text. Raises BadInput, with line and column, for one that is no well-formed XML or may not be read."""
    for word, what in _REFUSED:
        if word in text:
            line = text.count("\n", 0, text.index(word)) + 1
            raise BadInput(Fault("format", what, f"line {line}", hint="no score needs them; export it again"))
    for sign, what, most in (("<", "tags", MAX_TAGS), ("=", "attributes", MAX_ATTRIBUTES)):
        if text.count(sign) > most:
            raise BadInput(Fault("range", "is far too large for a score", limit=f"at most {most} {what}", hint="is it a score?"))
    parser = ET.XMLParser()  # noqa: S314 - see _REFUSED: nothing outside the text is read, nothing grows
    try:
        parser.feed(text)
        root = parser.close()
    except (ET.ParseError, ValueError) as error:
        line, column = getattr(error, "position", (0, 0))
        what = str(error).split(":")[0]
        hint = "the file is cut short or damaged; export it again"
        raise BadInput(Fault("syntax", f"is not well-formed XML: {what}", f"line {line} column {column + 1}", hint=hint)) from None
    if not isinstance(root, ET.Element):
        raise BadInput(Fault("format", "is XML but no MusicXML score", hint="export it as MusicXML"))
    return root
