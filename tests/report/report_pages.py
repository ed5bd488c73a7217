"""What the report tests share: works on the example machines, and eyes of our own that read a page back."""

import re
from fractions import Fraction
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from random import Random
from xml.etree import ElementTree as ET

from jackrail.machine.load import load_machine
from jackrail.report import render_report
from jackrail.setting.wishes import Wishes
from jackrail.tune.model import Bar, ChordSymbol, KeyMark, TempoMark, Tune, TuneNote
from jackrail.tune.read import read_tune
from jackrail.work import do_work

ROOT = Path(__file__).parents[2]
MACHINES = ("quay_zither", "tower_chimes", "twin_lute")
TUNES = ("gull_steps", "nine_lamps")
EVERY = [(machine, tune) for machine in MACHINES for tune in TUNES]
SVG = "{http://www.w3.org/2000/svg}"
# HTML Living Standard, 13.1.2 "Elements": void elements have no end tag.
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


@cache
def machine(name):
    return load_machine(ROOT / "machines" / f"{name}.toml")


@cache
def tune(name):
    return read_tune(ROOT / "tunes" / f"{name}.abc")


@cache
def work(machine_name, tune_name):
    return do_work(machine(machine_name), tune(tune_name))


@cache
def page(machine_name, tune_name):
    return render_report(work(machine_name, tune_name))


def three_minutes():
    """A wandering tune of our own: eighths in 3/4 at 112 quarters a minute, a chord a bar, for three minutes."""
    random, steps, notes = Random(7), [62, 64, 66, 67, 69, 71, 72, 74, 76, 78, 79, 81], []  # noqa: S311 - a tune, no secret
    at = 4
    for index in range(672):
        at = min(max(at + random.choice((-1, -1, 0, 1, 1)), 0), len(steps) - 1)
        notes.append(TuneNote(Fraction(index, 2), Fraction(1, 2), steps[at]))
    bars = tuple(Bar(Fraction(3 * n), Fraction(3), n + 1, 3, 4) for n in range(112))
    chords = tuple(ChordSymbol(bar.onset_q, random.choice(("G", "C", "D7", "Em", "Am"))) for bar in bars)
    return Tune("Three minutes", tuple(notes), chords, (TempoMark(Fraction(0), 112.0),), bars, (KeyMark(Fraction(0), 1, "major"),))


@cache
def three_minutes_of_work():
    return do_work(machine("quay_zither"), three_minutes(), Wishes(tempo="100%"))


class Reader(HTMLParser):
    """Reads a page strictly: every end tag must close the element opened last. Keeps start tags, and text by element."""

    def __init__(self, text):
        super().__init__()
        self.open, self.starts, self.texts = [], [], []
        self.feed(text)
        self.close()
        assert not self.open, f"never closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        assert len(attrs) == len(dict(attrs)), f"an attribute twice in {tag}"
        self.starts.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.starts.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> out of order in {self.open}"

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))

    def words(self, tag):
        return [text for element, text in self.texts if element == tag]

    def all(self, tag):
        return [attributes for name, attributes in self.starts if name == tag]


def drawings(text, class_name):
    """The inline SVGs of a class as XML trees: XML refuses whatever is not well-formed."""
    found = []
    for source in re.findall(r"<svg.*?</svg>", text, flags=re.DOTALL):
        root = ET.fromstring(source.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1))  # noqa: S314 - a page of our own
        if root.get("class") == class_name:
            found.append(root)
    return found


def having(root, name, *classes):
    return [node for node in root.iter(SVG + name) if set(classes) <= set(node.get("class", "").split())]


def points(path):
    """Corners of a path of straight lines, as [(x, y)]: M and L name both, H only x, V only y (SVG 2, 9.3)."""
    corners, x, y = [], 0.0, 0.0
    for command, numbers in re.findall(r"([MLHV])([^MLHV]*)", path.get("d")):
        values = [float(text) for text in numbers.split()]
        x, y = {"H": (values[0], y), "V": (x, values[0])}.get(command) or values
        corners.append((x, y))
    return corners


def edge_of(path):
    """x of an upright stroke."""
    return float(re.match(r"M([\d.]+) [\d.]+v7$", path.get("d")).group(1))


def seconds_scale(line):
    """(x of second 0, width of a second), read from the two outermost numbers of the axis of a line of music."""
    ticks = [(float(node.text), float(node.get("x"))) for node in having(line, "text", "second")]
    (first_s, first_x), (last_s, last_x) = ticks[0], ticks[-1]
    width = (last_x - first_x) / (last_s - first_s)
    for at_s, x in ticks:
        assert abs(first_x + (at_s - first_s) * width - x) < 0.02, "the ticks of the axis are uneven"
    return first_x - first_s * width, width


def height_at(path, x):
    """y of a path at x, along its straight pieces; None beyond its ends, but for the rounding of coordinates."""
    x = max(x, path[0][0]) if x > path[0][0] - 0.02 else x
    for (x0, y0), (x1, y1) in pairwise(path):
        if x0 <= x <= x1 and x1 > x0:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None
