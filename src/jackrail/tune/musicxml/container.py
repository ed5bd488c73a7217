"""Compressed MusicXML (.mxl): a zip file whose META-INF/container.xml names the score. Nothing is ever written to disk."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable
from typing import TYPE_CHECKING
from urllib.parse import unquote

from jackrail.faults import BadInput, Fault

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MAX_XML_BYTES = 16 * 2**20
"""Largest score once unpacked."""
MAX_MEMBERS = 1000
MAX_CONTAINER_BYTES = 100_000
_CONTAINER = "META-INF/container.xml"
_SCORE_TYPES = {"", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml", "text/xml", "application/xml"}
_ENTRY = b"PK\x01\x02"


def unpacked(data: bytes, parse: Callable[[bytes], Element]) -> tuple[bytes, tuple[str, ...]]:
    """The score in a .mxl file and what there is to say about it. parse: reads container.xml. Raises BadInput.

    MusicXML 4.0, "Compressed .MXL Files": the first <rootfile> is the score. Its path is tried as written, unescaped, and with what
    some programs put into it: a leading "./" or "/", or backslashes.
    """
    if data.count(_ENTRY) > MAX_MEMBERS:
        raise BadInput(Fault("range", "holds far too many files", limit=f"at most {MAX_MEMBERS}", hint="is it a score?"))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            name, warnings = _score_in(archive, parse)
            return _member(archive, name, MAX_XML_BYTES), warnings
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, ValueError, OverflowError) as error:
        raise BadInput(Fault("format", *_trouble(error), hint="export it again")) from None


def _trouble(error: Exception) -> tuple[str, str, str]:
    """What is wrong with the archive, where and with which value; the library's own words are for programmers."""
    if isinstance(error, RuntimeError) and not isinstance(error, NotImplementedError):
        return "is locked by a password", "", ""
    if isinstance(error, zipfile.BadZipFile) and "not a zip" in str(error):
        return "is no .mxl file (a zip archive) although it begins like one: it is cut short or damaged", "", "PK"
    return "is a damaged .mxl file (a zip archive): it cannot be unpacked", "", ""


def _score_in(archive: zipfile.ZipFile, parse: Callable[[bytes], Element]) -> tuple[str, tuple[str, ...]]:
    names = archive.namelist()
    if _CONTAINER not in names:
        scores = [name for name in names if name.lower().endswith((".xml", ".musicxml"))]
        if len(scores) == 1:
            return scores[0], ("the compressed file has no META-INF/container.xml: its only score was read",)
        raise _not_there("a .xml file")
    paths = _rootfiles(parse(_member(archive, _CONTAINER, MAX_CONTAINER_BYTES)))
    for path in paths:
        for candidate in (path, unquote(path), _plain(path), _plain(unquote(path))):
            if candidate in names and not candidate.endswith("/"):
                return candidate, (f"the compressed file holds {len(paths)} scores: the first is read",) if len(paths) > 1 else ()
    raise _not_there(paths[0] if paths else "no score at all")


def _not_there(path: str) -> BadInput:
    hint = "export it again, or unpack it and read the .xml inside"
    return BadInput(Fault("format", "names a score that is not in it", value=path[:80], hint=hint))


def _plain(path: str) -> str:
    return path.replace("\\", "/").removeprefix("./").lstrip("/")


def _rootfiles(container: Element) -> list[str]:
    """The paths of the MusicXML files that a container names: other media types, such as PDF, are other forms of the score."""
    roots = [element for element in container.iter() if isinstance(element.tag, str) and element.tag.rpartition("}")[2] == "rootfile"]
    return [root.get("full-path", "") for root in roots if root.get("media-type", "").strip().lower() in _SCORE_TYPES]


def _member(archive: zipfile.ZipFile, name: str, most: int) -> bytes:
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
