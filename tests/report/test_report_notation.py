"""The tune in notation: read back by an independent program and by eyes of our own; what is drawn, what is left out, what is refused."""

import base64
import io
import sys
import warnings
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import pytest
import report_pages as pages
import verovio
from hypothesis import given
from hypothesis import strategies as st

from jackrail.faults import BadInput
from jackrail.pitch import signature
from jackrail.report.heads import Clef, Head, clef_of
from jackrail.report.notation import MOST_SYSTEMS, notation_of
from jackrail.report.note_values import Unwritable
from jackrail.report.score_text import ScoreWriter
from jackrail.report.staves import staves_of
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Bar, Ornament, TuneNote
from jackrail.tune.read import read_tune
from jackrail.work import do_work
from workshop import MACHINE_NAMES, examples, tune, tunes

GOOD = sorted((Path(__file__).parent.parent / "tune" / "cases" / "good").iterdir())
STAY = Wishes(transpose=0, tempo="100%")


def score_of(work):
    """The whole tune as MusicXML, four bars a page, and where each bar begins."""
    staves = staves_of(work)
    bars = range(len(staves.bars))
    return ScoreWriter(work, staves).score([bars[n : n + 4] for n in bars[::4]]), [one.bar.onset_q for one in staves.bars]


def read_back(text, starts_q):
    """What the music21 package reads in each staff: (onset, length, MIDI key) of each note, ties joined, graces left out."""
    music21 = pytest.importorskip("music21")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parseData(text, format="musicxml")
    for part in score.parts:
        pieces = []
        measures = list(part.getElementsByClass("Measure"))
        assert len(measures) == len(starts_q)
        for measure, start_q in zip(measures, starts_q, strict=True):
            for one in measure.flatten().notes:
                if one.duration.isGrace or isinstance(one, music21.harmony.ChordSymbol):
                    continue
                for note in one.notes if isinstance(one, music21.chord.Chord) else [one]:
                    exact = (Fraction(value).limit_denominator(20_000) for value in (one.offset, one.duration.quarterLength))
                    offset_q, length_q = exact
                    pieces.append((start_q + offset_q, length_q, note.pitch.midi, note.tie.type if note.tie else ""))
        yield _joined(pieces)


def _joined(pieces):
    found, open_ends = Counter(), {}
    for onset_q, length_q, midi, tie in sorted(pieces):
        start_q, before_q = (onset_q, Fraction(0)) if tie not in ("stop", "continue") else open_ends.pop((midi, onset_q))
        if tie in ("start", "continue"):
            open_ends[midi, onset_q + length_q] = start_q, before_q + length_q
        else:
            found[start_q, before_q + length_q, midi] += 1
    assert not open_ends
    return found


def meant(work):
    """The notes of both staves as the tune and the setting have them: as written but moved, and as played with what is left out."""
    made, shift = work.tune, work.setting.transpose_semitones
    end_q = made.bars[-1].onset_q + made.bars[-1].length_q
    sounding = {note.index: note.midi for note in work.setting.notes}
    above, below = Counter(), Counter()
    for index, note in enumerate(made.notes):
        where = note.onset_q, min(note.duration_q, end_q - note.onset_q)
        above[*where, note.midi + shift] += 1
        below[*where, sounding.get(index, note.midi + shift)] += 1
    return [above, below]


@pytest.mark.slow
@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.name)
def test_music21_reads_the_notes_onsets_and_lengths_that_the_reader_read(path):
    """Files whose lengths notation has signs for; the others are refused or rounded, and say so."""
    work = do_work(pages.machine("quay_zither"), read_tune(path))
    try:
        text, starts_q = score_of(work)
    except Unwritable as why:
        assert str(why)  # noqa: PT017 - refusing is allowed, a wrong picture is not
        assert path.stem in ("m27_drop_frame", "m2d_by_hand", "m3_smpte")
        return
    if not staves_of(work).rounded:
        assert list(read_back(text, starts_q)) == meant(work)


@pytest.mark.slow
@examples(25)
@given(tunes(), st.sampled_from(MACHINE_NAMES), st.sampled_from([-5, 0, 3]))
def test_music21_reads_back_any_tune(made, name, transpose):
    work = do_work(pages.machine(name), made, Wishes(transpose=transpose, tempo="100%"))
    try:
        text, starts_q = score_of(work)
    except Unwritable:
        return
    if not staves_of(work).rounded:
        assert list(read_back(text, starts_q)) == meant(work)


