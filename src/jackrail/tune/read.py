"""The door to tunes: `read_tune` and `list_tunes`, which tell MIDI, ABC and MusicXML apart by what the file holds."""

from __future__ import annotations

import re
from dataclasses import asdict, replace
from pathlib import Path

from jackrail.faults import BadInput, Fault

from .abc.reader import list_abc, read_abc
from .abc.text import TuneText, split_tunes
from .abc.text_strings import declared_charset
from .choice import EVERYTHING, Choice, Offer
from .inference.key import estimate_key
from .inference.line import top_line
from .midi.reader import list_midi, read_midi
from .model import Tune
from .musicxml.file import looks_like_xml, open_musicxml
from .musicxml.reader import list_parts, read_musicxml
from .one_line import one_line

MAX_BYTES = 8 * 2**20
"""Largest file read: a thick book of ABC tunes has two million bytes."""
_ABC_LINE = re.compile(r"^(?:X:|K:)", re.MULTILINE)


def read_tune(path: Path, choice: Choice | int | None = None) -> Tune:
    """The tune in a MIDI, ABC or MusicXML file, repeats played out.

    choice: which music of the file, and how; a plain number stands for `Choice(number=...)`. Without it the rules of
    docs/notation.md decide, and a remark says what else there is. A tune without a title is called after its file.
    Raises BadInput, each fault with the file and the line, bar or byte, and an "option" fault for what the file has not.
    """
    wanted = Choice(number=choice) if isinstance(choice, int) else choice or EVERYTHING
    try:
        return parse_tune(_bytes_of(path), path.name, wanted)
    except BadInput as bad:
        raise bad.at(one_line(str(path))) from None


def parse_tune(data: bytes, name: str, choice: Choice = EVERYTHING) -> Tune:
    """The tune in the bytes of a file. name: the file's, for what it holds no word about. Raises BadInput without the file's name."""
    kind = _kind(data, Path(name).suffix.lower())
    _check_choice(choice, kind)
    tune = _read(data, kind, one_line(Path(name).stem) or "Untitled", choice)
    return _named_otherwise(_with_key(tune if kind == "midi" else _lined(tune, choice)), name, kind)


def list_tunes(path: Path, number: int | None = None) -> list[Offer]:
    """What `read_tune` can be asked for: tunes (ABC), parts with their voices (MusicXML), tracks with notes (MIDI).

    number: the X: number of an ABC tune whose voices are wanted.
    """
    try:
        return parse_offers(_bytes_of(path), path.name, number)
    except BadInput as bad:
        raise bad.at(one_line(str(path))) from None


def parse_offers(data: bytes, name: str, number: int | None = None) -> list[Offer]:
    """`list_tunes` on the bytes of a file. Raises BadInput without the file's name."""
    kind = _kind(data, Path(name).suffix.lower())
    _check_choice(Choice(number=number), kind)
    if kind == "midi":
        return list_midi(data)
    if kind == "xml":
        return list_parts(open_musicxml(data)[0])
    tunes = _tunes(_text_of(data)[0])
    return list_abc(tunes if number is None else [_numbered(tunes, number)[0]])


def _read(data: bytes, kind: str, stem: str, choice: Choice) -> Tune:
    if kind == "midi":
        return read_midi(data, stem, choice)
    if kind == "xml":
        root, warnings = open_musicxml(data)
        return read_musicxml(root, stem, choice, warnings)
    text, warnings = _text_of(data)
    return _read_abc_file(text, stem, choice, warnings)


_OFFERED = {
    "abc": ("an ABC file", {"number", "voice", "line"}),
    "xml": ("a MusicXML file", {"part", "voice", "line"}),
    "midi": ("a MIDI file", {"track", "channel", "line", "quantise"}),
}


def _check_choice(choice: Choice, kind: str) -> None:
    """Raise BadInput for each thing asked for that this kind of file has not."""
    name, offered = _OFFERED[kind]
    asked = {word: value for word, value in asdict(choice).items() if value is not None}
    wrong = [word for word in asked if word not in offered]
    if wrong:
        hint = f"{name} has {', '.join(f'--{word}' for word in sorted(offered))}; `jackrail read FILE --list` shows what is in it"
        raise BadInput([Fault("option", f"means nothing in {name}", f"--{word}", f"{asked[word]}", hint=hint) for word in wrong])
    if choice.quantise is not None and not 0 <= choice.quantise <= 1:
        limit = "0 (as played) to 1 or 100% (on the beat's grid)"
        raise BadInput(Fault("option", "cannot be so much", "--quantise", f"{choice.quantise:g}", limit, "0.5 moves notes half-way"))


