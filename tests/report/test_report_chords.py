"""Chords that nobody wrote, silence that somebody wrote, and small notes: named as what they are, on the page and on the terminal."""

from dataclasses import replace
from fractions import Fraction

import pytest
import report_pages as pages

from jackrail.cli.show import show_setting, show_tune, show_work
from jackrail.report import render_report
from jackrail.report.words import chords_in_words, how_played, nothing_lost, verdict
from jackrail.setting.fit import fit
from jackrail.setting.model import Setting
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import NO_CHORD, ChordSymbol, Ornament, Tune
from jackrail.work import Work, do_work
from workshop import ensemble, tune

STAY = Wishes(transpose=0, tempo="100%")


def work_on(name: str, made: Tune, wishes: Wishes = STAY) -> Work:
    return do_work(pages.machine(name), made, wishes)


def thirds(*roots, **about) -> Tune:
    """A bar of each root and the third above it: a chord of its own."""
    return tune(*[(midi, 2) for root in roots for midi in (root, root + 4)], tempo=60.0, bars=len(roots), **about)


def four_bars(*symbols) -> Tune:
    made = thirds(67, 72, 74, 67, chords=symbols)
    return replace(made, harmony="written" if symbols else "")


def fitted(made: Tune) -> Setting:
    return fit(made, ensemble("quay_zither").voices, "Zither", STAY)


def text_of(shown) -> str:
    """What reached the terminal, as one line."""
    return " ".join(shown.readouterr().out.split())


def test_proposed_chords_are_marked_wherever_a_person_looks(capsys):
    work = work_on("quay_zither", four_bars())
    assert work.tune.harmony == work.setting.harmony == "proposed"
    page = render_report(work)
    reader = pages.Reader(page)
    assert [chord.symbol for chord in work.tune.chords] == ["G", "C", "D", "G"]
    assert verdict(work).endswith("the chords are proposed from the machine's chord bars, none were written.")
    assert dict(how_played(work))["Chords"] == "G C D, proposed from the machine's chord bars, none were written"
    assert [text for text in reader.words("text") if text.startswith("chords")] == ["chords (proposed)"] * len(pages.drawings(page, "line"))
    assert "every chord is played as written" not in page
    assert "tune.harmony" in reader.words("code")
    show_setting(work.setting, work.tune)
    assert "chords 4 of 4 proposed: G C D; none were written" in text_of(capsys)
    show_work(work, [pages.ROOT / "report.html", pages.ROOT / "sound.wav"], None, work.findings)
    assert "proposed: G C D; none were written" in text_of(capsys)
    assert work.setting.to_json(work.ensemble.voice_ids, work.ensemble.place_names)["harmony"] == "proposed"


def test_proposed_chords_are_named_as_written_and_as_they_sound(capsys):
    """A tune in F played a step higher: its proposed F, Bb and C are the bars G, C and D."""
    made = thirds(65, 70, 72, 65, sharps=-1)
    work = work_on("quay_zither", made, Wishes(transpose=2, tempo="100%"))
    assert [chord.symbol for chord in work.tune.chords] == ["F", "Bb", "C", "F"]
    show_setting(work.setting, work.tune)
    assert "proposed: F Bb C, sounding G C D; none were written" in text_of(capsys)
    assert dict(how_played(work))["Chords"].startswith("F Bb C, sounding G C D, proposed")
    (said,) = [finding.message for finding in work.findings if finding.code == "tune.harmony"]
    assert said == "no chords were written: 4 were proposed from the machine's chord bars (F Bb C, sounding G C D)"
    assert {stroke.symbol for stroke in work.setting.strokes} == {"F", "Bb", "C"}
    assert {stroke.chord for stroke in work.performance.strokes} == {"G", "C", "D"}


def test_written_chords_are_not_called_proposed(capsys):
    work = work_on("quay_zither", four_bars((0, "G"), (4, "C")))
    assert nothing_lost(work) == "Nothing: every note and every chord is played as written."
    assert dict(how_played(work))["Chords"] == "G C, as written"
    assert "proposed" not in render_report(work)
    show_setting(work.setting, work.tune)
    assert "proposed" not in text_of(capsys)


def test_estimated_chords_are_said_to_be(capsys):
    made = replace(four_bars((0, "G"), (4, "C")), harmony="estimated")
    work = work_on("quay_zither", made)
    assert verdict(work).endswith("the chords are told from the file's accompaniment, none were written.")
    page = render_report(work)
    lanes = [text for text in pages.Reader(page).words("text") if text.startswith("chords")]
    assert lanes == ["chords (told from the accompaniment)"] * len(pages.drawings(page, "line"))
    (said,) = [finding.message for finding in work.findings if finding.code == "tune.harmony"]
    assert said == "no chords were written: 2 were told from the file's accompaniment (G C)"
    show_setting(work.setting, work.tune)
    show_tune(made)
    shown = text_of(capsys)
    assert "told from the accompaniment: G C; none were written" in shown
    assert "chords G C (told from the accompaniment)" in shown


