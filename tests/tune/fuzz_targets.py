"""What must hold of whatever a reader is given: the targets of `make fuzz` and of test_tune_any_input.py."""

import io
import zipfile
from fractions import Fraction

from jackrail.faults import BadInput
from jackrail.pitch import parse_chord
from jackrail.tune.choice import Choice
from jackrail.tune.embellish import embellished
from jackrail.tune.model import Tune
from jackrail.tune.read import parse_offers, parse_tune


def read_or_refuse(data: bytes, name: str, choice: Choice | None = None) -> Tune | None:
    """Read and list the bytes of a file; the tune, which must be in order, or None when it is refused with a reason."""
    try:
        tune = parse_tune(data, name, choice or Choice())
        offers = parse_offers(data, name)
    except BadInput as bad:
        refused = bad
    else:
        refused = None
    if refused is not None:
        assert refused.faults
        assert all(fault.what for fault in refused.faults)
        return None
    assert any(offer.chosen for offer in offers)
    assert all(offer.together is None or 0 <= offer.together <= 1 for offer in offers)
    in_order(tune)
    in_order(embellished(tune, "all"))
    return tune


def in_order(tune: Tune) -> None:
    """Assert what every later stage relies on."""
    assert tune.notes
    assert all(0 <= note.midi <= 127 and note.duration_q > 0 and note.onset_q >= 0 for note in tune.notes)
    for marks in (tune.notes, tune.chords, tune.tempo, tune.keys, tune.bars, tune.ornaments):
        onsets = [mark.onset_q for mark in marks]
        assert onsets == sorted(onsets)
        assert all(isinstance(onset_q, Fraction) for onset_q in onsets)
    assert len({chord.onset_q for chord in tune.chords}) == len(tune.chords)
    assert all(a.onset_q + a.length_q == b.onset_q for a, b in zip(tune.bars, tune.bars[1:], strict=False))
    assert all(mark.quarters_per_minute > 0 for mark in tune.tempo)
    for marks in (tune.tempo, tune.keys, tune.bars):
        assert not marks or marks[0].onset_q == 0
    for chord in tune.chords:
        assert chord.silent or parse_chord(chord.symbol)
    heads = {(note.onset_q, note.midi) for note in tune.notes}
    assert all((ornament.onset_q, ornament.midi) in heads for ornament in tune.ornaments)
    assert (tune.harmony == "") == (not tune.chords)
    assert all(warning and "\n" not in warning for warning in tune.warnings)


def abc(data: bytes) -> None:
    """Any bytes as an ABC tune."""
    read_or_refuse(b"X:1\nL:1/8\nK:C\n" + data, "x.abc")
    read_or_refuse(data, "x.abc")


def musicxml(data: bytes) -> None:
    """Any bytes as a score, and as the inside of a measure."""
    read_or_refuse(data, "x.musicxml")
    note = b"<note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>"
    measure = b"<measure number='1'><attributes><divisions>2</divisions></attributes>" + note + data + b"</measure>"
    read_or_refuse(b"<score-partwise><part id='P1'>" + measure + b"</part></score-partwise>", "x.musicxml")


def mxl(data: bytes) -> None:
    """Any bytes as a compressed score, and as the container inside one."""
    read_or_refuse(b"PK\x03\x04" + data, "x.mxl")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("META-INF/container.xml", data)
        archive.writestr("score.xml", "<score-partwise/>")
    read_or_refuse(packed.getvalue(), "x.mxl")


def midi(data: bytes) -> None:
    """Any bytes as a MIDI file, and as the events of its one track."""
    read_or_refuse(data, "x.mid")
    track = data + b"\x00\xff\x2f\x00"
    read_or_refuse(b"MThd\0\0\0\6\0\0\0\1\0\x60MTrk" + len(track).to_bytes(4, "big") + track, "x.mid", Choice(quantise=1.0))


TARGETS = {"abc": abc, "musicxml": musicxml, "mxl": mxl, "midi": midi}
