"""Every bad or hostile file ends within a second and 200 MB, measured in a process of its own; reading opens nothing else."""

import itertools
import json
import struct
import subprocess
import sys
import zipfile
from collections.abc import Iterable
from pathlib import Path

import pytest

CASES = Path(__file__).parent / "cases"
BAD = sorted((CASES / "bad").iterdir())
MOST_S = 1.0
MOST_MB = 200.0
MEASURE = """
import json, re, sys, time
from pathlib import Path
from jackrail.faults import BadInput
from jackrail.tune.read import list_tunes, read_tune

def peak_mb():  # VmHWM begins anew with the program, ru_maxrss does not
    return int(re.search(r"VmHWM:\\s*(\\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024

rows = []
for name in sys.argv[1:]:
    start, words = time.process_time(), "read"
    try:
        read_tune(Path(name))
    except BadInput as bad:
        words = bad.faults[0].what
    took_s = time.process_time() - start
    try:
        list_tunes(Path(name))
    except BadInput:
        pass
    rows.append([name, took_s, peak_mb(), words])
print(json.dumps(rows))
"""
LARGE = 8 * 2**20 - 100
NOTE = b"<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"


def abc_of(music: bytes, header: bytes = b"") -> bytes:
    """Bars of a whole note each."""
    return b"X:1\nM:4/4\nL:1/1\nQ:1/4=90\n" + header + b"K:C\n" + music + b"\n"


def musicxml_of(measures: Iterable[bytes]) -> bytes:
    start = b"<measure><attributes><divisions>1</divisions></attributes>" + NOTE + b"</measure>"
    part = b"<part id='P'>" + start + b"".join(measures) + b"</part>"
    return b"<score-partwise><part-list><score-part id='P'/></part-list>" + part + b"</score-partwise>"


