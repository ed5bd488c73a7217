"""The page as a document: whole, closed in itself, escaped, the same each time, readable by everyone."""

import re
from dataclasses import replace

import pytest
import report_pages as pages

from jackrail.findings import Finding
from jackrail.report import render_report
from jackrail.setting.wishes import Wishes
from jackrail.work import do_work

HOSTILE = "</title><script>alert('x')</script><img src=x onerror=alert(1)>\"'&amp;\x00\x1b\x9b\ud800\u202e{{ 7*7 }}]]>--><!--"


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_every_example_gives_a_balanced_page_with_its_sections_in_order(machine, tune):
    reader = pages.Reader(pages.page(machine, tune))
    assert reader.all("html") == [{"lang": "en"}]
    assert len(reader.all("h1")) == 1
    sections = ["given-up", "notation", "picture", "numbers", "findings", "played", "cautions"]
    assert [attributes["id"] for attributes in reader.all("h2")] == sections
    assert all(attributes.get("scope") in ("col", "row") for attributes in reader.all("th"))
    ids = [attributes["id"] for _, attributes in reader.starts if "id" in attributes]
    assert len(ids) == len(set(ids))
    named = [attributes[name] for _, attributes in reader.starts for name in ("aria-labelledby", "aria-describedby") if name in attributes]
    assert set(named) <= set(ids)


@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_the_page_needs_nothing_from_outside_but_the_sound_beside_it(machine, tune):
    text = pages.page(machine, tune)
    reader = pages.Reader(text)
    sources = [
        attributes[name] for _, attributes in reader.starts for name in ("src", "href", "srcset", "data", "action") if name in attributes
    ]
    shapes = {f"#{attributes['id']}" for attributes in reader.all("path") if "id" in attributes}
    assert sorted(set(sources) - shapes) == ["before.wav", "data:,", "sound.wav"]
    assert not re.search(r"https?:|//|@import|url\(|<script|<iframe|<object|<embed", text)


def test_hostile_words_stay_words():
    work = pages.work("quay_zither", "nine_lamps")
    hostile = replace(
        work,
        tune=replace(work.tune, title=HOSTILE),
        machine=work.machine.model_copy(update={"name": HOSTILE}),
        setting=replace(work.setting, losses=tuple(replace(loss, written=HOSTILE, reason=HOSTILE) for loss in work.setting.losses)),
        findings=(Finding("tune.reading", "warning", HOSTILE, HOSTILE, advice=HOSTILE),),
    )
    text = render_report(hostile)
    text.encode("utf-8")  # a lone surrogate would raise here
    reader = pages.Reader(text)
    plain = pages.Reader(pages.page("quay_zither", "nine_lamps"))
    added = {name for name, _ in reader.starts} - {name for name, _ in plain.starts}
    assert added == set()
    assert not any(key.startswith("on") for _, attributes in reader.starts for key in attributes)
    assert HOSTILE.translate({0: "\ufffd", 0x1B: "\ufffd", 0x9B: "\ufffd", 0xD800: "\ufffd"}) in reader.words("bdi")
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]", text)
    assert len(pages.drawings(text, "line")) == len(pages.drawings(pages.page("quay_zither", "nine_lamps"), "line"))


def test_the_same_work_gives_the_same_bytes():
    again = do_work(pages.machine("twin_lute"), pages.tune("gull_steps"))
    assert render_report(again) == pages.page("twin_lute", "gull_steps")


def test_three_minutes_of_eighths_stay_below_a_megabyte():
    work = pages.three_minutes_of_work()
    text = render_report(work)
    assert work.performance.end_s > 180
    assert len(text.encode("utf-8")) < 1_000_000
    pages.Reader(text)


def test_a_tune_of_which_nothing_is_left_is_told_plainly():
    work = do_work(pages.machine("quay_zither"), pages.tune("nine_lamps"), Wishes(transpose=-40))
    reader = pages.Reader(render_report(work))
    words = " ".join(reader.words("p"))
    assert "Nothing is left" in words
    assert "Do not play it yet: 1 error" in words


def test_a_tune_with_nothing_given_up_says_so():
    bare = replace(pages.tune("nine_lamps"), chords=())
    reader = pages.Reader(render_report(do_work(pages.machine("tower_chimes"), bare)))
    assert "Nothing: every note is played as written." in reader.words("p")


def test_findings_are_named_by_word_and_code():
    work = pages.work("quay_zither", "gull_steps")
    reader = pages.Reader(pages.page("quay_zither", "gull_steps"))
    assert reader.words("code") == [finding.code for finding in work.findings]
    assert [word.lower() for word in reader.words("strong")] == [finding.severity for finding in work.findings]


def luminance(colour):
    """Relative luminance of a #rgb or #rrggbb colour, WCAG 2.2 definition of "relative luminance"."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    channels = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_colours_keep_the_contrast_of_wcag_in_light_dark_and_print():
    """WCAG 2.2, 1.4.3: text 4.5 to 1 (level AA); 1.4.11: drawings 3 to 1. Definition checked: black on white is 21 to 1."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    schemes = re.findall(r":root \{(.*?)\}", pages.page("quay_zither", "nine_lamps"), flags=re.DOTALL)
    assert len(schemes) == 3
    for scheme in schemes:
        colours = dict(re.findall(r"--(\w+): (#\w+);", scheme))
        for text in ("ink", "muted", "lost"):
            assert contrast(colours[text], colours["paper"]) >= 4.5, (text, scheme)
        for mark in ("note", "onset", "carriage", "stroke", "current"):
            assert contrast(colours[mark], colours["paper"]) >= 3, (mark, scheme)
        assert contrast(colours["carriage"], colours["ring"]) >= 3, scheme
        for below, letter in (("muted", "paper"), ("rule", "ink"), ("ring", "ink"), ("note", "paper")):
            assert contrast(colours[below], colours[letter]) >= 4.5, (below, scheme)
