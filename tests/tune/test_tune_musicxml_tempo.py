"""Tempo of MusicXML 4.0: sound tempo, element metronome, and words without a number (reference from memory)."""

import pytest
from musicxml_reading import DIVISIONS, another, note, read, said, score, sound, words


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
    assert f"the tempo {text!r} is taken as {quarters}: measure 1" in said(data)


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
    assert "relates to a tempo that is not given as a number: 120 is taken" in said(data)


def test_a_swing_sign_is_no_tempo():
    eighth = "<metronome-note><metronome-type>eighth</metronome-type></metronome-note>"
    data = score(DIVISIONS + metronome(eighth * 2 + "<metronome-relation>equals</metronome-relation>" + eighth * 2) + note("C"))
    assert "a metronome mark that relates several notes is left out: measure 1" in said(data)


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
    assert f"the tempo {text!r} cannot be used and is left out: measure 1" in said(data)


def test_words_count_where_no_number_stands():
    # Allegro as the middle of what metronomes print, see score/tempo_words.py; the felt beat of 6/8 is a dotted quarter.
    data = score(DIVISIONS + words("Allegro") + note("C"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [144]
    assert 'the tempo word "Allegro" is taken as 144 quarter notes a minute: bar 1' in said(data)
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


def at(*measures: str, bpm: str = "120") -> list[tuple[float, float]]:
    """Tempo marks of measures of two quarters, the first at `bpm`."""
    return tempos(DIVISIONS + sound(tempo=bpm) + note("C"), *measures)


@pytest.mark.parametrize("text", ["Tempo I", "tempo primo", "Tempo 1", "Tempo I.", "Tempo 1º", "TEMPO PRIMO", "1° tempo", "Tempo Io"])
def test_tempo_primo_goes_back_to_the_first_tempo(text):
    # "Tempo primo: at the original speed" (any dictionary of music; common practice, no source).
    slow = [sound(tempo="60") + note("D"), sound(tempo="90") + note("E")]
    assert at(*slow, words(text) + note("F")) == [(0, 120), (2, 60), (4, 90), (6, 120)]


def test_going_back_is_said():
    data = score(DIVISIONS + sound(tempo="120") + note("C"), sound(tempo="60") + note("D"), words("Tempo I") + note("E"))
    assert 'the words "Tempo I" go back to 120 quarter notes a minute: bar 3' in read(data).remarks
    # No word names a change that "a tempo" would end: which tempo is meant is not certain.
    data = score(DIVISIONS + sound(tempo="120") + note("C"), sound(tempo="60") + note("D"), words("a tempo") + note("E"))
    assert 'the words "a tempo" go back to 120 quarter notes a minute: bar 3' in read(data).warnings


def beside(text: str, tempo: str) -> str:
    """Words with a number in one direction."""
    return words(text).replace("</direction>", f'<sound tempo="{tempo}"/></direction>')


def test_a_tempo_goes_back_to_the_tempo_before_the_change():
    # "a tempo: in time, after a change of speed" (common practice, no source).
    assert at(beside("rit.", "80") + note("D"), words("a tempo") + note("E")) == [(0, 120), (2, 80), (4, 120)]
    steps = [beside("rit.", "80") + note("D"), sound(tempo="70") + note("E"), beside("molto rit.", "60") + note("F")]
    assert at(*steps, words("a tempo") + note("G")) == [(0, 120), (2, 80), (4, 70), (6, 60), (8, 120)]
    slower = [beside("Meno mosso", "90") + note("D"), beside("rall.", "60") + note("E")]
    assert at(*slower, words("a tempo") + note("F")) == [(0, 120), (2, 90), (4, 60), (6, 90)]
    assert at(beside("Meno mosso", "90") + note("D"), words("a tempo") + note("E")) == [(0, 120), (2, 90), (4, 120)]
    new = [beside("rit.", "80") + note("D"), beside("Andante", "70") + note("E"), words("rit.") + note("F")]
    assert at(*new, words("a tempo") + note("G")) == [(0, 120), (2, 80), (4, 70)]


def test_a_return_that_changes_nothing_is_silent():
    data = score(DIVISIONS + sound(tempo="120") + note("C"), words("rit.") + note("D"), words("a tempo") + note("E"))
    assert [mark.quarters_per_minute for mark in read(data).tempo] == [120]
    assert "go back" not in said(data)
    assert tempos(DIVISIONS + words("Tempo I") + note("C")) == []


def test_a_number_beside_words_that_go_back_counts():
    assert at(sound(tempo="60") + note("D"), beside("Tempo I", "110") + note("E")) == [(0, 120), (2, 60), (4, 110)]
    mark = words("a tempo").replace("</direction>", "") + f"<direction-type><metronome>{unit('quarter')}{rate('100')}</metronome>"
    assert at(sound(tempo="60") + note("D"), mark + "</direction-type></direction>" + note("E")) == [(0, 120), (2, 60), (4, 100)]


def test_words_that_go_back_to_a_tempo_that_is_a_word_and_stand_over_another_part():
    other = another("P2", DIVISIONS + note("G"), note("A"), words("Tempo I") + note("B"))
    data = score(DIVISIONS + words("Allegro") + note("C"), sound(tempo="60") + note("D"), note("E"), parts=other)
    assert [(float(mark.onset_q), mark.quarters_per_minute) for mark in read(data).tempo] == [(0, 144), (2, 60), (4, 144)]


@pytest.mark.parametrize("text", ["Tempo di marcia", "l'istesso tempo", "Tempo in two", "a temporary stop"])
def test_other_words_with_tempo_in_them_go_nowhere(text):
    assert at(sound(tempo="60") + note("D"), words(text) + note("E")) == [(0, 120), (2, 60)]


def test_one_sentence_for_a_mark_in_every_measure():
    about = metronome(unit("quarter") + rate("c. 100"))
    tune = read(score(DIVISIONS + about + note("C"), *[about + note("D")] * 30))
    assert [warning for warning in tune.warnings if "c. 100" in warning] == [
        "the tempo 'c. 100' is taken as 100: measure 1, measure 2, measure 3, measure 4 and 27 more places"
    ]


def test_a_relation_after_words():
    # A quarter is to last what a dotted quarter lasted: Allegro, 144 quarters, becomes 216.
    relation = metronome(unit("quarter") + unit("quarter", 1))
    assert at(words("Allegro") + note("D"), relation + note("E"), bpm="60") == [(0, 60), (2, 144), (4, 216)]
    data = score(DIVISIONS + sound(tempo="60") + note("C"), words("Tempo I") + note("D"), relation + note("E"))
    assert "a metronome mark relates to a tempo that is not given as a number: 120 is taken: measure 3" in read(data).warnings
