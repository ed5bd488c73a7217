"""Whatever the bytes, reading ends in a Tune or in BadInput, and what a Tune holds is in order."""

import encodings.aliases
import itertools
import pkgutil
import struct
import time
import zipfile
from fractions import Fraction
from pathlib import Path

import pytest
from fuzz_targets import read_or_refuse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from midi_files import struck

from jackrail.faults import BadInput
from jackrail.tune.choice import Choice
from jackrail.tune.model import TempoMark, Tune, TuneNote
from jackrail.tune.musicxml.file import open_musicxml
from jackrail.tune.one_line import one_line
from jackrail.tune.read import list_tunes, read_tune
from workshop import faults_of

GOOD = sorted((Path(__file__).parent / "cases" / "good").iterdir())
SUFFIXES = [".mid", ".abc", ".musicxml", ".mxl", ".txt"]
quick = settings(max_examples=120, deadline=2000, suppress_health_check=[HealthCheck.function_scoped_fixture])


def check(path: Path) -> Tune | None:
    """Read and list a file; check that it is refused with a place, or that the tune is in order."""
    tune = read_or_refuse(path.read_bytes(), path.name)
    if tune is None:
        refused = faults_of(read_tune, path) or faults_of(list_tunes, path)
        assert refused
        assert all(fault.where.startswith(one_line(str(path))) for fault in refused)
    return tune


@quick
@given(
    st.binary(max_size=400),
    st.sampled_from(SUFFIXES),
    st.sampled_from([b"", b"MThd\x00\x00\x00\x06", b"PK\x03\x04", b"<?xml ", b"X:1\nK:C\n"]),
)
def test_any_bytes(tmp_path, data, suffix, head):
    path = tmp_path / f"x{suffix}"
    path.write_bytes(head + data)
    check(path)


@quick
@given(st.sampled_from(GOOD), st.integers(0, 3000), st.binary(max_size=4), st.integers(0, 4))
def test_good_files_with_a_few_bytes_changed(tmp_path, good, at, new, cut):
    data = good.read_bytes()
    at %= len(data)
    path = tmp_path / good.name
    path.write_bytes(data[:at] + new + data[at + cut :])
    check(path)


@quick
@given(
    st.lists(
        st.sampled_from(
            [
                *"ABCdefg|:[]()<>-&z/2348 ^=_,'\"{}!~+",
                "|:",
                ":|",
                "|1",
                ":|2",
                "(3",
                "[K:G]",
                "[M:3/4]",
                "!D.C.!",
                "!fine!",
                "\n",
                '"Am"',
                "Z2",
                "\nV:2\n",
                "\nP:A\n",
            ]
        ),
        max_size=60,
    )
)
def test_any_abc_music(tmp_path, tokens):
    path = tmp_path / "x.abc"
    path.write_text("X:1\nM:2/4\nL:1/8\nK:C\n" + "".join(tokens) + "\n", "utf-8")
    check(path)


TAGS = "note backup forward attributes harmony direction barline pitch step octave duration divisions time beats chord"
names = st.sampled_from(TAGS.split(" "))
texts = st.sampled_from(["", "1", "4", "C", "-1", "x", "9999999999", "1.5", "1e9"])
leaves = st.builds("<{0}>{1}</{0}>".format, names, texts)
elements = st.recursive(
    leaves, lambda inner: st.builds("<{0}>{1}</{0}>".format, names, st.lists(inner, max_size=5).map("".join)), max_leaves=20
)


@quick
@given(st.lists(elements, max_size=6))
def test_any_musicxml_elements(tmp_path, inside):
    path = tmp_path / "x.musicxml"
    begin = "<attributes><divisions>2</divisions></attributes>"
    note = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>"
    measure = f"<measure number='1'>{begin}{note}{''.join(inside)}</measure>"
    path.write_text(f"<score-partwise><part id='P1'>{measure}</part></score-partwise>", "utf-8")
    check(path)