def test_where_chords_are_left_out_as_asked_no_chord_is_said_to_be_played():
    made = four_bars((0, "G"), (4, "C"))
    work = work_on("quay_zither", made, replace(STAY, harmony="none"))
    page = render_report(work)
    assert nothing_lost(work) == "Nothing: every note is played as written."
    assert "every chord" not in page
    assert "the chords written in the file are left out, as asked for (--harmony none)" in page


def test_the_table_of_losses_says_how_it_names_them_where_the_tune_is_moved():
    made = tune((63, 2), (62, 2), tempo=60.0, bars=1)
    moved = render_report(work_on("quay_zither", made, replace(STAY, transpose=2)))
    assert "Written: as in the file. Played, and the reasons: as it sounds, 2 semitones higher." in moved
    assert "bar 1 beat 1: D#4 (here F4) left out: no voice has F within two octaves" in moved
    assert "<td>D#4</td><td>nothing</td>" in moved
    assert "Written: as in the file" not in render_report(work_on("quay_zither", made))


def test_silence_has_a_row_of_its_own_and_a_mark_where_it_begins():
    work = work_on("quay_zither", four_bars((0, "G"), (8, NO_CHORD), (12, "G")))
    page = render_report(work)
    drawn = pages.drawings(page, "line")
    marks = [mark for line in drawn for mark in pages.having(line, "g", "sound", "silence")]
    assert [mark.find(f"{pages.SVG}title").text for mark in marks] == ["bar 3 beat 1: no chord from here on"]
    assert any(node.text == "no chord" for line in drawn for node in pages.having(line, "text", "level-name"))
    assert "no chord sounds from here on" in page
    assert dict(how_played(work))["Chords"] == "G, as written; none from bar 3 beat 1"
    (line,) = [line for line in drawn if pages.having(line, "g", "sound", "silence")]
    zero, width = pages.seconds_scale(line)
    rect = marks[0].find(f"{pages.SVG}rect")
    assert (float(rect.get("x")) + 2 - zero) / width == pytest.approx(work.setting.lead_in_s + 8, abs=0.01)


def test_many_silences_are_not_all_named():
    symbols = tuple(ChordSymbol(Fraction(4 * n), NO_CHORD if n % 2 else "G") for n in range(10))
    made = replace(tune(*[(67, 4)] * 10, bars=10), chords=symbols, harmony="written")
    assert chords_in_words(made, fitted(made)) == "G, as written; none from bar 2 beat 1, bar 4 beat 1, bar 6 beat 1 and 2 more"
    assert chords_in_words(tune((67, 4)), fitted(tune((67, 4)))) == "none"


def test_small_notes_are_drawn_named_and_counted_apart(capsys):
    graces = (Ornament(Fraction(4), 72, "grace", (74,)), Ornament(Fraction(8), 74, "grace", (75,)))
    made = replace(four_bars((0, "G")), ornaments=graces)
    work = work_on("tower_chimes", made, replace(STAY, ornaments="all"))
    page = render_report(work)
    assert (work.setting.small_kept, work.setting.small_total) == (1, 2)  # the chimes have no E flat
    assert "; 1 of 2 small notes are played" in verdict(work)
    assert verdict(work).startswith("All 8 notes")
    drawn = pages.drawings(page, "line")
    titles = [node.text for line in drawn for node in line.iter(f"{pages.SVG}title")]
    assert sum(title.endswith("a small note") for title in titles) == 1
    assert sum("small note D#5 left out" in title for title in titles) == 1
    assert "small note left out" in page
    show_setting(work.setting, made)
    assert "notes 8 of 8 small notes 1 of 2" in text_of(capsys)


def test_a_tune_is_shown_with_its_ornaments_its_chords_source_and_its_told_key(capsys):
    ornaments = (
        Ornament(Fraction(0), 67, "grace", (69, 71)),
        Ornament(Fraction(4), 72, "after-grace", (71,)),
        Ornament(Fraction(8), 74, "trill", (72, 76)),
        Ornament(Fraction(12), 67, "upper-mordent", (66, 69)),
        Ornament(Fraction(12), 67, "upper-mordent", (66, 69)),
    )
    show_tune(replace(four_bars((0, "G")), ornaments=ornaments, key_estimated=True))
    shown = text_of(capsys)
    assert "ornaments 3 grace notes, 1 trill, 2 upper mordents: kept apart, --ornaments plays them" in shown
    assert "chords G (written)" in shown
    assert "key G major (told from the notes)" in shown


def test_a_plain_tune_is_shown_without_more_ado(capsys):
    show_tune(four_bars())
    shown = text_of(capsys)
    assert "chords none" in shown
    assert "ornaments" not in shown
    assert "told" not in shown
