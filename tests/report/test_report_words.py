"""Sentences, gathered losses, lines of music and labels, each by itself."""

from dataclasses import replace
from itertools import pairwise

import pytest
import report_pages as pages
from hypothesis import given
from hypothesis import strategies as st

from jackrail.findings import Finding, count
from jackrail.report.numbers import facts, flash, moves_table, rails_table, work_table
from jackrail.report.scales import Linear, Window, cut_path, lines_of_music, spread
from jackrail.report.words import before, cautions, how_played, outlook, verdict
from jackrail.setting.losses import gather
from jackrail.setting.model import Loss
from jackrail.setting.naming import interval


def with_setting(**changes):
    work = pages.work("quay_zither", "nine_lamps")
    plain = {
        "notes_total": len(work.setting.notes),
        "tempo_factor": 1.0,
        "losses": (),
        "transpose_semitones": 0,
        "chords_total": 50,
        "chords_kept": 50,
    }
    return replace(work, setting=replace(work.setting, **(plain | changes)))


def loss(kind="chord-changed", place="bar 1 beat 1", written="D7", played="D", reason="the bar has the plain triad"):
    return Loss(kind, place, 0.0, written, played, reason)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "All {n} notes, at the written tempo, in the written key."),
        ({"tempo_factor": 0.556}, "All {n} notes, at 55.6 % of the written tempo, in the written key."),
        ({"transpose_semitones": 7}, "All {n} notes, at the written tempo, in D major instead of G major."),
        ({"transpose_semitones": -12}, "All {n} notes, at the written tempo, in the written key, an octave lower than written."),
        ({"losses": (loss(),) * 8}, "All {n} notes, at the written tempo, in the written key; 8 chords are played as their plain triads."),
        ({"losses": (loss(),)}, "All {n} notes, at the written tempo, in the written key; 1 chord is played as its plain triad."),
        (
            {"losses": (loss("chord-lost"),) * 50, "chords_kept": 0},
            "All {n} notes, at the written tempo, in the written key; all 50 chords are left out.",
        ),
        ({"notes_total": 1000}, "{n} of 1000 notes, {n} of 126 of the melody among them, at the written tempo, in the written key."),
    ],
)
def test_the_verdict_is_one_plain_sentence(changes, sentence):
    work = with_setting(**changes)
    assert verdict(work) == sentence.format(n=len(work.setting.notes))


def test_counts_and_intervals_are_said_as_people_say_them():
    assert [count(n, "note") for n in (0, 1, 2)] == ["0 notes", "1 note", "2 notes"]
    assert [interval(n) for n in (1, -5, 12, -24)] == ["1 semitone higher", "5 semitones lower", "an octave higher", "2 octaves lower"]


def test_equal_losses_become_one_row_with_all_their_places():
    many = [loss(place=f"bar {n} beat 1") for n in range(50)]
    rows = gather([*many[:25], loss("note-lost", "bar 9 beat 2", "G4", "", "too far"), *many[25:]])
    assert [row.what for row in rows] == ["chord by another bar", "note left out"]
    assert rows[0].places == tuple(f"bar {n} beat 1" for n in range(50))
    assert rows[1].played == "nothing"


def test_notes_cut_short_are_one_row_behind_all_others():
    cuts = [loss("note-cut", f"bar {n} beat 1", name, name, f"leaves after 0.{n} s") for n, name in enumerate("GABC", start=1)]
    rows = gather([cuts[0], loss(), *cuts[1:]])
    assert [(row.what, row.written, row.played) for row in rows][1:] == [("note cut short", "G, A, B and others", "shorter")]
    assert rows[1].reason == "to be in time for what follows; the first leaves after 0.1 s"
    assert len(rows[1].places) == 4
    (alone,) = gather(cuts[:1])
    assert (alone.written, alone.played, alone.reason) == ("G", "G", "leaves after 0.1 s")


def test_the_page_says_why_this_tempo_and_this_key():
    work = pages.work("quay_zither", "gull_steps")
    paragraphs = pages.Reader(pages.page("quay_zither", "gull_steps")).words("p")
    assert len(work.setting.why) == 2
    assert set(work.setting.why) <= set(paragraphs)


def test_the_sound_to_compare_with_says_in_what_it_differs_from_the_file():
    plain = "Beside it the tune as written: every note, at the written tempo"
    assert before(with_setting()) == plain
    assert before(with_setting(transpose_semitones=2)) == f"{plain}, in the key as played"
    assert before(pages.work("tower_chimes", "gull_steps")) == f"{plain}, in the key as played, without its chords"  # it has no chord bars


@pytest.mark.parametrize("change", [{"kind": "chord-lost"}, {"written": "A7"}, {"played": "Dm"}, {"reason": "another"}])
def test_losses_that_differ_stay_apart(change):
    assert len(gather([loss(), loss(**change)])) == 2


def test_fifty_equal_losses_make_one_row_of_the_page():
    rows = gather(pages.work("tower_chimes", "nine_lamps").setting.losses)
    assert sum(len(row.places) for row in rows) == len(pages.work("tower_chimes", "nine_lamps").setting.losses)
    assert len(rows) < 10
    reader = pages.Reader(pages.page("tower_chimes", "nine_lamps"))
    assert len(reader.all("details")) == sum(len(row.places) > 3 for row in rows) > 0