events = st.lists(st.tuples(st.integers(0, 200), st.integers(0, 15), st.integers(0, 127), st.integers(0, 127)), min_size=1, max_size=40)


@quick
@given(events, st.integers(1, 0x7FFF))
def test_midi_notes_agree_with_mido(tmp_path, played, division):
    """Independent judge: the mido library's reading of the same bytes, its messages paired key by key by the stated rule."""
    mido = pytest.importorskip("mido")
    body = b"".join(
        bytes([*([0x81, delta - 128] if delta > 127 else [delta]), 0x90 | channel, key, velocity])
        for delta, channel, key, velocity in played
    )
    body += b"\x00\xff\x2f\x00"
    path = tmp_path / "x.mid"
    path.write_bytes(b"MThd" + struct.pack(">IHHH", 6, 0, 1, division) + b"MTrk" + struct.pack(">I", len(body)) + body)
    wanted = struck(mido.MidiFile(path).tracks[0])
    drums = wanted.pop(9, None)
    if check(path) is None:
        assert not wanted or max(on + length for notes in wanted.values() for on, length, _ in notes) > 20_000 * division
        return
    told = {("--track", "1", *(("--channel", str(channel + 1)) * (len(wanted) > 1))) for channel in wanted}
    told |= {()} if drums else set()  # drums are listed, and cannot be asked for
    assert {offer.options for offer in list_tunes(path)} == told
    for channel, notes in wanted.items():
        tune = read_tune(path, Choice(channel=channel + 1, line="all"))
        got = sorted((note.onset_q * division, note.duration_q * division, note.midi) for note in tune.notes)
        assert got == sorted(notes)


one_key = st.lists(st.tuples(st.integers(0, 2), st.just(0), st.integers(60, 61), st.sampled_from([0, 80])), min_size=2, max_size=12)


@quick
@given(one_key)
def test_two_keys_struck_and_released_anyhow_agree_with_mido(tmp_path, played):
    """The same with two keys, so that strikes and releases meet in all ways."""
    test_midi_notes_agree_with_mido.hypothesis.inner_test(tmp_path, played, 96)


@pytest.mark.parametrize(
    "head",
    [
        "X:1\nQ:!1/4=120\nK:C\nA|]\n",
        "X:1\nV:1 octave=x\nK:C\nV:1\nA|]\n",
        "X:1\nK:C\n|1|:A|]\n",
        "X:1\nK:C\n|:::|A|]\n",
        "X:1\nK:C\n|::/4:|A|]\n",
    ],
)
def test_inputs_that_once_went_wrong(tmp_path, head):
    path = tmp_path / "x.abc"
    path.write_text(head, "utf-8")
    check(path)


BLANKS = " " * 100_000
FIELD = "X:1\nT:t\n{}\nK:C\nT2A|]\n"
SLOW = {
    "parts": FIELD.format("P:" + "1" * 60 + "!"),
    "parts without end": FIELD.format("P:" + "A" * 200_000),
    "open brackets": FIELD.format("P:" + "(" * 200_000),
    "blanks in a key": f"X:1\nK:C{BLANKS}x{BLANKS}=\nA|]\n",
    "accidentals in a key": "X:1\nK:C" + " _a" * 80_000 + "\nA|]\n",
    "blanks in a metre": FIELD.format(f"M:1{BLANKS}+{BLANKS}x"),
    "blanks in a tempo": FIELD.format(f"Q:1{BLANKS}/{BLANKS}x=1"),
    "lengths in a tempo": FIELD.format("Q:" + " ".join(f"1/{n}" for n in range(1000, 9999)) + "=120"),
    "blanks in a symbol": FIELD.format(f"U:T={BLANKS}!!"),
    "letters in a symbol": FIELD.format("U:T=!" + "A" * 200_000 + "z!"),
    "brackets in a chord symbol": 'X:1\nK:C\n"' + "(A" * 100_000 + '"A|]\n',
    "fields not closed": "X:1\nK:C\n" + "[K:" * 90_000 + "\n",
    "two chord symbols a note": "X:1\nK:C\n" + '"G""D"A' * 40_000 + "\n",
}


