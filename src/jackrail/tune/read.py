"""The door to tunes: `read_tune` and `list_tunes`, which tell MIDI, ABC and MusicXML apart by what the file holds."""

from __future__ import annotations

import re
from pathlib import Path

from jackrail.faults import BadInput, Fault

from .abc.reader import read_abc
from .abc.text import TuneText, split_tunes
from .midi.reader import list_midi, read_midi
from .model import Tune
from .musicxml.file import looks_like_xml, open_musicxml
from .musicxml.reader import list_parts, read_musicxml
from .one_line import one_line

MAX_BYTES = 8 * 2**20
"""Largest file read: a thick book of ABC tunes has two million bytes."""
_ABC_LINE = re.compile(r"^(?:X:|K:)", re.MULTILINE)


def read_tune(path: Path, number: int | None = None) -> Tune:
    """The tune in a MIDI, ABC or MusicXML file, repeats played out.

    number: one of the numbers of `list_tunes`: the X: number in ABC, the part in MusicXML, the track in MIDI. Without it the
    first tune or part, or the track that `midi.melody_track` chooses; a warning says what else there is. A tune without a
    title is called after its file.
    Raises BadInput, each fault with the file and the line, bar or byte.
    """
    stem = one_line(path.stem) or "Untitled"
    try:
        data = _bytes_of(path)
        kind = _kind(data, path.suffix.lower())
        if kind == "midi":
            return read_midi(data, stem, number)
        if kind == "xml":
            root, warnings = open_musicxml(data)
            return read_musicxml(root, stem, number, warnings)
        text, warnings = _text_of(data)
        return _read_abc_file(text, stem, number, warnings)
    except BadInput as bad:
        raise bad.at(one_line(str(path))) from None


def list_tunes(path: Path) -> list[tuple[int, str]]:
    """Number and title of each tune (ABC), part (MusicXML) or track with notes (MIDI) that `read_tune` can be asked for."""
    try:
        data = _bytes_of(path)
        kind = _kind(data, path.suffix.lower())
        if kind == "midi":
            return list_midi(data)
        if kind == "xml":
            return list_parts(open_musicxml(data)[0])
        return [(tune.number, tune.title) for tune in _tunes(_text_of(data)[0])]
    except BadInput as bad:
        raise bad.at(one_line(str(path))) from None


def _bytes_of(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        data = path.read_bytes() if path.is_file() and size <= MAX_BYTES else b""
        if not path.is_file():
            raise BadInput(Fault("file", "is no plain file", hint="give the name of a tune's file"))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(Fault("file", f"cannot be read: {reason}", hint="check the name and its folder")) from None
    if size > MAX_BYTES:
        raise BadInput(
            Fault("file", "is too large for a tune", value=f"{size} bytes", limit=f"at most {MAX_BYTES}", hint="is it a recording?")
        )
    if not data.strip():
        raise BadInput(Fault("file", "is empty", hint="was it saved or copied completely?"))
    return data


def _kind(data: bytes, suffix: str) -> str:
    if data.startswith((b"MThd", b"RIFF")):
        return "midi"
    if data.startswith(b"PK") or looks_like_xml(data):
        return "xml"
    if suffix in {".mid", ".midi", ".kar", ".smf"}:
        hint = "a Standard MIDI File begins with MThd; is it another kind of file under this name?"
        raise BadInput(Fault("format", "is no Standard MIDI File", "byte 0", repr(data[:8]), hint=hint))
    if suffix in {".xml", ".musicxml", ".mxl"}:
        raise BadInput(
            Fault("format", "is no MusicXML", "byte 0", repr(data[:12]), hint="a MusicXML file begins with <?xml, a .mxl with PK")
        )
    return "abc"


def _text_of(data: bytes) -> tuple[str, tuple[str, ...]]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), ()
        except UnicodeDecodeError:
            raise BadInput(Fault("format", "is no text that can be read", hint="save it as UTF-8")) from None
    strange = re.search(rb"[\x00-\x08\x0e-\x19\x1b-\x1f]", data)
    if strange is not None:
        hint = "tunes are read from ABC, MIDI and MusicXML files"
        raise BadInput(Fault("format", "is neither text nor music", f"byte {strange.start()}", repr(strange[0]), hint=hint))
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        return data.decode("latin-1"), ("the file is not in UTF-8 and was read as Latin-1: check letters with accents",)


def _tunes(text: str) -> list[TuneText]:
    tunes = split_tunes(text) if _ABC_LINE.search(text) else []
    if not tunes:
        hint = "a tune begins with X:1 and its header ends with K: and the key"
        raise BadInput(Fault("format", "holds no ABC tune", "line 1", repr(text.lstrip()[:24]), hint=hint))
    return tunes


def _read_abc_file(text: str, title: str, number: int | None, warnings: tuple[str, ...]) -> Tune:
    tunes = _tunes(text)
    if number is None:
        chosen = tunes[0]
        if len(tunes) > 1:
            others = f"{len(tunes) - 1} others" if len(tunes) > 2 else "1 other"
            warnings += (f"the file holds {others}: this is X:{chosen.number}, the first",)
    else:
        same = [tune for tune in tunes if tune.number == number]
        if not same:
            known = ", ".join(str(tune.number) for tune in tunes[:12]) + (" ..." if len(tunes) > 12 else "")
            raise BadInput(Fault("option", "holds no tune with that number", value=f"X:{number}", limit=known, hint="give one of these"))
        chosen = same[0]
        if len(same) > 1:
            warnings += (f"{len(same)} tunes are numbered X:{number}: this is the first of them",)
    return read_abc(chosen, title, warnings)
