"""Opening MusicXML safely: encodings, compressed files, bounds; no entities, no network."""

from __future__ import annotations

import codecs
import io
import re
import zipfile
import zlib
from urllib.parse import unquote
from xml.etree import ElementTree as ET

from jackrail.faults import BadInput, Fault

MAX_XML_BYTES = 16 * 2**20
"""Largest score once unpacked."""
MAX_TAGS = 1_000_000
"""Most tags of a score, so that its tree stays below some 100 MB."""
MAX_MEMBERS = 1000
_ENCODING = re.compile(rb"""^<\?xml[^>]{0,200}encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']""")
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"<\x00", "utf-16-le"), (b"\x00<", "utf-16-be"))

# Codecs of Python that are no character sets.
_NO_CHARACTER_SETS = {"undefined", "punycode", "idna", "unicode_escape", "raw_unicode_escape", "unicode-escape", "raw-unicode-escape"}
MAX_CONTAINER_BYTES = 100_000


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
        data, warnings = _unpacked(data)
    return _parsed(_decoded(data)), warnings


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
    if "<!ENTITY" in text:
        line = text.count("\n", 0, text.index("<!ENTITY")) + 1
        raise BadInput(
            Fault("format", "declares entities, which are not read here", f"line {line}", hint="no score needs them; export it again")
        )
    if text.count("<") > MAX_TAGS:
        raise BadInput(Fault("range", "is far too large for a score", limit=f"at most {MAX_TAGS} tags", hint="is it a score?"))
    parser = ET.XMLParser()  # noqa: S314 - see the import
    try:
        parser.feed(text)
        root = parser.close()
    except (ET.ParseError, ValueError) as error:
        line, column = getattr(error, "position", (0, 0))
        what = str(error).split(":")[0]
        hint = "the file is cut short or damaged; export it again"
        raise BadInput(Fault("syntax", f"is not well-formed XML: {what}", f"line {line} column {column + 1}", hint=hint)) from None
    if not isinstance(root, ET.Element) or root.tag not in {"score-partwise", "score-timewise"}:
        tag = str(getattr(root, "tag", ""))[:40]
        hint = "a score begins with <score-partwise>; export it as MusicXML"
        raise BadInput(Fault("format", "is XML but no MusicXML score", value=f"<{tag}>", hint=hint))
    return root


def _unpacked(data: bytes) -> tuple[bytes, tuple[str, ...]]:
    """The score in a .mxl file, which META-INF/container.xml names."""
    warnings: tuple[str, ...] = ()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            if len(names) > MAX_MEMBERS:
                raise BadInput(Fault("range", "holds far too many files", value=str(len(names)), limit=f"at most {MAX_MEMBERS}"))
            if "META-INF/container.xml" in names:
                path = _rootfile(_member(archive, "META-INF/container.xml", MAX_CONTAINER_BYTES))
                name = next((name for name in (path, unquote(path)) if name in names), None)
            else:
                scores = [name for name in names if name.lower().endswith((".xml", ".musicxml"))]
                path, name = "a .xml file", scores[0] if len(scores) == 1 else None
                warnings = ("the compressed file has no META-INF/container.xml: its only score was read",)
            if name is None:
                hint = "export it again, or unpack it and read the .xml inside"
                raise BadInput(Fault("format", "names a score that is not in it", value=path, hint=hint))
            return _member(archive, name), warnings
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, ValueError) as error:
        hint = "the file is cut short, damaged or locked; export it again"
        raise BadInput(Fault("format", "cannot be unpacked", value=str(error)[:80], hint=hint)) from None


def _member(archive: zipfile.ZipFile, name: str, most: int = MAX_XML_BYTES) -> bytes:
    member = archive.getinfo(name)
    if member.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:  # MusicXML 4.0, "Compressed .MXL Files"
        hint = "a .mxl file is packed by DEFLATE; export it again"
        raise BadInput(Fault("format", "is packed in a way that no score is", name[:80], f"method {member.compress_type}", "0 or 8", hint))
    too_large = Fault("range", "unpacks to far too much for a score", name[:80], limit=f"at most {most} bytes", hint="is it a score?")
    if member.file_size > most:
        raise BadInput(too_large)
    with archive.open(name) as file:
        data = file.read(most + 1)  # the directory may lie about the size
    if len(data) > most:
        raise BadInput(too_large)
    return data


def _rootfile(container: bytes) -> str:
    found = re.search(r"""<rootfile\b[^<>]*\bfull-path\s*=\s*(?:"([^"]*)"|'([^']*)')""", _decoded(container))
    return "" if found is None else (found[1] or found[2] or "").replace("&amp;", "&")