@pytest.mark.parametrize("name", SLOW)
def test_no_field_makes_reading_slow(tmp_path, name):
    path = tmp_path / "x.abc"
    path.write_text(SLOW[name], "utf-8")
    start = time.process_time()
    check(path)
    assert time.process_time() - start < 2.0  # seconds; the slowest takes a few tenths


def test_no_container_makes_reading_slow(tmp_path):
    path = tmp_path / "x.mxl"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", "<rootfile " * 9_000)
    start = time.process_time()
    check(path)
    assert time.process_time() - start < 1.0


def test_a_degree_of_a_chord_may_be_any_text(tmp_path):
    path = tmp_path / "x.musicxml"
    degree = "<degree><degree-value>" + "(A" * 500_000 + "</degree-value></degree>"
    harmony = f"<harmony><root><root-step>G</root-step></root><kind>major</kind>{degree}</harmony>"
    note = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>"
    measure = f"<measure number='1'><attributes><divisions>2</divisions></attributes>{harmony}{note}</measure>"
    path.write_text(f"<score-partwise><part id='P1'>{measure}</part></score-partwise>", "utf-8")
    start = time.process_time()
    assert [chord.symbol for chord in check(path).chords] == ["G"]
    assert time.process_time() - start < 2.0


def test_seconds_of_a_played_in_file_are_found_at_once():
    """5,000 notes under 5,000 tempo marks, as a recorder writes them; the sums are done here again, one by one."""
    rates = [60.0 + 60 * (n % 7) for n in range(5000)]
    marks = tuple(TempoMark(Fraction(n, 4), rate) for n, rate in enumerate(rates))
    tune = Tune("played in", tuple(TuneNote(Fraction(n, 4), Fraction(1, 4), 60) for n in range(5000)), tempo=marks)
    start = time.process_time()
    seconds = [tune.seconds_at(note.onset_q) for note in tune.notes]
    assert time.process_time() - start < 1.0
    assert seconds == pytest.approx([0.0, *itertools.accumulate(15.0 / rate for rate in rates[:-1])])
    assert tune.seconds_at(tune.end_q + 1) == pytest.approx(sum(15.0 / rate for rate in rates) + 60.0 / rates[-1])


def test_every_encoding_that_python_knows_is_read_or_refused():
    names = set(encodings.aliases.aliases.values()) | {module.name for module in pkgutil.iter_modules(encodings.__path__)}
    assert {"undefined", "punycode", "idna"} <= names
    refused = set()
    for name in sorted(names):
        for body in (b"<score-partwise/>", b"<score-partwise>\xff\xfe\\N{A+2AA-</score-partwise>"):
            try:
                open_musicxml(f"<?xml version='1.0' encoding='{name}'?>".encode() + body)
            except BadInput as bad:
                refused |= {name} if "cannot be decoded" in str(bad) else set()
    assert {"undefined", "punycode", "idna", "rot_13", "zlib_codec", "unicode_escape"} <= refused
    assert not {"latin_1", "cp1252", "utf_8"} - names
    assert "latin_1" not in refused


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
@pytest.mark.parametrize("damage", [False, True])
def test_a_score_packed_otherwise_than_by_deflate_is_refused(tmp_path, method, damage):
    """W3C tutorial "Compressed .MXL Files": the files in the container are packed by DEFLATE (RFC 1951)."""
    path = tmp_path / "x.mxl"
    with zipfile.ZipFile(path, "w", method) as archive:
        archive.writestr("score.xml", "<score-partwise/>" * 50)
    data = bytearray(path.read_bytes())
    if damage:
        data[45:60] = bytes(15)
    path.write_bytes(data)
    with pytest.raises(BadInput, match="packed in a way that no score is"):
        read_tune(path)
