"""Whatever the bytes, reading ends in a Tune or in BadInput, and what a Tune holds is in order."""

import struct
import time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.pitch import parse_chord
from jackrail.tune.model import Tune
from jackrail.tune.read import list_tunes, read_tune

GOOD = sorted((Path(__file__).parent / "cases" / "good").iterdir())
SUFFIXES = [".mid", ".abc", ".musicxml", ".mxl", ".txt"]
quick = settings(max_examples=120, deadline=2000, suppress_health_check=[HealthCheck.function_scoped_fixture])


def check(path: Path) -> Tune | None:
    """Read a file; check that it is refused with a place, or that the tune is in order."""
    try:
        tune = read_tune(path)
        list_tunes(path)
    except BadInput as error:
        bad = error
    else:
        bad = None
    if bad is not None:
        assert all(fault.where.startswith(path.name) for fault in bad.faults)
        return None
    assert tune.notes
    assert all(0 <= note.midi <= 127 and note.duration_q > 0 and note.onset_q >= 0 for note in tune.notes)
    for marks in (tune.notes, tune.chords, tune.tempo, tune.keys, tune.bars):
        onsets = [mark.onset_q for mark in marks]
        assert onsets == sorted(onsets)
        assert all(isinstance(onset_q, Fraction) for onset_q in onsets)
    assert all(a.onset_q + a.length_q == b.onset_q for a, b in zip(tune.bars, tune.bars[1:], strict=False))
    assert all(mark.quarters_per_minute > 0 for mark in tune.tempo)
    for marks in (tune.tempo, tune.keys, tune.bars):
        assert not marks or marks[0].onset_q == 0
    for chord in tune.chords:
        parse_chord(chord.symbol)
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
    """Independent judge: the mido library's reading of the same bytes, paired key by key."""
    mido = pytest.importorskip("mido")
    body = b"".join(
        bytes([*([0x81, delta - 128] if delta > 127 else [delta]), 0x90 | channel, key, velocity])
        for delta, channel, key, velocity in played
    )
    body += b"\x00\xff\x2f\x00"
    path = tmp_path / "x.mid"
    path.write_bytes(b"MThd" + struct.pack(">IHHH", 6, 0, 1, division) + b"MTrk" + struct.pack(">I", len(body)) + body)
    sounding: dict[tuple[int, int], int] = {}
    wanted: dict[int, list[tuple[int, int, int]]] = {}
    now = 0
    for message in mido.MidiFile(path).tracks[0]:
        now += message.time
        if message.type != "note_on":
            continue
        on = sounding.pop((message.channel, message.note), None)
        if on is not None and on < now:
            wanted.setdefault(message.channel, []).append((on, now - on, message.note))
        if message.velocity:
            sounding[message.channel, message.note] = now
    wanted.pop(9, None)
    tune = check(path)
    if tune is None:
        assert not wanted
        return
    got = sorted((note.onset_q * division, note.duration_q * division, note.midi) for note in tune.notes)
    assert got == sorted(wanted[min(wanted)])


@pytest.mark.parametrize("head", ["X:1\nQ:!1/4=120\nK:C\nA|]\n", "X:1\nV:1 octave=x\nK:C\nV:1\nA|]\n", "X:1\nK:C\n|1|:A|]\n"])
def test_inputs_that_once_went_wrong(tmp_path, head):
    path = tmp_path / "x.abc"
    path.write_text(head, "utf-8")
    check(path)


LARGE = 8 * 2**20 - 100
HOSTILE = {
    "notes.abc": b"X:1\nK:C\n" + b"A" * LARGE,
    "bars.abc": b"X:1\nK:C\n" + b"|" * LARGE,
    "lines.abc": b"X:1\nK:C\nA|]\n" + b"\n" * LARGE,
    "tunes.abc": b"X:1\n" * (LARGE // 4),
    "events.mid": b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + struct.pack(">I", LARGE) + b"\0\x90" + b"\x3c\x40\0" * (LARGE // 3 - 20),
    "tracks.mid": b"MThd\0\0\0\6\0\1\0\1\0\x60" + b"MTrk\0\0\0\0" * (LARGE // 8 - 10),
    "deep.xml": b"<score-partwise>" + b"<a>" * 400_000,
    "tags.xml": b"<score-partwise>" + b"<a/>" * (LARGE // 4 - 10) + b"</score-partwise>",
    "measures.xml": b"<score-partwise><part id='P'>" + b"<measure/>" * 400_000 + b"</part></score-partwise>",
}


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_large_hostile_files_end_soon_in_bounded_memory(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(HOSTILE[name])
    start = time.process_time()
    check(path)
    assert time.process_time() - start < 3.0  # seconds for two readings; 1 s each with room for a busy machine