def as_seen(text):
    """The MIDI keys that a musician reads in each staff: accidentals hold to the end of their bar, ties carry on (common practice)."""
    for part in ET.fromstring(text).iter("part"):  # noqa: S314 - text of our own
        sharps, keys = 0, []
        for measure in part.iter("measure"):
            sharps = int(measure.findtext(".//fifths") or sharps)
            state = {}
            for _, note in sorted(_timed(measure), key=lambda pair: pair[0]):
                step, octave = note.findtext("pitch/step"), int(note.findtext("pitch/octave"))
                sign = note.findtext("accidental")
                if sign:
                    state[step, octave] = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}[sign]
                if any(tie.get("type") == "stop" for tie in note.iter("tie")):
                    alter = int(note.findtext("pitch/alter") or 0)
                else:
                    alter = state.get((step, octave), signature(sharps).get(step, 0))
                assert alter == int(note.findtext("pitch/alter") or 0), f"{step}{octave} in measure {measure.get('number')}"
                keys.append((step, octave, alter))
        yield keys


def _timed(measure):
    at = before = 0
    for node in measure:
        ticks = int(node.findtext("duration") or 0)
        if node.tag == "backup":
            at -= ticks
        elif node.tag == "forward":
            at += ticks
        elif node.tag == "note":
            at, before = (before, before) if node.find("chord") is not None else (at, at)
            if node.find("pitch") is not None:
                yield at, node
            at += ticks


@examples(40)
@given(tunes(), st.sampled_from([-5, 0, 1, 6]))
def test_the_accidentals_say_what_the_notes_are_and_the_values_add_up(made, transpose):
    work = do_work(pages.machine("harbour_carillon"), made, Wishes(transpose=transpose, tempo="100%"))
    text, _ = score_of(work)
    assert [len(keys) > 0 for keys in as_seen(text)] == [True, True]
    root = ET.fromstring(text)  # noqa: S314 - text of our own
    divisions = int(root.findtext(".//divisions"))
    # MusicXML 4.0, "type", "dot", "time-modification": a value is its type, half as long again by a dot, by normal over actual notes.
    lengths = {"breve": 8, "whole": 4, "half": 2, "quarter": 1} | {name: Fraction(4, int(name[:-2])) for name in ("16th", "32nd", "64th")}
    for note in root.iter("note"):
        kind = note.findtext("type")
        if kind and note.find("grace") is None:
            length_q = Fraction(lengths.get(kind, Fraction(1, 2))) * (Fraction(3, 2) if note.find("dot") is not None else 1)
            shrink = Fraction(int(note.findtext(".//normal-notes") or 1), int(note.findtext(".//actual-notes") or 1))
            assert length_q * shrink * divisions == int(note.findtext("duration"))


def engraver_hears(text):
    """(onset, MIDI key) of every note as verovio itself plays the score, hundredths of a quarter; its ticks are too coarse for more."""
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": "musicxml"})
    assert toolkit.loadData(text)
    midi, heard = mido.MidiFile(file=io.BytesIO(base64.b64decode(toolkit.renderToMIDI()))), Counter()
    for track in midi.tracks:
        at = 0
        for message in track:
            at += message.time
            if message.type == "note_on" and message.velocity:
                heard[round(at / midi.ticks_per_beat, 1), message.note] += 1
    return heard


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.name)
def test_the_engraver_understands_each_note_and_chord_as_it_was_meant(path):
    work = do_work(pages.machine("quay_zither"), read_tune(path))
    try:
        staves = staves_of(work)
    except Unwritable:
        return
    text = ScoreWriter(work, staves).score([range(len(staves.bars))])
    wanted = Counter()
    for staff in meant(work):
        for (onset_q, _, midi), many in staff.items():
            wanted[round(float(onset_q - staves.bars[0].bar.onset_q), 1), midi] += many
    assert engraver_hears(text) == wanted
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": "musicxml"})
    toolkit.loadData(text)
    mei = "{http://www.music-encoding.org/ns/mei}"
    for measure, staff_bar in zip(ET.fromstring(toolkit.getMEI()).iter(mei + "measure"), staves.bars, strict=True):  # noqa: S314 - the engraver's
        chords = [(int(one.get("staff")), float(one.get("tstamp")), "".join(one.itertext())) for one in measure.iter(mei + "harm")]
        beats_q = 4 / staff_bar.bar.beat_unit
        symbols = [(n + 1, 1 + float(one.into_q) / beats_q, one.text) for n in (0, 1) for one in staff_bar.symbols[n]]
        for (staff, at, words), (own_staff, own_at, own_words) in zip(sorted(chords), sorted(symbols), strict=True):
            assert (staff, words) == (own_staff, own_words)
            assert abs(at - own_at) < 0.01