def test_the_outlook_follows_the_worst_finding():
    note, warning, error = (Finding("fit.notes-lost", severity, "here", "so it is") for severity in ("note", "warning", "error"))
    assert outlook(()) == outlook((note,)) == "It can be played: no finding speaks against it."
    assert outlook((note, warning, warning)) == "It can be played; 2 warnings among the findings should be read first."
    assert outlook((warning, error)) == "Do not play it yet: 1 error among the findings must be put right first."


def test_how_it_is_played_names_key_tempo_and_pitch():
    played = dict(how_played(pages.work("tower_chimes", "gull_steps")))
    assert played["Key"] == "D major"  # a fifth above the written G
    assert played["Transposed"] == "7 semitones higher than written"
    assert played["Metre"] == "6/8"
    assert played["Tuned to"] == "A4 at 440 Hz"


def test_cautions_speak_of_what_the_machine_has():
    zither, chimes = (" ".join(cautions(pages.work(machine, "nine_lamps"))) for machine in ("quay_zither", "tower_chimes"))
    assert "tension" in zither
    assert "carriage" in zither
    assert "tension" not in chimes
    assert "carriage" not in chimes
    for text in (zither, chimes):
        assert "licensed" in text
        assert "local code" in text
        assert "hot" in text


def test_the_carriage_travels_the_sum_of_its_ways_between_stops():
    """From home at 60 mm to the first stop, then from stop to stop: x = L * (1 - 2^(-k/12)) again, to a motor step of 0.025 mm."""
    work = pages.work("quay_zither", "nine_lamps")
    stands_mm = [60.0, *(640 * (1 - 2 ** (-(note.midi - 60) / 12)) for note in work.setting.notes)]
    metres = sum(abs(b - a) for a, b in pairwise(stands_mm)) / 1000
    row = next(row for row in work_table(work).rows if row[0] == "carriage")
    assert float(row[2].split(" m ")[0]) == pytest.approx(metres, abs=0.006)
    turns = next(row for row in work_table(work).rows if row[0] == "pick")
    assert turns[2] == f"{work.setting.notes_kept} turns"


def test_numbers_state_what_the_work_holds():
    work = pages.work("quay_zither", "gull_steps")
    table = moves_table(work)
    assert len(table.rows) == 5
    spare_ms = [float(row[4].removesuffix(" ms")) for row in table.rows]
    assert spare_ms == sorted(spare_ms)
    assert moves_table(pages.work("tower_chimes", "gull_steps")).rows == ()
    assert [row[0] for row in rails_table(work).rows] == ["main", "five"]
    assert dict(facts(work))["Roll against setting"].startswith(f"onsets off by {1000 * work.comparison.worst_late_s:.2f} ms at most")


def test_the_parts_of_the_flash_add_up_to_the_flash():
    """32 KiB: ATmega328P datasheet, memories."""
    shown = flash(pages.work("quay_zither", "nine_lamps"))
    assert sum(int(row[2].removesuffix(" bytes")) for row in shown.table.rows) == 32768


@given(st.lists(st.floats(0, 200), min_size=1, max_size=15).map(sorted))
def test_spread_labels_are_in_order_apart_and_inside(wanted):
    places = spread(wanted, 11.5, 0.0, 200.0)
    assert all(b - a >= 11.5 - 1e-6 for a, b in pairwise(places))
    assert min(places) >= 0
    assert max(places) <= 200 + 1e-6


def test_spread_labels_move_no_further_than_they_must():
    assert spread([10, 50, 100], 11.5, 0, 200) == [10, 50, 100]
    assert spread([50, 50], 10, 0, 200) == pytest.approx([45, 55])
    assert spread([0, 1], 10, 0, 200) == pytest.approx([0, 10])


@given(st.floats(0.3, 9.0), st.integers(3, 120), st.floats(0.0, 3.0))
def test_lines_of_music_cover_the_tune_and_break_at_bars(bar_s, bars, upbeat_s):
    upbeat_s = min(upbeat_s, 0.8 * bar_s)
    starts = ([0.25] if upbeat_s > 0.01 else []) + [0.25 + upbeat_s + n * bar_s for n in range(bars)]
    end_s = starts[-1] + bar_s + 1.0
    lines = lines_of_music(starts, end_s)
    assert lines[0].start_s == 0
    assert lines[-1].end_s == end_s
    assert all(a.end_s == b.start_s for a, b in pairwise(lines))
    assert all(min(abs(line.start_s - at_s) for at_s in starts) < 1e-9 for line in lines[1:])
    assert max(line.end_s - line.start_s for line in lines) < 14 * 4 / 3 + 0.25 + 0.8 * bar_s + 1.0


def test_a_performance_that_ends_before_its_tune_still_has_its_lines():
    assert lines_of_music([0.25 + 1.6 * n for n in range(60)], 1.0) == (Window(0.0, 1.0),)


@given(st.floats(0, 10), st.floats(0.1, 5))
def test_a_cut_path_agrees_with_the_whole_at_the_cut(start_s, length_s):
    path, window = [(0.0, 0.0), (4.0, 8.0), (15.0, -3.0)], Window(start_s, start_s + length_s)
    cut = cut_path(path, window)
    for at_s, value in (cut[0], cut[-1]):
        whole = Linear(0, 4, 0, 8)(at_s) if at_s <= 4 else Linear(4, 15, 8, -3)(at_s)
        assert value == pytest.approx(whole)
    assert cut[0][0] == pytest.approx(window.start_s)
    assert cut[-1][0] == pytest.approx(window.end_s)