_KIND_OF = {
    ".abc": "abc", ".mid": "midi", ".midi": "midi", ".kar": "midi", ".smf": "midi", ".xml": "xml", ".musicxml": "xml", ".mxl": "xml",
}  # fmt: skip


def _named_otherwise(tune: Tune, name: str, kind: str) -> Tune:
    """`tune` with a remark when the file's name says another kind of file than it is."""
    suffix = Path(name).suffix.lower()
    if _KIND_OF.get(suffix, kind) == kind:
        return tune
    return replace(tune, remarks=(*tune.remarks, f"the file is {_OFFERED[kind][0]}, although its name ends in {suffix}"))


def _lined(tune: Tune, choice: Choice) -> Tune:
    """`tune` with its highest line only, when that is asked for."""
    if choice.line != "top":
        return tune
    top = top_line(tune.notes)
    heads = {(note.onset_q, note.midi) for note in top}
    return replace(tune, notes=top, ornaments=tuple(small for small in tune.ornaments if (small.onset_q, small.midi) in heads))


def _with_key(tune: Tune) -> Tune:
    """`tune` with a key told from its notes where the file states none."""
    if any(mark.tonic_fifths is not None for mark in tune.keys):
        return tune
    found = estimate_key(tune.notes)
    if found is None:
        return tune
    said = f"the file states no key: {found.name()} is told from the notes"
    return replace(tune, keys=(found,), key_estimated=True, remarks=(*tune.remarks, said))


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
    """What the bytes are, whatever the file is called. Raises BadInput for what is none of them and named like one."""
    if data.startswith((b"MThd", b"RIFF")):
        return "midi"
    if data.startswith(b"PK") or looks_like_xml(data):
        return "xml"
    called = _KIND_OF.get(suffix, "abc")
    if called == "abc" or re.search(rb"^K:", data, re.MULTILINE):
        return "abc"
    if called == "midi":
        hint = "a Standard MIDI File begins with MThd; is it another kind of file under this name?"
        raise BadInput(Fault("format", "is no Standard MIDI File", "byte 0", _begins(data), hint=hint))
    hint = "a MusicXML file begins with <?xml, a .mxl with PK"
    raise BadInput(Fault("format", "is no MusicXML", "byte 0", _begins(data), hint=hint))


def _begins(data: bytes) -> str:
    """The first bytes for a message, as text where they are text."""
    head = data[:12]
    return f"begins with {one_line(head.decode('ascii'))}" if head.isascii() else f"begins with the bytes {head.hex(' ')}"


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
    charset = declared_charset(data)
    if charset not in (None, "utf-8", "ascii"):
        try:
            return data.decode(charset), ()
        except UnicodeDecodeError:
            return data.decode("latin-1"), (f"the file says it is in {charset}, but is not: it was read as Latin-1",)
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        return data.decode("latin-1"), ("the file is not in UTF-8 and was read as Latin-1: check letters with accents",)


def _tunes(text: str) -> list[TuneText]:
    tunes = split_tunes(text) if _ABC_LINE.search(text) else []
    if not tunes:
        hint = "a tune begins with X:1 and its header ends with K: and the key"
        if re.search(r"^\s*\[", text, re.MULTILINE) and "=" in text:
            hint = "is it a machine file? MACHINE comes first, then TUNE"
        raise BadInput(Fault("format", "holds no ABC tune", "line 1", repr(text.lstrip()[:24]), hint=hint))
    return tunes


def _read_abc_file(text: str, title: str, choice: Choice, warnings: tuple[str, ...]) -> Tune:
    tunes = _tunes(text)
    remarks: tuple[str, ...] = ()
    if choice.number is None:
        chosen = tunes[0]
        if len(tunes) > 1:
            others = f"{len(tunes) - 1} others" if len(tunes) > 2 else "1 other"
            remarks = (f"the file holds {others}: this is X:{chosen.number}, the first; --list shows all, --number chooses",)
    else:
        chosen, same = _numbered(tunes, choice.number)
        if same > 1:
            warnings += (f"{same} tunes are numbered X:{choice.number}: this is the first of them",)
    tune = read_abc(chosen, title, warnings, choice)
    return replace(tune, remarks=(*remarks, *tune.remarks))


def _numbered(tunes: list[TuneText], number: int) -> tuple[TuneText, int]:
    """The first tune of that X: number, and how many have it. Raises BadInput with the numbers there are."""
    same = [tune for tune in tunes if tune.number == number]
    if not same:
        known = ", ".join(str(tune.number) for tune in tunes[:12]) + (" ..." if len(tunes) > 12 else "")
        raise BadInput(Fault("option", "holds no tune with that number", value=f"X:{number}", limit=known, hint="give one of these"))
    return same[0], len(same)