def lines(piece: bytes, count: int) -> bytes:
    """`piece` so many times, a hundred on a line."""
    return (piece * 100 + b"\n") * (count // 100)


SEGNO = (
    b"<measure><direction><direction-type><segno/></direction-type><sound segno='%d'/></direction>"
    + NOTE
    + b"<sound dalsegno='%d'/></measure>"
)
FORWARD = b"<measure><barline location='left'><repeat direction='forward'/></barline>" + NOTE + b"</measure>"
BRACKET = (
    b"<measure><barline location='left'><ending number='%d' type='start'/></barline>" + NOTE
    + b"<barline location='right'><ending number='%d' type='discontinue'/></barline></measure><measure>" + NOTE + b"</measure>"
)  # fmt: skip
HOSTILE = {
    "notes.abc": b"X:1\nK:C\n" + b"A" * LARGE,
    "bars.abc": b"X:1\nK:C\n" + b"|" * LARGE,
    "lines.abc": b"X:1\nK:C\nA|]\n" + b"\n" * LARGE,
    "tunes.abc": b"X:1\n" * (LARGE // 4),
    "macros.abc": b"X:1\nm: ~n9 = " + b"~n9" * 300 + b"\nK:C\n" + b"~A9" * 2000 + b"|]\n",
    "overlays.abc": b"X:1\nL:1/8\nK:C\n" + b"A&" * 100_000 + b"|]\n",
    "rests.abc": b"X:1\nL:1/8\nK:C\nA|" + b"Z500|" * 20_000 + b"\n",
    "words.abc": b"X:1\nL:1/8\nK:C\n" + b'"end"A|' * 18_000 + b"!D.S.!A|\n",
    "inline_parts.abc": b"X:1\nP:AB\nL:1/8\nK:C\n" + b"[P:A]A|" * 18_000 + b"\n",
    "rests_in_voices.abc": b"X:1\nL:1/8\nK:C\n" + b"".join(b"V:%d\nA|Z500|Z500|Z500|\n" % voice for voice in range(60)),
    "events.mid": b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + struct.pack(">I", LARGE) + b"\0\x90" + b"\x3c\x40\0" * (LARGE // 3 - 20),
    "tracks.mid": b"MThd\0\0\0\6\0\1\0\1\0\x60" + b"MTrk\0\0\0\0" * (LARGE // 8 - 10),
    "far.mid": b"MThd\0\0\0\6\0\0\0\1\0\1MTrk\0\0\0\x0f\xff\xff\xff\x7f\x90\x3c\x40\xff\xff\xff\x7f\x80\x3c\x00",
    "deep.xml": b"<score-partwise>" + b"<a>" * 400_000,
    "tags.xml": b"<score-partwise>" + b"<a/>" * (LARGE // 4 - 10) + b"</score-partwise>",
    "attributes.xml": b"<score-partwise " + b" ".join(b"a%d=''" % n for n in range(500_000)) + b"></score-partwise>",
    "measures.xml": b"<score-partwise><part id='P'>" + b"<measure/>" * 400_000 + b"</part></score-partwise>",
    # Signs that steer play, each of which may ask about all others.
    "segno_and_jump.abc": abc_of(lines(b"!segno!C!D.S.!|", 7000)),
    "segnos.abc": abc_of(lines(b"!segno!C|", 15_000) + b"C!D.S.!|" * 100),
    "segnos_nowhere.abc": abc_of(lines(b"C!D.S.!|", 15_000)),
    "capos.abc": abc_of(lines(b"C!D.C.!|", 15_000)),
    "fines.abc": abc_of(lines(b"C!fine!|", 15_000) + b"C!D.C.!|]"),
    "ways_to_the_coda.abc": abc_of(lines(b"C!dacoda!|", 10_000) + b"C!D.C.alcoda!|!coda!C|]"),
    "double_bars.abc": abc_of(lines(b"A||B:|", 6000)),
    "forward_repeats.abc": abc_of(lines(b"|:C", 19_000)),
    "endings.abc": abc_of(lines(b"|1C:|2C", 9000)),
    "long_repeat.abc": abc_of(b"|:" + lines(b"C|", 9000) + b"C:|"),
    "long_endings.abc": abc_of(b"|:" + lines(b"C|", 9000) + b"|1-63C:|64C|]"),
    "colons.abc": abc_of(lines(b"C|", 5000) + b"|1C|2C||" + lines(b"C|", 5000) + b"C" + b":" * 50_000 + b"|]"),
    "colons_at_endings.abc": abc_of(b"|:" + lines(b"C|", 5000) + b"|1C:|2C" + b":" * 50_000 + b"|]"),
    "colons_before_endings.abc": abc_of(b"|:" + lines(b"C|", 5000) + b"C" + b":" * 50_000 + b"|2C|]"),
    "pieces.abc": abc_of(b"[M:64/1]" + lines(b"C||", 15_000)),
    "parts.abc": abc_of(b"P:A\n" + b"C!fine!|" * 99 + b"\nP:B\n" + lines(b"[Q:1/4=80]C|", 5000) + b"P:C\nD!D.C.!|]", b"P:(AC)99\n"),
    "many_parts.abc": abc_of(lines(b"P:A\nC/D/!fine!E/F/|\n", 5000) + b"P:B\nD!D.C.!|]", b"P:AB\n"),
    "new_parts.abc": abc_of(b"".join(b"P:%d\nC|\n" % number for number in range(6000)) + b"P:B\nD|]\nP:B\nD|]", b"P:B\n"),
    "old_endings.abc": abc_of(b"|:C|1D:|2E|" + lines(b"G|1A:|2B|", 4000)),
    "labels.xml": musicxml_of(SEGNO % (number, number) for number in range(4000)),
    "forward_repeats.xml": musicxml_of([FORWARD] * 15_000),
    "brackets.xml": musicxml_of([FORWARD, *(BRACKET % (number % 64 + 1, number % 64 + 1) for number in range(6000))]),
}


def measured(paths: list[Path]) -> list[tuple[str, float, float, str]]:
    """Name, seconds of work to read, most memory so far in MB, and what was said, for each file in one new process."""
    done = subprocess.run([sys.executable, "-c", MEASURE, *map(str, paths)], capture_output=True, text=True, check=True)
    return [(Path(name).name, took_s, peak_mb, words) for name, took_s, peak_mb, words in json.loads(done.stdout)]


@pytest.mark.slow
def test_every_bad_file_ends_within_a_second_and_200_mb():
    for name, took_s, peak_mb, _ in measured(BAD):
        assert took_s < MOST_S, name
        assert peak_mb < MOST_MB, name


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_a_large_hostile_file_ends_soon_in_bounded_memory(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(HOSTILE[name])
    [(_, took_s, peak_mb, words)] = measured([path])
    assert took_s < 2 * MOST_S, words  # a second each with room for a busy machine
    assert peak_mb < 1.2 * MOST_MB, words


@pytest.mark.slow
def test_a_bomb_within_a_bomb_is_not_unpacked(tmp_path):
    inner = tmp_path / "inner.zip"
    with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(50):
            archive.writestr(f"{number}.xml", b"<a/>" * 2_500_000)
    bomb = tmp_path / "bomb.mxl"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", "<container><rootfiles><rootfile full-path='inner.zip'/></rootfiles></container>")
        archive.write(inner, "inner.zip")
    [(_, took_s, peak_mb, _)] = measured([bomb])
    assert took_s < MOST_S
    assert peak_mb < MOST_MB


def test_reading_opens_no_other_file_and_no_connection():
    """A score may name a DTD, an entity or a link; Python's own audit events (PEP 578) tell what is opened for it."""
    watch = """
import sys
from pathlib import Path
from jackrail.faults import BadInput
import jackrail.tune.read as reading
names = [Path(name) for name in sys.argv[1:]]
opened = []
def hook(event, args):
    if event == "open" or event.startswith(("socket", "urllib", "subprocess", "os.")):
        opened.append((event, str(args[0])))
for name in names:
    try:
        reading.read_tune(name)  # so that every module is loaded
    except BadInput:
        pass
sys.addaudithook(hook)
for name in names:
    try:
        reading.read_tune(name)
    except BadInput:
        pass
    reached = {path for event, path in opened if path != str(name)}
    assert not reached, reached
    assert ("open", str(name)) in opened
    opened.clear()
"""
    scores = [path for path in itertools.chain((CASES / "good").iterdir(), BAD) if path.suffix in {".musicxml", ".mxl", ".abc", ".mid"}]
    assert any(b"<!DOCTYPE" in path.read_bytes() for path in scores)
    done = subprocess.run([sys.executable, "-c", watch, *map(str, scores)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
