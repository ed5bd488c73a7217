"""Titles and names: one line that can be printed anywhere, and never empty."""

import os
import struct
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.tune.one_line import MOST_CHARACTERS, one_line
from jackrail.tune.read import list_tunes, read_tune


def abc(title: str) -> bytes:
    return f"X:1\n{title}\nM:4/4\nK:C\nC8|]\n".encode()


def midi(name: bytes) -> bytes:
    events = b"\x00\xff\x03" + bytes([len(name)]) + name + b"\x00\x90\x3c\x40\x60\x3c\x00\x00\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96) + b"MTrk" + struct.pack(">I", len(events)) + events


def score(work: str) -> bytes:
    note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
    inside = f"<measure number='1'><attributes><divisions>1</divisions></attributes>{note}</measure>"
    title = f"<work><work-title>{work}</work-title></work>"
    names = f"<part-list><score-part id='P1'><part-name>{work}</part-name></score-part></part-list>"
    return f"<score-partwise>{title}{names}<part id='P1'>{inside}</part></score-partwise>".encode()


@pytest.mark.parametrize(
    "name, data, title",
    [
        ("a.abc", abc("T: Two  \t blanks % a remark"), "Two blanks"),
        ("a.abc", abc("T:Bell\x7f\u0085ringer\u2028s \u202egnor"), "Bell ringer s gnor"),
        ("a.abc", abc(r"T:Caf\'e \u266d &eacute;t\'e"), "Café ♭ été"),  # ABC 2.1 section 8.2
        ("a.abc", abc("T:One\n%%titlefont x\n+:title"), "One title"),  # ABC 2.1 section 3.3
        ("kept name.abc", abc("C:nobody"), "kept name"),
        ("kept name.abc", abc("T:\x7f"), "kept name"),
        ("a.mid", midi(b"A\x1b[2J song\x00\n"), "A[2J song"),
        ("b.mid", midi(b""), "b"),
        ("a.xml", score("Over\n  two lines"), "Over two lines"),
        ("c.xml", score(" "), "c"),
    ],
)
def test_a_title_is_one_line(tmp_path, name, data, title):
    (tmp_path / name).write_bytes(data)
    assert read_tune(tmp_path / name).title == title


@pytest.mark.parametrize("name, data", [("a.abc", abc("T:\x7fA  B")), ("a.mid", midi(b"\x1bA\n B")), ("a.xml", score("A\n B"))])
def test_names_in_a_list_are_one_line_each(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    assert [(offer.number, offer.title) for offer in list_tunes(tmp_path / name)] == [(1, "A B")]


def test_a_long_title_is_cut(tmp_path):
    path = tmp_path / "a.abc"
    path.write_bytes(abc("T:" + "long " * 20_000))
    title = read_tune(path).title
    assert len(title) <= MOST_CHARACTERS
    assert title.startswith("long long")
    assert title.endswith("…")


@pytest.mark.skipif(sys.platform != "linux", reason="other systems allow no such names")
@pytest.mark.parametrize("stem, title", [(b"caf\xe9 air", "caf air"), (b"\xe9", "Untitled")])
def test_a_file_name_in_another_encoding_gives_a_title_that_can_be_printed(tmp_path, stem, title):
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + stem + b".abc"))
    path.write_bytes(abc("C:nobody"))
    assert read_tune(path).title == title
    path.write_bytes(b"X:1\nK:C\n")
    with pytest.raises(BadInput) as caught:
        read_tune(path)
    assert "no music" in str(caught.value).encode().decode()


def test_a_warning_is_one_line(tmp_path):
    path = tmp_path / "a.abc"
    path.write_bytes(abc("T:t").replace(b"C8", b'"^D.C. \xc2\x9b"C8'))
    tune = read_tune(path)
    told = (*tune.warnings, *tune.remarks)
    assert any("D.C." in sentence for sentence in told)
    assert all(sentence.isprintable() for sentence in told)


@given(st.text(st.characters(), max_size=300))
def test_any_text_becomes_one_line(text):
    line = one_line(text)
    assert line == one_line(line)
    assert line.isprintable()
    assert len(line) <= MOST_CHARACTERS
    assert line.encode().decode() == line
    kept = [sign for sign in text if sign.isprintable() and sign != " "]
    assert [sign for sign in line if sign != " "] == kept or line.endswith("…")


@pytest.mark.parametrize(
    "head, title, said",
    [
        (b"%%abc-charset iso-8859-2\n", "\u0105", ""),  # ISO 8859-2: B1 is a with ogonek
        (b"I:abc-charset iso-8859-1\n", "\u00b1", ""),  # ISO 8859-1: B1 is plus-minus
        (b"I:abc-charset utf-8\n", "\u00b1", "was read as Latin-1"),
        (b"I:abc-charset klingon\n", "\u00b1", "was read as Latin-1"),
        (b"I:abc-charset iso-8859-3\n", "\u0127", ""),  # ISO 8859-3: B1 is h with stroke
    ],
)
def test_a_declared_character_set_is_followed(tmp_path, head, title, said):
    """ABC 2.1 section 8.2; the code tables of ISO/IEC 8859, from memory."""
    path = tmp_path / "x.abc"
    path.write_bytes(head + b"X:1\nT:\xb1\nK:C\nA|]\n")
    tune = read_tune(path)
    assert tune.title == title
    assert any(said in warning for warning in tune.warnings) or not said


def test_a_declared_character_set_that_does_not_fit_is_told(tmp_path):
    path = tmp_path / "x.abc"
    path.write_bytes(b"I:abc-charset iso-8859-3\nX:1\nT:\xa5\nK:C\nA|]\n")  # A5 has no letter in ISO 8859-3
    assert "the file says it is in iso8859-3, but is not: it was read as Latin-1" in read_tune(path).warnings