LINE = tune((62, "1"), (86, "1"), (62, "2"), (67, "4"), tempo=240.0, bars=2)


def picture(made, machine="quay_zither", wishes=STAY):
    work = do_work(pages.machine(machine), made, wishes)
    return work, notation_of(work)


def test_a_note_left_out_is_a_ghost_below_and_plain_above():
    work, drawn = picture(LINE)
    lost = sum(loss.kind == "note-lost" for loss in work.setting.losses)
    assert lost
    (system,) = (ET.fromstring(str(one)) for one in drawn.systems)  # noqa: S314 - written by ourselves
    assert len([group for group in system.iter("g") if group.get("class") == "lost"]) == lost
    assert "left out" in system.get("aria-label")
    assert system.findtext("title") == system.get("aria-label")
    texts = [node.text for node in system.iter("text")]
    assert [texts.count(name) for name in ("written", "played")] == [1, 1]
    assert {"1", "2"} <= set(texts)  # bar numbers
    assert "left out" in [key.words for key in drawn.legend]


def test_a_note_in_another_octave_is_marked_with_its_octave():
    """D3 is not on the zither, D4 is: an octave up."""
    work, drawn = picture(tune((67, "2"), (50, "2"), tempo=60.0, bars=1))
    assert [note.octaves for note in work.setting.notes] == [0, 1]
    (system,) = (ET.fromstring(str(one)) for one in drawn.systems)  # noqa: S314 - written by ourselves
    assert [node.text for node in system.iter("text") if "moved" in (node.get("class") or "")] == ["+8"]
    assert [len(list(group)) > 0 for group in system.iter("g") if group.get("class") == "moved"] == [True]


def test_chords_stand_above_each_staff_as_they_sound_there():
    """Moved up a fifth C is G and G7 is D7, for which the zither's bar has the plain triad; N.C. is the same everywhere."""
    made = tune((60, "4"), (60, "4"), (60, "4"), chords=[(0, "C"), (4, "G7"), (8, "N.C.")], tempo=60.0, bars=3)
    _, drawn = picture(made, wishes=Wishes(transpose=7, tempo="100%"))
    (system,) = (ET.fromstring(str(one)) for one in drawn.systems)  # noqa: S314 - written by ourselves
    chords = [(float(node.get("y")), node.text) for node in system.iter("text") if node.get("class") == "harm"]
    upper, lower = (sorted(text for y, text in chords if y == height) for height in sorted({y for y, _ in chords}))
    assert (upper, lower) == (["D7", "G", "N.C."], ["D", "G", "N.C."])
    assert any("moved into the key as played (7 semitones higher)" in words for words in drawn.words)


def test_small_notes_stand_before_their_notes_and_signs_above_them():
    made = replace(tune((67, "2"), (69, "2"), (71, "4"), tempo=60.0, bars=2), ornaments=(
        Ornament(Fraction(2), 69, "grace", (67, 71)), Ornament(Fraction(4), 71, "trill", (69, 72)),
    ))  # fmt: skip
    work, _ = picture(made, wishes=Wishes(transpose=0, tempo="100%", ornaments="all"))
    text, starts_q = score_of(work)
    for staff in ET.fromstring(text).iter("part"):  # noqa: S314 - text of our own
        notes = list(staff.iter("note"))
        assert [note.findtext("pitch/step") for note in notes] == ["G", "G", "B", "A", "B"]
        assert [note.find("grace") is not None for note in notes] == [False, True, True, False, False]
        assert [note.find(".//trill-mark") is not None for note in notes] == [False] * 4 + [staff.get("id") == "P0" or _all_small(work)]
    whole = [(note.onset_q, length_q) for note, length_q in zip([made.notes[0], made.notes[1], made.notes[2]], (2, 2, 4), strict=True)]
    assert sorted((onset, length) for onset, length, _ in next(read_back(text, starts_q))) == whole


def _all_small(work):
    return work.setting.small_kept == work.setting.small_total


def bars_of(numbers, length=4):
    return tuple(Bar(Fraction(length * n), Fraction(length), number, length, 4, time) for n, (number, time) in enumerate(numbers))


def test_bars_that_come_again_alike_are_drawn_once():
    twice = tune(*[(67, "4"), (69, "4")] * 2, tempo=60.0)
    _, drawn = picture(replace(twice, bars=bars_of([(1, 1), (2, 1), (1, 2), (2, 2)])))
    (system,) = drawn.systems
    assert system.count(">1<") == system.count(">2<") == 1
    assert "Bars that come again alike are drawn once." in drawn.words
    other = replace(twice, notes=(*twice.notes[:3], replace(twice.notes[3], midi=71)), bars=bars_of([(1, 1), (2, 1), (1, 2), (2, 2)]))
    assert "Bars that come again alike are drawn once; 1 bar without changes is not drawn." in picture(other)[1].words


