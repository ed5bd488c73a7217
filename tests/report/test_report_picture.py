"""The picture against the numbers: what is drawn is what will be played, where and when."""

import re
from dataclasses import replace
from itertools import pairwise

import pytest
import report_pages as pages

from jackrail.report.drawing import GUTTER, WIDTH
from jackrail.report.picture import picture_of
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work


def lines(machine, tune):
    return pages.drawings(pages.page(machine, tune), "line")


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_one_bar_for_each_note_kept_and_one_cross_for_each_thing_left_out(machine, tune):
    setting = pages.work(machine, tune).setting
    drawn = lines(machine, tune)
    notes = sum(len(pages.having(line, "g", "sound", kind)) for line in drawn for kind in ("note", "folded"))
    crosses = sum(len(pages.having(line, "g", "lost")) for line in drawn)
    assert notes == setting.notes_kept > 0
    assert crosses == setting.notes_total - setting.notes_kept + setting.chords_total - setting.chords_kept


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_strokes_and_beats_are_all_drawn_and_renewed_ones_look_different(machine, tune):
    setting = pages.work(machine, tune).setting
    drawn = lines(machine, tune)
    counted = {kind: sum(len(pages.having(line, "g", "sound", kind)) for line in drawn) for kind in ("stroke", "again", "beat")}
    renewed = sum(stroke.repeated for stroke in setting.strokes)
    assert counted == {"stroke": len(setting.strokes) - renewed, "again": renewed, "beat": len(setting.beats)}


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_every_note_starts_at_its_second_on_the_axis_and_says_so(machine, tune):
    """Positions are read back through the printed seconds of the axis, not through the drawing's own scale."""
    work = pages.work(machine, tune)
    starts = []
    for line in lines(machine, tune):
        zero, width = pages.seconds_scale(line)
        for kind in ("note", "folded"):
            for mark in pages.having(line, "g", "sound", kind):
                x = pages.edge_of(pages.having(mark, "path", "onset")[0])
                starts.append(((x - zero) / width, mark.find(f"{pages.SVG}title").text))
    expected = [(note.onset_s, work.tune.place(work.tune.notes[note.index].onset_q)) for note in work.setting.notes]
    for (read_s, title), (onset_s, place) in zip(sorted(starts), sorted(expected), strict=True):
        assert read_s == pytest.approx(onset_s, abs=0.001)  # 0.01 px of rounding at 60 px a second or more
        assert title.startswith(f"{place}: ")


def test_the_lines_share_one_scale_and_follow_each_other_without_gap():
    for machine, tune in pages.EVERY:
        work = pages.work(machine, tune)
        drawn = lines(machine, tune)
        scales = [pages.seconds_scale(line) for line in drawn]
        assert max(width for _, width in scales) == pytest.approx(min(width for _, width in scales), rel=1e-3)
        spans = []
        for line, (zero, width) in zip(drawn, scales, strict=True):
            (left, _), (right, _) = pages.points(pages.having(line, "path", "axis")[0])
            spans.append(((left - zero) / width, (right - zero) / width))
        assert spans[0][0] == pytest.approx(0, abs=1e-3)
        assert spans[-1][1] == pytest.approx(work.performance.end_s, abs=2e-3)
        for (_, end), (start, _) in pairwise(spans):
            assert start == pytest.approx(end, abs=2e-3)


@pytest.mark.parametrize("tune", pages.TUNES)
def test_the_carriage_stands_at_each_stop_when_its_note_sounds(tune):
    """Stops at L * (1 - 2^(-k/12)): equal temperament on an ideal string (650 mm scale: 36.5 mm for k = 1, luthiers' tables)."""
    work = pages.work("quay_zither", tune)
    string = work.machine.instrument.string("melody")
    keys = [place.midi for place in work.ensemble.voices[0].places]
    stands_mm = [string.scale_length_mm * (1 - 2 ** (-(key - string.midi) / 12)) for key in keys]
    checked = 0
    for line in lines("quay_zither", tune):
        zero, width = pages.seconds_scale(line)
        rungs = sorted({pages.points(path)[0][1] for path in pages.having(line, "path", "level", "stop")}, reverse=True)
        a_pixel_mm = (stands_mm[-1] - stands_mm[0]) / (rungs[0] - rungs[-1])
        y_of = {key: rungs[0] - (mm - stands_mm[0]) / a_pixel_mm for key, mm in zip(keys, stands_mm, strict=True)}
        assert rungs == pytest.approx(list(y_of.values()), abs=0.1)
        path = pages.points(pages.having(line, "path", "carriage")[0])
        for note in work.setting.notes:
            y = pages.height_at(path, zero + note.onset_s * width)
            if y is not None and zero + note.onset_s * width < path[-1][0] - 0.1:
                assert y == pytest.approx(y_of[note.midi], abs=0.1)
                checked += 1
    assert checked == work.setting.notes_kept


