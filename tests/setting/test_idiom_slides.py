"""Slides that are written: the small note is struck and the bar glides into the main note on its beat."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from idiom_judge import LEAST_RING_S, judged, stands_mm, takes_s

from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament
from jackrail.work import do_work
from workshop import MACHINE_NAMES, examples, machine, tune, tunes

WRITTEN = Wishes(transpose=0, tempo="100%", slides="written")
GUARD_S = 0.0005
"""What is kept free between two commands to a device."""


def slide_into(made, *indices, below=2):
    """A tune with a slide into some of its notes, from so many semitones below."""
    signs = tuple(
        Ornament(made.notes[n].onset_q, made.notes[n].midi, "slide", (made.notes[n].midi - below, made.notes[n].midi + 1)) for n in indices
    )
    return replace(made, ornaments=signs)


def test_a_slide_begins_as_early_as_the_small_note_and_the_way_take():
    """G4 to A4 on the zither's 640 mm string from C4: the small note speaks for 60 ms, the bar takes its way by the closed form."""
    work = do_work(machine("quay_zither"), slide_into(tune((62, "2"), (69, "2"), tempo=60.0), 1), WRITTEN)
    part = machine("quay_zither").mechanism.voices[0]
    string = machine("quay_zither").instrument.string("melody")
    way_s = takes_s(stands_mm(string, 69) - stands_mm(string, 67), part.carriage)
    first, small, main = work.setting.notes
    assert (first.midi, small.midi, main.midi) == (62, 67, 69)
    assert (small.slid, small.ornamental, main.slid, main.ornamental) == (False, True, True, False)
    assert main.onset_s - first.onset_s == pytest.approx(2.0)  # it keeps its beat
    assert main.onset_s - small.onset_s == pytest.approx(LEAST_RING_S + way_s + GUARD_S, abs=0.0005)
    assert small.leave_s == pytest.approx(small.onset_s + LEAST_RING_S)
    judged(work)


def test_a_slide_is_one_stroke_that_glides_and_arrives_on_the_beat():
    work = do_work(machine("quay_zither"), slide_into(tune((62, "2"), (69, "2"), tempo=60.0), 1), WRITTEN)
    small, main = work.setting.notes[1:]
    _, sounded = work.performance.notes
    assert (sounded.midi, sounded.onset_s) == (67, small.onset_s)
    arrived = sounded.onset_s + sounded.glide[-1].after_s
    assert sounded.glide[0].cents == pytest.approx(0.0, abs=1e-6)
    assert sounded.glide[-1].cents == pytest.approx(200.0, abs=2.0)  # two semitones; a step is 0.025 mm, 0.1 cents here
    assert -0.001 < arrived - main.onset_s <= 0.0
    picks = [cue for cue in work.cues if cue.device == "pick"]
    assert len(picks) == 2
    assert work.setting.notes_kept == work.setting.notes_total == 2
    assert work.setting.small_kept == work.setting.small_total == 1
    assert work.setting.losses == ()


def test_slides_need_no_other_ornaments():
    made = slide_into(tune((62, "2"), (69, "2"), tempo=60.0), 1)
    made = replace(made, ornaments=(*made.ornaments, Ornament(Fraction(2), 69, "trill", (67, 71))))
    assert [note.ornamental for note in do_work(machine("quay_zither"), made, WRITTEN).setting.notes] == [False, True, False]
    plain = do_work(machine("quay_zither"), made, replace(WRITTEN, slides="none"))
    assert len(plain.setting.notes) == 2
    assert not any(note.slid for note in plain.setting.notes)


def test_where_there_is_no_bar_a_slide_stays_the_small_note_it_was():
    work = do_work(machine("tower_chimes"), slide_into(tune((67, "2"), (71, "2"), tempo=60.0), 1), WRITTEN)
    assert [(note.midi, note.slid) for note in work.setting.notes] == [(67, False), (69, False), (71, False)]
    judged(work)


@pytest.mark.parametrize("gap, slid", [("2/5", False), ("1/2", False), ("3/5", True)])
def test_a_slide_that_finds_no_time_leaves_the_melody_as_it_was(gap, slid):
    """G4 to A4, 46.5 mm, takes 0.1 s + 46.5 / 450 s: with 60 ms to speak 264 ms, which is more than half of 500 ms, less than of 600."""
    notes = (67, "2"), (67, gap), (69, "2")
    work, plain = (
        do_work(machine("quay_zither"), slide_into(tune(*notes, tempo=60.0), 2), WRITTEN),
        do_work(machine("quay_zither"), tune(*notes, tempo=60.0), WRITTEN),
    )
    kept = [note for note in work.setting.notes if not note.ornamental]
    assert [(note.onset_s, note.midi) for note in kept] == [(note.onset_s, note.midi) for note in plain.setting.notes]
    assert [note.slid for note in kept] == [False, False, slid]


def test_a_slide_that_the_bar_cannot_come_to_in_time_is_none():
    """From D6 to G4 are 284 mm: 0.1 + 284 / 450 s, 60 ms to ring and 25 to settle make 816 ms, and the slide wants 264: of 1 s too much."""
    for gap, slid in (("1", False), ("11/10", True)):
        work = do_work(machine("quay_zither"), slide_into(tune((86, gap), (69, "2"), tempo=60.0), 1), WRITTEN)
        judged(work)
        assert [note.slid for note in work.setting.notes if not note.ornamental] == [False, slid]


def test_a_small_note_that_no_stop_gives_is_not_slid_from():
    work = do_work(machine("quay_zither"), slide_into(tune((62, "2"), (69, "2"), tempo=60.0), 1, below=1), WRITTEN)  # no G sharp
    assert not any(note.slid for note in work.setting.notes)
    assert [loss.kind for loss in work.setting.losses] == ["small-lost"]


def of_melody(note):
    return note.index, note.onset_s, note.midi, note.voice, note.place


@examples(30)
@given(tunes(), st.sampled_from(["quay_zither", "slipway_harp"]), st.data())
def test_slides_never_make_a_note_late_or_lost(made, name, data):
    wanted = data.draw(st.sets(st.integers(0, len(made.notes) - 1)))
    made = slide_into(made, *wanted, below=data.draw(st.integers(1, 2)))
    leave = data.draw(st.sampled_from(["late", "early"]))
    work = do_work(machine(name), made, Wishes(slides="written", leave=leave))
    judged(work)
    plain = do_work(machine(name), made, Wishes(ornaments="all", leave=leave))  # the same notes, none of them slid into
    assert [of_melody(note) for note in work.setting.notes if not note.ornamental] == [
        of_melody(note) for note in plain.setting.notes if not note.ornamental
    ]
    assert {note.index for note in plain.setting.notes} <= {note.index for note in work.setting.notes}
    assert all(note.slid <= (not note.ornamental) for note in work.setting.notes)
    assert len({note.index for note in work.setting.notes}) == len(work.setting.notes)


@pytest.mark.parametrize("name", MACHINE_NAMES)
def test_a_tune_without_slides_is_played_as_it_was(name):
    made = tune((67, "1"), (71, "1"), (69, "2"), bars=1)
    work, plain = (do_work(machine(name), made, Wishes(slides=slides)) for slides in ("written", "none"))
    assert work.roll_block == plain.roll_block
