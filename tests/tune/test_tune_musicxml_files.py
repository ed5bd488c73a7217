"""Opening MusicXML: encodings, compressed files (MusicXML 4.0, "Compressed .MXL Files"), and what files must not do."""

import io
import struct
import urllib.request
import zipfile
from xml.etree import ElementTree as ET

import pytest
from musicxml_reading import DIVISIONS, heads, note, score

from jackrail.faults import BadInput
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.musicxml.reader import list_parts
from workshop import fault_codes

TUNE = score(DIVISIONS + note("C"))
CONTAINER = "META-INF/container.xml"
SCORE_TYPE = "application/vnd.recordare.musicxml+xml"


def packed(names: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in names.items():
            archive.writestr(name, data)
    return out.getvalue()


def rootfile(path: str, media_type: str = "") -> str:
    return f"<rootfile full-path='{path}'{f' media-type={media_type!r}' if media_type else ''}/>"


def container(*rootfiles: str) -> bytes:
    return f"<?xml version='1.0'?><container><rootfiles>{''.join(rootfiles)}</rootfiles></container>".encode()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "windows-1252"])
def test_encodings(encoding):
    declared = encoding.replace("-sig", "") if "16" not in encoding else "utf-16"
    text = f'<?xml version="1.0" encoding="{declared}"?>' + TUNE.decode().replace("Fiddle", "Flöte")
    assert list_parts(open_musicxml(text.encode(encoding))[0])[0].title == "Flöte"


@pytest.mark.parametrize("declared", ["no-such", "punycode", "unicode_escape"])
def test_what_is_no_character_set_is_refused(declared):
    with pytest.raises(BadInput, match="cannot be decoded"):
        open_musicxml(f"<?xml version='1.0' encoding='{declared}'?><score-partwise/>".encode())


PATHS = [
    ("a b.xml", "a b.xml"), ("a%20b.xml", "a b.xml"), ("a%20b.xml", "a%20b.xml"), ("a&amp;b.xml", "a&b.xml"), ("&#228;.xml", "ä.xml"),
    ("./score.xml", "score.xml"), ("/score.xml", "score.xml"), ("dir\\score.xml", "dir/score.xml"), ("dir/%C3%A4.xml", "dir/ä.xml"),
    ("../../score.xml", "../../score.xml"), ("/etc/score.xml", "/etc/score.xml"),
]  # fmt: skip


@pytest.mark.parametrize("written, stored", PATHS)
def test_paths_in_the_container(written, stored):
    """A path is only a name in the zip file: nothing is ever unpacked to disk, so ".." leads nowhere."""
    assert heads(packed({CONTAINER: container(rootfile(written)), stored: TUNE})) == [(0, 2, 72)]


def test_the_first_musicxml_rootfile_is_the_score():
    # "The first rootfile element ... is the MusicXML root"; others are the same score in other forms, such as PDF or audio.
    files = {"mimetype": b"application/vnd.recordare.musicxml", "a.pdf": b"%PDF", "b.xml": TUNE, "c.xml": b"<no/>"}
    roots = container(rootfile("a.pdf", "application/pdf"), rootfile("b.xml", SCORE_TYPE), rootfile("c.xml"))
    root, warnings = open_musicxml(packed({**files, CONTAINER: roots}))
    assert root.find("part") is not None
    assert warnings == ("the compressed file holds 2 scores: the first is read",)


def test_odd_but_legal_containers():
    commented = container(rootfile("s.xml")).replace(b"<rootfiles>", b"<rootfiles><!-- <rootfile full-path='old.xml'/> -->")
    prefixed = b"<o:container xmlns:o='urn:x'><o:rootfiles><o:rootfile full-path='s.xml'/></o:rootfiles></o:container>"
    for one in (commented, prefixed):
        assert heads(packed({"META-INF/": b"", CONTAINER: one, "s.xml": TUNE})) == [(0, 2, 72)]
    assert heads(packed({CONTAINER: container(rootfile("s.xml")), "s.xml": TUNE}, zipfile.ZIP_STORED)) == [(0, 2, 72)]


@pytest.mark.parametrize(
    "names, words",
    [
        ({CONTAINER: container(rootfile("none.xml")), "a.xml": TUNE}, "names a score that is not in it"),
        ({CONTAINER: container(), "a.xml": TUNE}, "names a score that is not in it"),
        ({CONTAINER: container(rootfile("d/")), "d/": b""}, "names a score that is not in it"),
        ({CONTAINER: b"<container", "a.xml": TUNE}, "is not well-formed XML"),
        ({CONTAINER: container(rootfile("a.mxl")), "a.mxl": packed({"a.xml": TUNE})}, "is packed twice"),
        ({"a.xml": TUNE, "b.xml": TUNE}, "names a score that is not in it"),
        ({f"{number}.xml": b"" for number in range(1001)}, "holds far too many files"),
    ],
)
def test_containers_that_lead_nowhere(names, words):
    with pytest.raises(BadInput, match=words):
        open_musicxml(packed(names))


