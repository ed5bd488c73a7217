"""What is drawn of notes that are slid into, struck again, swaying or rolled."""

import re
from dataclasses import replace

from jackrail.report.clock import Clock
from jackrail.report.numbers import facts
from jackrail.report.parts import panels_of
from jackrail.report.picture import picture_of
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Ornament
from jackrail.work import do_work
from workshop import machine, tune


def sounds(work):
    return [sound for panel in panels_of(work, Clock(work.tune, work.setting)) for sound in panel.sounds if sound.kind == "note"]


def made(**wishes):
    notes = tune((69, "2"), (71, "3"), (69, "3"), tempo=60.0, bars=2)
    slides = replace(notes, ornaments=(Ornament(notes.notes[2].onset_q, 69, "slide", (67, 71)),))
    return do_work(machine("slipway_harp"), slides, Wishes(transpose=0, tempo="100%", **wishes))


def test_a_note_that_is_slid_into_has_no_edge_of_a_stroke():
    (slid,) = [sound for sound in sounds(made(slides="written")) if "slides into it" in sound.title]
    assert not slid.struck
    # the string, struck 60 ms and a way of 0.21 s before, rings 4.5 s by its file
    assert slid.title.startswith("bar 2 beat 2: A4, 4.23 s")
    assert sum(not sound.struck for sound in sounds(made(slides="written"))) == 1
    assert all(sound.struck for sound in sounds(made()))


def test_each_stroke_of_a_note_is_drawn_from_its_moment_to_the_next():
    work = made(strokes="double")
    drawn = sorted(sounds(work), key=lambda sound: sound.onset_s)
    assert [round(sound.onset_s - work.setting.lead_in_s, 3) for sound in drawn] == [0.0, 1.0, 2.0, 3.5, 5.0, 6.5]
    assert all("struck 1 time more" in sound.title for sound in drawn)
    assert drawn[0].end_s == drawn[1].onset_s
    assert [bool(sound.label) for sound in drawn] == [True, False] * 3


def test_swaying_is_told():
    assert all("its bar sways" in sound.title for sound in sounds(made(vibrato=True)))


def test_a_rolled_note_tells_how_far_before_its_beat_it_is():
    notes = tune((60, "2"), tempo=60.0, bars=1)
    chord = replace(notes, notes=(notes.notes[0], replace(notes.notes[0], midi=69)))
    work = do_work(machine("slipway_harp"), chord, Wishes(transpose=0, tempo="100%", rolled=True))
    assert [", 30 ms before its beat" in sound.title for sound in sorted(sounds(work), key=lambda sound: sound.onset_s)] == [True, False]


def test_a_soft_note_is_thinner_than_a_full_one_and_says_so():
    """First beat, beat and off-beat of the carillon by the metre: 1, 0.7 and 0.7 of its file are nearest to 1, 0.8 and 0.6."""
    notes = tune((67, "1"), (69, "1/2"), (71, "1/2"), (72, "2"), tempo=60.0, bars=1)
    work = do_work(machine("harbour_carillon"), notes, Wishes(transpose=0, tempo="100%", dynamics="beats"))
    drawn = sorted(sounds(work), key=lambda sound: sound.onset_s)
    assert [sound.strength for sound in drawn] == [1.0, 0.7, 0.7, 0.7]
    assert ["struck with 70 % of full strength" in sound.title for sound in drawn] == [False, True, True, True]
    (line,) = picture_of(work).lines
    heights = [float(high) for high in re.findall(r'h[\d.]+v([\d.]+)h-[\d.]+z" class="ring"', line)]
    assert sorted(heights) == [4.9, 4.9, 4.9, 7.0]  # 7 px, as every note on machines without touches, and 0.7 of it
    assert "struck softly" in " ".join(key.words for key in picture_of(work).legend)
    plain = do_work(machine("harbour_carillon"), notes, Wishes(transpose=0, tempo="100%", dynamics="even"))
    assert {sound.strength for sound in sounds(plain)} == {1.0}
    assert "struck softly" not in " ".join(key.words for key in picture_of(plain).legend)


def test_how_notes_are_played_stands_among_the_numbers():
    assert ("Played", "1 note slid into") in facts(made(slides="written"))
    assert ("Played", "3 further strokes") in facts(made(strokes="double"))
    assert ("Played", "3 notes with vibrato") in facts(made(vibrato=True))
    assert "Played" not in dict(facts(made()))