def test_a_long_tune_shows_its_first_system_and_those_with_changes_up_to_a_limit():
    work = pages.three_minutes_of_work()
    drawn = notation_of(work)
    assert len(drawn.systems) == MOST_SYSTEMS
    assert any("more bars with changes are not drawn" in words for words in drawn.words)
    quiet = tune(*[(67, "4"), (69, "4")] * 30, tempo=60.0, bars=60)
    _, drawn = picture(quiet)
    assert len(drawn.systems) == 1
    assert any("bars without changes are not drawn" in words for words in drawn.words)


def test_a_tie_is_never_cut_between_systems():
    """A note over the whole tune ties every bar to the next: all systems are drawn or the last one is the limit."""
    drone = tune(*[(79, "4")] * 12, tempo=240.0, bars=12)
    held = replace(drone, notes=(TuneNote(Fraction(0), Fraction(48), 55), *drone.notes))
    work, drawn = picture(held, "harbour_carillon")
    text, starts_q = score_of(work)
    assert list(read_back(text, starts_q)) == meant(work)
    assert len(drawn.systems) > 1


@pytest.mark.parametrize(
    "change, words",
    [
        ({"bars": ()}, "it has no bars"),
        ({"bars": bars_of([(1, 1), (2, 1)])[1:]}, "notes outside its bars"),
        ({"notes": (TuneNote(Fraction(1, 11), Fraction(1), 67),)}, "moments that no notation can tell exactly"),
        ({"notes": tuple(TuneNote(Fraction(0), Fraction(1, 2) * n, 60 + n) for n in range(1, 7))}, "different lengths sound at once"),
        ({"bars": (Bar(Fraction(0), Fraction(40), 1, 4, 4, free=True),)}, "bar 1 is too long for one line"),
        ({"bars": (replace(LINE.bars[0], length_q=Fraction(3)), LINE.bars[1])}, "do not follow each other at bar 2"),
    ],
)  # fmt: skip
def test_what_cannot_be_written_is_told_in_a_sentence_and_the_page_is_whole(change, words):
    work, drawn = picture(replace(LINE, **change), "harbour_carillon")
    assert drawn.systems == ()
    assert words in drawn.words[0]
    assert drawn.words[0].startswith("There is no picture in notation: ")
    text = pages.render_report(work)
    pages.Reader(text)
    assert "There is no picture in notation" in text


def test_without_the_engraver_the_page_says_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "verovio", None)
    _, drawn = picture(LINE)
    assert "verovio that engraves it cannot be loaded" in drawn.words[0]


def test_uneven_ends_are_rounded_and_said_to_be():
    """A MIDI file's notes of 0.95 of their quarter."""
    made = replace(LINE, notes=tuple(replace(note, duration_q=note.duration_q * Fraction(457, 480)) for note in LINE.notes))
    _, drawn = picture(made)
    assert drawn.systems
    assert "drawn as the nearest" in drawn.words[0]


@pytest.mark.parametrize("path", GOOD[::4], ids=lambda path: path.name)
def test_every_kind_of_file_gives_a_picture_or_a_sentence(path):
    try:
        work = do_work(pages.machine("twin_lute"), read_tune(path))
    except BadInput:
        return
    drawn = notation_of(work)
    assert drawn.systems or drawn.words
    for system in drawn.systems:
        root = ET.fromstring(str(system))  # noqa: S314 - written by ourselves
        assert not [node for node in root.iter() if node.get("id")]
        used = {node.get("href").removeprefix("#") for node in root.iter("use")}
        assert used <= {node.get("id") for node in ET.fromstring(str(drawn.shapes)).iter("path")}  # noqa: S314 - written by ourselves


def head(name):
    return Head(name[0], 0, int(name[1:]))


# Where a reader expects each compass, common practice, no source: treble around B4, tenor an octave below, bass around D3.
@pytest.mark.parametrize(
    "names, clef",
    [("G4 B4 D5", Clef("G", 2)), ("G3 B3 D4", Clef("G", 2, -1)), ("G2 D3 F3", Clef("F", 4)), ("G5 C6 E6", Clef("G", 2, 1))],
)
def test_the_clef_suits_the_compass(names, clef):
    assert clef_of([head(name) for name in names.split()]) == clef
