"""The rehearsal on the page, read back from the drawing: what was heard is where it was heard, what was not cannot be overlooked."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import report_pages as pages
from report_rehearsals import DIGEST, every_ms, later, rehearsal, silent, steady

from jackrail.api import rehearse_work
from jackrail.checks.heard import rehearsal_findings, skipped_finding
from jackrail.performance import SoundedNote
from jackrail.rehearsal.model import Notice
from jackrail.report import render_report
from jackrail.report.drawing import SHAPES
from jackrail.report.rehearsed import rehearsed_of
from jackrail.report.scales import Banded, Linear, even_lines, thinned
from jackrail.report.words import not_rehearsed, rehearsal_words
from rehearsing import needs_rehearsal

ZITHER = ("quay_zither", "nine_lamps")


@cache
def planned(machine, tune):
    return rehearsal(pages.work(machine, tune))


def section(text):
    return text[text.index('<h2 id="rehearsal">') : text.index('<h2 id="numbers">')]


def lines_of(work, heard):
    return pages.drawings(section(render_report(work, heard)), "line")


def places(path, kind):
    """Where each mark of a path stands, by hand: every mark is given from the one before and ends where it began."""
    x = y = 0.0
    found = []
    for move in path.get("d").split(SHAPES[kind])[:-1]:
        right, down = re.fullmatch(r"m(-?[\d.]+) (-?[\d.]+)", move).groups()
        x, y = x + float(right), y + float(down)
        found.append((x, y))
    return found


def marks(lines, kind):
    """(seconds, y, panel's title) of each mark of a kind, through the printed seconds of the axes."""
    found = []
    for line in lines:
        zero, width = pages.seconds_scale(line)
        for panel in pages.having(line, "g", "panel"):
            title = pages.having(panel, "text", "panel-title")[0].text
            for path in pages.having(panel, "path", "mark", kind):
                found += [((x - zero) / width, y, title) for x, y in places(path, kind)]
    return sorted(found)


def rungs(line, panel_start):
    """y by label of the panel whose title starts so."""
    panel = next(
        panel for panel in pages.having(line, "g", "panel") if pages.having(panel, "text", "panel-title")[0].text.startswith(panel_start)
    )
    leaders = [pages.points(path)[-1][1] for path in pages.having(panel, "path", "leader")]
    return list(zip([text.text for text in pages.having(panel, "text", "level-name")], leaders, strict=True))


def value_at(y, ladder):
    """The value of a height, straight between rungs."""
    known = sorted((height, value) for value, height in ladder)
    return np.interp(y, [height for height, _ in known], [value for _, value in known])


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_each_sound_expected_and_heard_has_its_stroke_at_its_second(machine, tune):
    work, heard = pages.work(machine, tune), planned(machine, tune)
    lines = lines_of(work, heard)
    onsets = sorted([sound.onset_s for sound in (*work.performance.notes, *work.performance.strokes)])
    for kind in ("expected", "heard"):
        drawn = [at_s for at_s, _, _ in marks(lines, kind)]
        assert drawn == pytest.approx(onsets, abs=0.006)  # 0.05 px at 9 px a second or more
    for kind in ("missing", "extra", "beyond", "noticed"):
        assert marks(lines, kind) == []


def test_what_was_not_heard_has_a_cross_and_what_nobody_asked_for_a_triangle_and_both_stand_in_words():
    work = pages.work(*ZITHER)
    fourth, late_s = work.performance.notes[3], work.performance.notes[10].onset_s + 0.4
    gone = silent(lambda sound: sound.voice == "bar_c" or sound == fourth)
    heard = rehearsal(work, gone, extra=(SoundedNote(late_s, 0.3, 67, 0.0, "melody", "melody"),))
    lines = lines_of(work, heard)
    lost_s = [stroke.onset_s for stroke in work.performance.strokes if stroke.voice == "bar_c"]
    assert len(lost_s) > 1
    assert [at_s for at_s, _, _ in marks(lines, "missing")] == pytest.approx(sorted([*lost_s, fourth.onset_s]), abs=0.006)
    assert [at_s for at_s, _, _ in marks(lines, "extra")] == pytest.approx([late_s], abs=0.006)
    titles = {title for _, _, title in marks(lines, "missing")}
    notes, strokes = len(work.performance.notes), len(work.performance.strokes)
    assert titles == {
        f"melody · {notes} expected, {notes} heard, 1 missing, 1 extra",
        f"chord bars · {strokes} expected, {strokes - len(lost_s)} heard, {len(lost_s)} missing",
    }
    words = " ".join(desc.text for line in lines for desc in line.iter(f"{pages.SVG}desc"))
    assert "1 extra" in words
    assert sum(int(number) for number in re.findall(r"(\d+) of them missing", words)) == len(lost_s) + 1


@pytest.mark.parametrize(
    ("off_s", "kind"),
    [(0.00025, "within"), (-0.0004, "within"), (0.0006, "beyond"), (-0.0055, "beyond"), (0.0065, "noticed"), (-0.03, "noticed")],
)
def test_an_onset_error_is_read_off_its_scale_and_looks_worse_where_it_is_worse(off_s, kind):
    """The lines: 0.5 ms, what the tracker asks of every note; 6 ms, what people notice (Friberg and Sundberg 1995)."""
    work = pages.work(*ZITHER)
    one = work.performance.notes[7]
    lines = lines_of(work, rehearsal(work, later(off_s, lambda sound: sound is one)))
    ladder = rungs(lines[0], "melody")
    start = [label for label, _ in ladder].index("+6")
    scale = [(float(label.removesuffix(" ms")), y) for label, y in ladder[start : start + 5]]
    shown = [y for at_s, y, title in marks(lines, kind) if title.startswith("melody") and abs(at_s - one.onset_s) < 0.01]
    near = [value_at(y, scale) for y in shown if y < ladder[start + 5][1] - 13]  # above the scale of pitch
    assert len(near) == 1
    expected = max(-6.0, min(6.0, 1000 * off_s))
    assert near[0] == pytest.approx(expected, abs=0.15 if kind != "beyond" else 0.05 * 5.5)


@pytest.mark.parametrize(("cents", "kind"), [(4.0, "within"), (-6.0, "beyond"), (11.0, "noticed"), (-250.0, "noticed")])
def test_a_pitch_error_is_read_off_its_scale(cents, kind):
    """The line at 10 cents: what amateurs notice in a melody (Hill and Summers 2007)."""
    work = pages.work(*ZITHER)
    one = work.performance.notes[7]
    heard = rehearsal(work, lambda sound: replace(sound, cents=sound.cents + cents) if sound is one else sound)
    lines = lines_of(work, heard)
    ladder = rungs(lines[0], "melody")
    start = [label for label, _ in ladder].index("+10")
    scale = [(float(label.removesuffix(" cents")), y) for label, y in ladder[start:]]
    assert [value for value, _ in scale] == [10, 5, 0, -5, -10]
    shown = [y for at_s, y, title in marks(lines, kind) if title.startswith("melody") and abs(at_s - one.onset_s) < 0.01]
    assert value_at(max(shown), scale) == pytest.approx(max(-10.0, min(10.0, cents)), abs=0.1)
    panels = rehearsed_of(work, heard).picture.about
    assert sum("each pitch" in words for words in panels) == 1, "chord bars have no pitch to be off in"


def test_the_worst_of_the_supply_is_drawn_though_it_lasts_a_millisecond():
    work = pages.work(*ZITHER)
    main, five = steady(work)
    dip, peak = 20_000, 41_000
    main.voltage_v[dip], main.current_a[peak] = 7.25, 4.5
    lines = lines_of(work, rehearsal(work, rails=(main, five)))
    lowest, highest = [], []
    for line in lines:
        volts, amps = dict(rungs(line, "rail main · voltage")), dict(rungs(line, "rail main · current"))
        voltage, current = (pages.points(pages.having(line, "path", kind)[0]) for kind in ("voltage", "current"))
        volt, ampere = Linear(volts["12 V"], volts["9 V"], 12, 9), Linear(amps["0 A"], amps["5 A"], 0, 5)
        lowest.append(volt(max(y for _, y in voltage)))
        highest.append(ampere(min(y for _, y in current)))
    assert min(lowest) == pytest.approx(7.25, abs=0.05)
    assert max(highest) == pytest.approx(4.5, abs=0.05)


def test_where_the_plant_took_no_samples_the_last_value_holds():
    """It takes none while all is at rest: no slope may be drawn from one end of a rest to the other."""
    work = pages.work(*ZITHER)
    main, five = steady(work)
    keep = (main.time_s < 5) | (main.time_s > 25)
    busy = np.where(main.time_s < 5, np.where(main.time_s < 4, 3.0, 0.5), 2.0)
    sparse = replace(main, time_s=main.time_s[keep], voltage_v=main.voltage_v[keep], current_a=busy[keep])
    line = lines_of(work, rehearsal(work, rails=(sparse, five)))[0]
    zero, width = pages.seconds_scale(line)
    amps = dict(rungs(line, "rail main · current"))
    curve = pages.points(pages.having(line, "path", "current")[0])
    for at_s, ampere in ((2, 3.0), (6, 0.5), (15, 0.5), (24, 0.5), (30, 2.0)):
        y = pages.height_at(curve, zero + at_s * width)
        assert Linear(amps["0 A"], amps["5 A"], 0, 5)(y) == pytest.approx(ampere, abs=0.02)


def test_what_the_board_told_is_marked_when_it_told_it_and_listed():
    work = pages.work(*ZITHER)
    notices = (
        Notice("homed"),
        Notice("playing", at_s=0.0),
        Notice("index missed", "pick", 12.5),
        Notice("stopped: index missed", "pick", 30.0),
    )
    heard = rehearsal(work, notices=notices, reason=8)
    titles = [group.find(f"{pages.SVG}title").text for line in lines_of(work, heard) for group in pages.having(line, "g", "told")]
    assert sorted(titles) == ["0.000 s: playing", "12.500 s: index missed pick", "30.000 s: stopped: index missed pick"]
    told = rehearsed_of(work, heard).told
    assert told.rows == (
        ("homed", "", ""),
        ("playing", "0.00 s", ""),
        ("index missed", "12.50 s", "pick"),
        ("stopped: index missed", "30.00 s", "pick"),
    )


def test_a_board_that_tells_much_is_listed_in_part_and_the_list_says_so():
    work = pages.work(*ZITHER)
    heard = rehearsal(work, notices=tuple(Notice("index missed", "pick", float(n)) for n in range(60)))
    told = rehearsed_of(work, heard).told
    assert len(told.rows) == 12
    assert told.caption == "The first 12 of 60 things the board told"


def test_the_numbers_stand_in_the_table():
    work = pages.work(*ZITHER)
    bar_c = sum(stroke.voice == "bar_c" for stroke in work.performance.strokes)
    heard = rehearsal(work, later(0.002, lambda sound: sound.voice == "bar_c"))
    shown = rehearsed_of(work, heard)
    facts = dict(shown.facts)
    total = len(work.performance.notes) + len(work.performance.strokes)
    assert facts["Sounds"] == f"{total} expected, {total} heard, 0 missing, 0 extra"
    assert facts["Worst onset"] == "2.00 ms"
    assert facts["How it ended"] == "finished"
    assert facts["Stack to spare"].startswith("700 bytes")
    assert DIGEST[:12] in facts["Image"]
    rows = {row[0]: row[1:] for row in shown.voices.rows}
    assert rows["bar_c"] == (str(bar_c), str(bar_c), "0", "0", "2.00 ms", "0.0 cents")
    assert rows["melody"][:1] == (str(len(work.performance.notes)),)


def words_of(heard):
    return rehearsal_words(heard, rehearsal_findings(heard))


def test_one_sentence_says_whether_it_went_as_planned():
    work = pages.work(*ZITHER)
    total = len(work.performance.notes) + len(work.performance.strokes)
    assert words_of(planned(*ZITHER)) == (
        f"Rehearsed on the emulated board, as planned: all {total} sounds heard, onsets within 0.00 ms and pitches within 0.0 cents, "
        "the end as it should be."
    )
    nothing = rehearsal(work, silent(lambda _: True), reason=6, unsafe=("bar_c is on",))
    assert words_of(nothing) == (
        f"The rehearsal on the emulated board did not go as planned: {total} of {total} sounds not heard, the end: home never closed, "
        "not safe in the end."
    )
    assert "something made to fail (stalled)" in words_of(replace(nothing, injected=("stalled",)))


def test_the_head_of_the_page_tells_of_the_rehearsal_or_that_there_was_none():
    work = pages.work(*ZITHER)
    for heard in (None, planned(*ZITHER), rehearsal(work, silent(lambda _: True))):
        text = render_report(work, heard)
        head = pages.Reader(text[text.index("<header>") : text.index("</header>") + 9]).words("p")
        assert head[-1] == (words_of(heard) if heard else "It was not rehearsed: that was not asked for.")
        assert ('id="rehearsal"' in text) == (heard is not None)
    why = "the rehearsal needs packages that are not installed: sudo apt-get install gcc"
    assert not_rehearsed([skipped_finding(why)]) == f"It was not rehearsed: {why}."
    assert f"<p>It was not rehearsed: {why}.</p>" in render_report(work, None, [*work.findings, skipped_finding(why)])
    assert "Do not play it yet" in head[1]


def test_a_fault_made_on_purpose_does_not_speak_against_the_work():
    work = pages.work(*ZITHER)
    text = render_report(work, rehearsal(work, silent(lambda _: True), injected=("stalled",)))
    assert "Do not play it yet" not in text


def test_what_never_began_to_play_is_not_drawn():
    work = pages.work(*ZITHER)
    heard = rehearsal(work, silent(lambda _: True), zero_cycle=None, status=None, reason=None, notices=(), rails=())
    text = section(render_report(work, heard))
    assert pages.drawings(text, "line") == []
    assert "It never began to play" in text
    assert "the board did not answer" in text
    assert "The board told nothing." in text


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_the_page_with_a_rehearsal_is_balanced_and_every_id_is_its_own(machine, tune):
    reader = pages.Reader(render_report(pages.work(machine, tune), planned(machine, tune)))
    ids = [attributes["id"] for _, attributes in reader.starts if "id" in attributes]
    assert len(ids) == len(set(ids))
    named = [attributes[name] for _, attributes in reader.starts for name in ("aria-labelledby", "aria-describedby") if name in attributes]
    assert set(named) <= set(ids)


def test_three_minutes_with_their_rehearsal_stay_near_500_kilobytes_and_are_the_same_each_time():
    work = pages.three_minutes_of_work()
    random = np.random.default_rng(5)
    time_s = every_ms(work.performance.end_s)
    rails = tuple(replace(rail, time_s=time_s, current_a=3 * random.random(len(time_s))) for rail in steady(work))
    heard = rehearsal(work, later(0.0003), rails=rails)
    text = render_report(work, heard)
    assert len(text.encode("utf-8")) < 530_000
    assert render_report(work, heard) == text


def test_every_shape_of_a_mark_ends_where_it_began():
    """Marks are given one from the other (SVG 2, 9.3: lower-case commands are relative, z returns to where its part began)."""
    for shape in SHAPES.values():
        pen = start = np.zeros(2)
        for command, text in re.findall(r"([mlhvz])([^mlhvz]*)", shape):
            numbers = np.array([float(number) for number in re.findall(r"-?\d*\.?\d+", text)])
            if command == "z":
                pen = start
            elif command in "hv":
                pen = pen + (np.array([numbers[0], 0]) if command == "h" else np.array([0, numbers[0]]))
            else:
                pen = pen + numbers.reshape(-1, 2).sum(axis=0)
                start = pen if command == "m" else start
        assert pen == pytest.approx([0, 0]), shape


def test_a_banded_scale_is_straight_between_its_limits_the_same_both_ways_and_ends_at_its_edge():
    scale = Banded(100.0, (0.0, 0.5, 6.0, 50.0), (0.0, 12.0, 24.0, 36.0))
    by_hand = {0.0: 100, 0.25: 94, 0.5: 88, 3.25: 82, 6.0: 76, 28.0: 70, 50.0: 64, 900.0: 64}
    for value, y in by_hand.items():
        assert scale(value) == pytest.approx(y)
        assert scale(-value) == pytest.approx(200 - y)


def test_lines_of_one_length_cover_the_time():
    assert [(line.start_s, line.end_s) for line in even_lines(150.0, 75.0)] == [(0.0, 75.0), (75.0, 150.0)]
    assert [round(line.end_s, 6) for line in even_lines(151.0, 75.0)] == [50.333333, 100.666667, 151.0]


def test_a_thinned_path_stays_as_near_as_it_must_and_a_straight_one_keeps_its_ends():
    straight = [(float(x), 2.0 * x) for x in range(50)]
    assert thinned(straight, 0.01) == [straight[0], straight[-1]]
    wave = [(x / 10, float(np.sin(x / 10))) for x in range(200)]
    kept = thinned(wave, 0.02)
    assert len(kept) < 60
    for x, y in wave:
        assert np.interp(x, [a for a, _ in kept], [b for _, b in kept]) == pytest.approx(y, abs=0.03)
    assert thinned([(0.0, 0.0), (0.0, 5.0), (0.0, 0.0)], 0.1) == [(0.0, 0.0), (0.0, 5.0), (0.0, 0.0)]


@needs_rehearsal
def test_a_real_rehearsal_is_drawn_as_it_was_heard():
    """What the page tells is what the rehearsal's own JSON tells: as many crosses as sounds are missing, from the stop on."""
    work = pages.work("twin_lute", "gull_steps")
    heard = rehearse_work(work, ["index-missing"])
    told = heard.to_json()
    lines = lines_of(work, heard)
    assert len(marks(lines, "expected")) == told["expected"]
    assert len(marks(lines, "missing")) == told["missing"] > 0
    assert len(marks(lines, "heard")) == told["expected"] - told["missing"]
    stopped_s = next(one["at_s"] for one in told["notices"] if one["what"].startswith("stopped"))
    assert marks(lines, "missing")[-1][0] > stopped_s
    assert marks(lines, "heard")[-1][0] < stopped_s + 0.1
