"""Tempo of MusicXML 4.0: sound tempo, element metronome, and words without a number (reference from memory)."""

import pytest
from musicxml_reading import DIVISIONS, note, read, said, score, sound, words


def tempos(*measures: str) -> list[tuple[float, float]]:
    return [(float(mark.onset_q), mark.quarters_per_minute) for mark in read(score(*measures)).tempo]


def metronome(inside: str) -> str:
    return f"<direction><direction-type><metronome>{inside}</metronome></direction-type></direction>"


def unit(name: str, dots: int = 0) -> str:
    return f"<beat-unit>{name}</beat-unit>" + "<beat-unit-dot/>" * dots


def rate(text: str) -> str:
    return f"<per-minute>{text}</per-minute>"


@pytest.mark.parametrize(
    "mark, quarters",
    [
        (unit("quarter") + rate("108"), 108), (unit("half") + rate("60"), 120), (unit("eighth") + rate("120"), 60),
        (unit("quarter", 1) + rate("60"), 90), (unit("quarter", 2) + rate("80"), 140), (unit("quarter") + rate("66.5"), 66.5),
    ],
)  # fmt: skip
def test_metronome_marks(mark, quarters):
    assert tempos(DIVISIONS + metronome(mark) + note("C")) == [(0, quarters)]


@pytest.mark.parametrize("text, quarters", [("c. 108", 108), ("ca. 92", 92), ("120-132", 126), ("120–126", 123), ("(88)", 88)])
def test_numbers_in_words_are_said(text, quarters):
    data = score(DIVISIONS + metronome(unit("quarter") + rate(text)) + note("C"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [quarters]
    assert f"the tempo {text!r} of part 1 (Fiddle) measure 1 is taken as {quarters}" in said(data)


def test_a_relation_of_note_values():
    # "the first beat-unit is the old, the second the new": a quarter lasts what a dotted quarter lasts from here on.
    old_new = metronome(unit("quarter") + unit("quarter", 1))
    assert tempos(DIVISIONS + sound(tempo="80") + note("C"), old_new + note("D")) == [(0, 80), (2, 120)]
    assert tempos(DIVISIONS + sound(tempo="120") + note("C"), metronome(unit("half") + unit("quarter")) + note("D")) == [(0, 120), (2, 60)]
    notes = "<metronome-note><metronome-type>quarter</metronome-type>{}</metronome-note>"
    relation = notes.format("") + "<metronome-relation>equals</metronome-relation>" + notes.format("<metronome-dot/>")
    assert tempos(DIVISIONS + sound(tempo="80") + note("C"), metronome(relation) + note("D")) == [(0, 80), (2, 120)]


def test_a_relation_without_a_tempo_before():
    data = score(DIVISIONS + metronome(unit("quarter") + unit("half")) + note("C"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [240]
    assert "relates to a tempo that is not given: 120 is taken" in said(data)


def test_a_swing_sign_is_no_tempo():
    eighth = "<metronome-note><metronome-type>eighth</metronome-type></metronome-note>"
    data = score(DIVISIONS + metronome(eighth * 2 + "<metronome-relation>equals</metronome-relation>" + eighth * 2) + note("C"))
    assert "relates several notes and is left out" in said(data)


def test_a_sound_counts_before_the_mark_it_stands_beside():
    both = metronome(unit("quarter") + rate("100")).replace("</direction>", '<sound tempo="104.000000000000014"/></direction>')
    assert tempos(DIVISIONS + both + note("C")) == [(0, pytest.approx(104))]


def test_a_tempo_within_a_bar_and_one_moved_by_an_offset():
    assert tempos(DIVISIONS + sound(tempo="80") + note("C", 2) + sound(tempo="60") + note("D", 2)) == [(0, 80), (1, 60)]
    # offset sound: only "yes" moves what is heard.
    moved = sound(tempo="60").replace("<sound", '<offset sound="yes">2</offset><sound')
    assert tempos(DIVISIONS + sound(tempo="80") + moved + note("C")) == [(0, 80), (1, 60)]
    drawn = sound(tempo="60").replace("<sound", "<offset>2</offset><sound")
    assert tempos(DIVISIONS + drawn + note("C")) == [(0, 60)]


@pytest.mark.parametrize("text", ["0", "-20", "fast", "99999"])
def test_tempos_that_cannot_be_used_are_named(text):
    data = score(DIVISIONS + sound(tempo=text) + note("C"))
    assert f"the tempo {text!r} of part 1 (Fiddle) measure 1 cannot be used and is left out" in said(data)


def test_words_count_where_no_number_stands():
    # Allegro as the middle of what metronomes print, see score/tempo_words.py; the felt beat of 6/8 is a dotted quarter.
    data = score(DIVISIONS + words("Allegro") + note("C"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [144]
    assert 'the tempo word "Allegro" in bar 1 is taken as 144 quarter notes a minute' in said(data)
    compound = DIVISIONS.replace("<beats>2</beats><beat-type>4", "<beats>6</beats><beat-type>8")
    assert tempos(compound + words("Andante") + note("C", 6)) == [(0, 138)]


def test_a_number_at_the_same_place_counts_before_words():
    data = score(DIVISIONS + words("Allegro") + sound(tempo="120") + note("C"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [120]
    assert "tempo word" not in said(data)
    assert tempos(DIVISIONS + sound(tempo="120") + note("C"), words("Adagio") + note("D")) == [(0, 120), (2, 71)]


@pytest.mark.parametrize("text", ["rit.", "ritardando", "accel. poco a poco", "più lento", "Meno Allegro"])
def test_changes_without_a_number_are_named(text):
    data = score(DIVISIONS + sound(tempo="90") + note("C") + words(text))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [90]
    assert "changes of tempo without a number (rit., accel., più and the like) are not played: measure 1" in said(data)


def test_what_is_worked_out_from_a_note_value_is_rounded():
    # 60.00006 dotted quarters are 90.00009 quarters; a third of 100 is 33.333; a number for quarters stays as it is written.
    assert tempos(DIVISIONS + metronome(unit("quarter", 1) + rate("60.00006")) + note("C")) == [(0, 90)]
    relation = metronome(unit("quarter", 1) + unit("eighth"))
    assert tempos(DIVISIONS + sound(tempo="100") + note("C"), relation + note("D")) == [(0, 100), (2, 33.333)]
    assert tempos(DIVISIONS + sound(tempo="66.66667") + note("C")) == [(0, 66.66667)]