def test_the_carriage_in_the_picture_keeps_to_its_speed_and_starts_from_home():
    """450 mm/s is what the machine file allows; the path never exceeds it, and it reaches it somewhere."""
    work = pages.work("quay_zither", "nine_lamps")
    carriage = work.machine.mechanism.voices[0].carriage
    fastest = 0.0
    for number, line in enumerate(lines("quay_zither", "nine_lamps")):
        _, width = pages.seconds_scale(line)
        path = pages.points(pages.having(line, "path", "carriage")[0])
        rungs = [pages.points(level)[0][1] for level in pages.having(line, "path", "level", "stop")]
        home = pages.points(pages.having(line, "path", "level", "home")[0])[0][1]
        pixels_mm = (max(rungs) - min(rungs)) / (640 * (2 ** (-2 / 12) - 2 ** (-26 / 12)))  # D4 to D6 on a C4 string
        if number == 0:
            assert path[0] == pytest.approx((GUTTER, home), abs=0.02)
        for (x0, y0), (x1, y1) in pairwise(path):
            if x1 - x0 > 1:
                fastest = max(fastest, abs(y1 - y0) / pixels_mm / ((x1 - x0) / width))
    assert 0.9 * carriage.speed_mm_s < fastest < 1.03 * carriage.speed_mm_s  # rounding: 0.02 px in 1


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_the_current_drawn_never_leaves_its_panel_and_its_peak_is_where_the_trace_has_it(machine, tune):
    work = pages.work(machine, tune)
    for rail, trace in enumerate(work.traces):
        highest = 0.0
        for line in lines(machine, tune):
            panel = [group for group in pages.having(line, "g", "panel") if pages.having(group, "path", "current")][rail]
            zero = pages.points(pages.having(panel, "path", "zero")[0])[0][1]
            limit = pages.points(pages.having(panel, "path", "limit")[0])[0][1]
            curve = [y for _, y in pages.points(pages.having(panel, "path", "current")[0])]
            highest = max(highest, *((zero - y) / (zero - limit) * trace.limit_a for y in curve))
            assert max(curve) <= zero + 0.01
        assert highest == pytest.approx(trace.peak_a, abs=0.01 * trace.limit_a)


def test_notes_left_out_are_marked_at_the_stop_and_second_they_would_have_had():
    work = pages.work("quay_zither", "gull_steps")
    losses = {loss.onset_s: loss for loss in work.setting.losses if loss.kind == "note-lost"}
    seen = 0
    for line in lines("quay_zither", "gull_steps"):
        zero, width = pages.seconds_scale(line)
        names = {path[0].text.split()[0]: path[1] for path in named_rungs(line)}
        for mark in pages.having(line, "g", "lost"):
            circle = mark.find(f"{pages.SVG}circle")
            at_s = (float(circle.get("cx")) - zero) / width
            loss = losses[min(losses, key=lambda onset_s: abs(onset_s - at_s))]
            assert at_s == pytest.approx(loss.onset_s, abs=0.001)
            assert float(circle.get("cy")) == pytest.approx(names[loss.written], abs=0.1)
            seen += 1
    assert seen == len(losses) > 0


def named_rungs(line):
    """(label, y of the rung it points to): each label's leader ends on its rung."""
    panel = pages.having(line, "g", "panel")[0]
    return list(
        zip(pages.having(panel, "text", "level-name"), (pages.points(p)[-1][1] for p in pages.having(panel, "path", "leader")), strict=True)
    )


def test_every_drawing_has_a_name_and_words():
    for machine, tune in pages.EVERY:
        for class_name in ("line", "flash"):
            for drawing in pages.drawings(pages.page(machine, tune), class_name):
                ids = {node.get("id"): node.text for node in drawing.iter() if node.get("id")}
                assert drawing.get("role") == "img"
                assert ids[drawing.get("aria-labelledby")]
                assert ids[drawing.get("aria-describedby")]


def test_the_legend_tells_only_what_occurs():
    words = " ".join(key.words for key in picture_of(pages.work("tower_chimes", "nine_lamps")).legend)
    assert "drum beat" in words
    assert "carriage" not in words
    assert "another octave" not in words


def test_a_tune_without_bars_and_chords_is_drawn_too():
    bare = replace(pages.tune("nine_lamps"), bars=(), chords=(), keys=(), tempo=())
    picture = picture_of(do_work(pages.machine("tower_chimes"), bare))
    assert len(picture.lines) > 3
    assert not any("bar-number" in line for line in picture.lines)
    assert all("quarter " in line for line in picture.lines)


def test_notes_beyond_the_machine_are_marked_inside_the_picture():
    far = do_work(pages.machine("quay_zither"), pages.tune("nine_lamps"), Wishes(transpose=-40))
    assert far.setting.notes_kept == 0
    text = "".join(picture_of(far).lines)
    assert text.count('class="lost"') == far.setting.notes_total + far.setting.chords_total - far.setting.chords_kept
    assert all(GUTTER - 6 <= float(x) <= WIDTH for x in re.findall(r'<circle cx="([\d.-]+)"', text))
    assert all(float(y) >= 0 for y in re.findall(r'cy="([\d.-]+)"', text))
