"""The page as people see it, in a browser: quiet, inside its width, no word printed over another."""

import wave
from dataclasses import replace
from pathlib import Path

import pytest
import report_pages as pages
from report_rehearsals import later, rehearsal, silent

from jackrail.rehearsal.model import Notice
from jackrail.report import render_report

CHROMIUM = Path("/usr/bin/chromium")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(not CHROMIUM.exists(), reason="Chromium is not installed")]

# A text's box is the font's whole line, about 1.17 of its size; capitals and figures fill 0.73 of the size (measured in
# common sans-serif fonts). Boxes may therefore share 0.25 of a size in height while their letters stay clear.
_CLASHES = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.line')) {
    const texts = [...svg.querySelectorAll('text')].map(node => ({
      words: node.textContent, box: node.getBoundingClientRect(), size: parseFloat(getComputedStyle(node).fontSize) }));
    const frame = svg.getBoundingClientRect(), scale = frame.width / svg.viewBox.baseVal.width;
    texts.forEach((one, i) => {
      if (one.box.left < frame.left || one.box.right > frame.right + .5 || one.box.top < frame.top - 1 || one.box.bottom > frame.bottom + 1)
        found.push('clipped: ' + one.words);
      for (const other of texts.slice(i + 1)) {
        const wide = Math.min(one.box.right, other.box.right) - Math.max(one.box.left, other.box.left);
        const high = Math.min(one.box.bottom, other.box.bottom) - Math.max(one.box.top, other.box.top);
        if (wide > .5 && high > .25 * scale * Math.min(one.size, other.size)) found.push(one.words + ' | ' + other.words);
      }
    });
  }
  return found;
}"""


@pytest.fixture(scope="module")
def browser():
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"])
        yield chromium
        chromium.close()


def opened(browser, path, width, scheme="light"):
    """The page opened, and what the console said."""
    said = []
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("requestfailed", lambda request: said.append(request.url))
    page.goto(path.as_uri())
    return page, said


@pytest.fixture
def saved(tmp_path):
    def save(machine, tune):
        path = tmp_path / f"{machine}-{tune}.html"
        path.write_text(pages.page(machine, tune), encoding="utf-8")
        return path

    return save


@pytest.mark.parametrize("width", [1200, 390])
@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_it_is_quiet_keeps_its_width_and_prints_no_word_over_another(browser, saved, machine, tune, width):
    page, said = opened(browser, saved(machine, tune), width)
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("document.querySelectorAll('svg.line text').length") > 100
    assert page.evaluate(_CLASHES) == []
    page.close()


def troubled(machine, tune):
    """A page with a rehearsal in which every kind of mark occurs and the board told all it can."""
    work = pages.work(machine, tune)
    sounds = sorted([*work.performance.notes, *work.performance.strokes], key=lambda sound: sound.onset_s)
    third, end_s = len(sounds) // 3, work.performance.end_s
    early, gone = sounds[3:third], sounds[2 * third :]
    kinds = ("playing", "homed", "index missed", "detent missed", "stopped: detent missed")
    notices = tuple(Notice(what, "carriage", end_s * share) for what in kinds for share in (0.0, 0.3, 0.31, 1.0))
    extra = tuple(replace(note, onset_s=note.onset_s + 0.1) for note in work.performance.notes[:5])
    strayed = later(0.02, lambda sound: sound in early[::2])
    missing = silent(lambda sound: sound in gone)
    return render_report(work, rehearsal(work, lambda sound: missing(sound) and strayed(sound), extra, notices=notices))


@pytest.mark.parametrize("view", [(1200, "light"), (390, "dark")])
@pytest.mark.parametrize(("machine", "tune"), pages.EVERY)
def test_a_rehearsal_full_of_trouble_is_as_quiet_and_as_clear(browser, tmp_path, machine, tune, view):
    width, scheme = view
    path = tmp_path / "troubled.html"
    path.write_text(troubled(machine, tune), encoding="utf-8")
    page, said = opened(browser, path, width, scheme)
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for kind in ("expected", "heard", "missing", "extra", "within", "noticed"):
        assert page.evaluate(f"document.querySelectorAll('.line .mark.{kind}').length") > 0, kind
    assert page.evaluate(_CLASHES) == []
    colour = "getComputedStyle(document.querySelector('.line .mark.missing')).stroke"
    assert page.evaluate(colour) == {"light": "rgb(160, 17, 47)", "dark": "rgb(255, 138, 156)"}[scheme]
    page.close()


def test_a_crowded_picture_drops_names_rather_than_print_them_over_each_other(browser, tmp_path):
    path = tmp_path / "crowded.html"
    path.write_text(render_report(pages.three_minutes_of_work()), encoding="utf-8")
    page, _ = opened(browser, path, 1200)
    assert page.evaluate(_CLASHES) == []
    page.close()


def test_the_wide_picture_scrolls_inside_its_own_box_on_a_phone(browser, saved):
    page, _ = opened(browser, saved("quay_zither", "nine_lamps"), 390)
    inner, outer = page.evaluate("(box => [box.scrollWidth, box.clientWidth])(document.querySelector('.picture'))")
    assert inner > 1.5 * outer
    page.close()


# Letters stand inside their drawing, but for the ends of chords and bar numbers that no one misses; heads and rests do so always.
_OUTSIDE = """() => [...document.querySelectorAll('svg.engraved')].flatMap(svg => {
  const frame = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text, use, path')].filter(node => {
    const box = node.getBoundingClientRect();
    return box.left < frame.left - 2 || box.right > frame.right + 2 || box.top < frame.top - 2 || box.bottom > frame.bottom + 2;
  }).map(node => node.outerHTML);
})"""


@pytest.mark.parametrize("view", [(1200, "light"), (390, "dark")])
@pytest.mark.parametrize(("machine", "tune"), [("quay_zither", "gull_steps"), ("twin_lute", "gull_steps"), ("quay_zither", "nine_lamps")])
def test_the_notation_stays_in_its_box_and_shows_what_changed_in_its_colour(browser, saved, machine, tune, view):
    width, scheme = view
    page, said = opened(browser, saved(machine, tune), width, scheme)
    assert said == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(_OUTSIDE) == []
    kind = "moved" if machine == "twin_lute" else "lost"
    colours = {"light": ("rgb(160, 17, 47)", "rgb(165, 63, 10)"), "dark": ("rgb(255, 138, 156)", "rgb(245, 155, 98)")}[scheme]
    changed = f"getComputedStyle(document.querySelector('.engraved .{kind} use')).fill"
    assert page.evaluate(changed) == colours[kind == "moved"]
    ink = page.evaluate("getComputedStyle(document.body).color")
    assert page.evaluate("getComputedStyle(document.querySelector('.engraved > use')).fill") == ink
    assert page.evaluate("getComputedStyle(document.querySelector('.engraved > path')).stroke") == ink
    heads = page.evaluate("[...document.querySelectorAll('.engraved use')].map(head => head.getBoundingClientRect().width)")
    assert min(heads) > 1  # every shape is found
    staff = page.evaluate("document.querySelector('.engraved').getBoundingClientRect().width")
    assert staff >= 700  # on a phone it scrolls rather than shrinks
    page.close()


def test_both_sounds_stand_side_by_side_where_there_is_room(browser, saved):
    path = saved("quay_zither", "nine_lamps")
    boxes = "[...document.querySelectorAll('audio')].map(one => [one.getBoundingClientRect().left, one.getBoundingClientRect().top])"
    wide, _ = opened(browser, path, 1200)
    (left, top), (other_left, other_top) = wide.evaluate(boxes)
    assert (top, other_left > left) == (other_top, True)
    wide.close()
    narrow, _ = opened(browser, path, 390)
    (left, top), (other_left, other_top) = narrow.evaluate(boxes)
    assert (left, other_top > top) == (other_left, True)
    narrow.close()


def test_dark_and_light_differ_and_print_is_light(browser, saved):
    path = saved("quay_zither", "nine_lamps")
    paper = "getComputedStyle(document.body).backgroundColor"
    page, _ = opened(browser, path, 1200, "dark")
    dark = page.evaluate(paper)
    page.emulate_media(media="print", color_scheme="dark")
    printed = page.evaluate(paper)
    page.emulate_media(media="screen", color_scheme="light")
    assert len({dark, printed, page.evaluate(paper)}) == 3
    assert printed == "rgb(255, 255, 255)"
    page.close()


def test_on_paper_no_line_of_music_is_wider_than_the_page(browser, saved):
    """A4 is 210 mm wide (ISO 216); CSS has 96 px to an inch."""
    page, _ = opened(browser, saved("quay_zither", "gull_steps"), round((210 - 2 * 14) / 25.4 * 96))
    page.emulate_media(media="print")
    widths = page.evaluate("[...document.querySelectorAll('svg.line, svg.engraved')].map(line => line.getBoundingClientRect().right)")
    assert max(widths) <= page.evaluate("innerWidth")
    assert page.evaluate("[...document.querySelectorAll('svg.line')].every(line => getComputedStyle(line).breakInside === 'avoid')")
    page.close()


def test_the_sound_beside_the_page_plays_and_its_absence_is_quiet(browser, saved):
    path = saved("quay_zither", "nine_lamps")
    page, said = opened(browser, path, 1200)
    assert page.evaluate("document.querySelector('audio').readyState") == 0  # HAVE_NOTHING: nothing is loaded unasked
    assert said == []
    with wave.open(str(path.parent / "sound.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(bytes(16000))
    page.evaluate(
        "new Promise(done => { const a = document.querySelector('audio'); a.onloadedmetadata = done; a.preload = 'auto'; a.load(); })"
    )
    assert page.evaluate("document.querySelector('audio').duration") == pytest.approx(1.0, abs=0.05)
    page.close()


def test_every_region_that_scrolls_can_be_reached_by_keyboard(browser, saved):
    page, _ = opened(browser, saved("quay_zither", "gull_steps"), 390)
    scrolling = "[...document.querySelectorAll('.scroll')].every(box => box.tabIndex === 0 && box.getAttribute('role') === 'region')"
    assert page.evaluate(scrolling)
    page.close()