def test_damaged_archives_are_refused():
    data = packed({CONTAINER: container(rootfile("a.xml")), "a.xml": TUNE})
    for broken in (data[:60], data[:-30], data[: len(data) // 2]):
        with pytest.raises(BadInput, match=r"is no \.mxl file \(a zip archive\) although it begins like one"):
            open_musicxml(broken)
    with pytest.raises(BadInput, match="is packed in a way that no score is"):
        open_musicxml(packed({CONTAINER: container(rootfile("a.xml")), "a.xml": TUNE}, zipfile.ZIP_BZIP2))


def test_a_locked_archive_is_refused():
    data = bytearray(packed({CONTAINER: container(rootfile("a.xml")), "a.xml": TUNE}))
    for sign, place in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):  # general purpose flag, bit 0: encrypted (APPNOTE 4.4.4)
        at = data.find(sign)
        while at >= 0:
            data[at + place] |= 1
            at = data.find(sign, at + 1)
    with pytest.raises(BadInput, match="is locked by a password"):
        open_musicxml(bytes(data))


def test_a_size_that_lies_is_found_out():
    large = b"<!--" + b" " * (17 * 2**20) + b"-->" + TUNE
    data = bytearray(packed({CONTAINER: container(rootfile("a.xml")), "a.xml": large}))
    true_size = struct.pack("<I", len(large))
    with pytest.raises(BadInput, match="unpacks to far too much"):
        open_musicxml(bytes(data))
    with pytest.raises(BadInput, match=r"unpacks to far too much|cannot be unpacked|is not well-formed"):
        open_musicxml(bytes(data).replace(true_size, struct.pack("<I", 1000)))


def test_members_that_overlap():
    """Two entries of the directory for one place: read as one file or refused, never grown."""
    data = bytearray(packed({CONTAINER: container(rootfile("a.xml")), "a.xml": TUNE, "b.xml": TUNE}))
    second = data.rfind(b"PK\x01\x02")
    data[second + 42 : second + 46] = struct.pack("<I", data.find(b"PK\x03\x04", 1))  # offset of the local header (APPNOTE 4.3.12)
    assert fault_codes(heads, bytes(data)) in ([], ["format"])


ENTITY = b"<!DOCTYPE score-partwise [<!ENTITY x SYSTEM 'file:///etc/hostname'>]><score-partwise>&x;</score-partwise>"
PARAMETER = b"<!DOCTYPE score-partwise [<!ENTITY % x SYSTEM 'http://localhost/x'> %x;]><score-partwise/>"
DEFAULTS = b"<!DOCTYPE score-partwise [<!ATTLIST note x CDATA 'aaaaaaaaaaaaaaaa'>]><score-partwise/>"
INCLUDE = b"<score-partwise xmlns:xi='http://www.w3.org/2001/XInclude'><xi:include href='other.xml'/></score-partwise>"


@pytest.mark.parametrize(
    "data, words",
    [
        (ENTITY, "declares entities"),
        (PARAMETER, "declares entities"),
        (ENTITY.decode().encode("utf-16"), "declares entities"),
        (DEFAULTS, "declares attributes"),
        (INCLUDE, "includes other files"),
        (b"<score-partwise>&x;</score-partwise>", "is not well-formed XML"),
        (b"<opus/>", "is XML but no MusicXML score"),
        (b"<score-partwise " + b" ".join(b"a%d='1'" % n for n in range(500_001)) + b"/>", "far too large for a score"),
        (b"<score-partwise>" + b"<a/>" * 1_000_001 + b"</score-partwise>", "far too large for a score"),
    ],
)
def test_what_reaches_out_or_grows_is_refused(data, words):
    with pytest.raises(BadInput, match=words):
        open_musicxml(data)


def test_a_doctype_is_read_without_looking_at_its_dtd(monkeypatch):
    """Neither a file nor a connection is opened for the DTD that nearly every score names."""

    def refuse(*_arguments, **_named):
        raise AssertionError("something was opened")

    for place in ("builtins.open", "io.open", "os.open", "socket.socket", "socket.create_connection"):
        monkeypatch.setattr(place, refuse)
    monkeypatch.setattr(urllib.request, "urlopen", refuse)
    dtd = b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://localhost/partwise.dtd">'
    assert heads(dtd + TUNE) == [(0, 2, 72)]
    local = b'<!DOCTYPE score-partwise SYSTEM "file:///etc/hostname">'
    assert heads(local + TUNE) == [(0, 2, 72)]


def test_deep_nesting_is_no_trouble():
    deep = b"<a>" * 200_000 + b"</a>" * 200_000
    assert heads(TUNE.replace(b"</measure>", deep + b"</measure>")) == [(0, 2, 72)]


def test_huge_texts_are_shown_in_short():
    huge = "x" * 1_000_000
    with pytest.raises(BadInput) as caught:
        heads(TUNE.replace(b"<step>C", b"<step>" + huge.encode()))
    assert len(str(caught.value)) < 400
    words = f"<direction><direction-type><words>{huge}</words></direction-type></direction>"
    assert heads(score(DIVISIONS + words + note("C"))) == [(0, 2, 72)]


def test_the_tree_is_a_plain_one():
    assert isinstance(open_musicxml(TUNE)[0], ET.Element)


def test_what_is_wrong_with_an_archive_is_said_in_plain_words():
    """Not in those of the library that unpacks it."""
    data = packed({CONTAINER: container(rootfile("a.xml")), "a.xml": TUNE})
    at = data.index(b"PK\x03\x04", 4) + 45  # inside the packed bytes of the score
    damaged = data[:at] + b"\xff\xff\xff\xff" + data[at + 4 :]
    for broken, what in ((data[:40], "is no .mxl file (a zip archive) although it begins like one"), (damaged, "cannot be unpacked")):
        with pytest.raises(BadInput) as caught:
            open_musicxml(broken)
        fault = caught.value.faults[0]
        assert what in fault.what
        assert len(fault.value) <= 4
        assert fault.hint
