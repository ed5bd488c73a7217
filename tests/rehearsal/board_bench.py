"""The firmware on the emulated board, wired to a machine's plant, and a person at its terminal."""

import re
from functools import cache

from jackrail.board import image
from jackrail.board.link_format import BAUD
from jackrail.machine.board import pin_number
from jackrail.rehearsal.plant import configure
from jackrail.rehearsal.rig import CLOCK_HZ, Rig
from jackrail.roll.machine_block import numbering_of, pack_machine
from workshop import ROOT, ensemble_of

MARK_PLACE, MARK_REASON, MARK_STATE, MARK_START = 0, 1, 2, 0x50
NOT_HOMED, HOMING, READY, PLAYING, STOPPING, REFUSED = range(6)
"""States of docs/SPEC-link.md, as the board marks them in GPIOR2."""


class Bench(Rig):
    """A board with rolls in its flash and its machine around it.

    at: 0.05 s after power-on. machine_block: another than the machine's own. assumed: of the plant.
    """

    def __init__(self, machine, *rolls, machine_block=None, assumed=None):
        self.machine, self.ensemble = machine, ensemble_of(machine)
        self.numbering = numbering_of(self.ensemble)
        block = machine_block or pack_machine(self.ensemble, machine.board)
        flash = image.Image(image.built_firmware(), block, rolls).flash
        latch = machine.board.pins.get("shift.latch")
        super().__init__(flash, configure(machine, assumed), latch_pin=None if latch is None else pin_number(latch))
        self.read = self.baud = 0
        self.run(0.05)

    @property
    def now_s(self):
        return self.cycle / CLOCK_HZ

    def type(self, text, baud=BAUD):
        """Bytes on the line, without waiting for an answer."""
        self.send(text if isinstance(text, bytes) else text.encode(), baud=baud, at=self.cycle)

    def hear(self):
        """What the board said since the last time."""
        said = self.received()[self.read :]
        self.read += len(said)
        return said.decode("ascii")

    def say(self, text, baud=BAUD, wait_s=0.02):
        """Type a line and hear what comes until the board has been silent for `wait_s`."""
        self.hear()
        self.type(f"{text}\r", baud)
        count = -1
        self.run((len(text) + 1) * 10 / baud)
        while len(self.received()) != count:
            count = len(self.received())
            self.run(wait_s)
        return self.hear()

    def pin(self, device):
        return pin_number(self.machine.board.pins[device])

    def last(self, place):
        """The last value marked in GPIOR0, 1 or 2, None for none."""
        marks = self.marks()
        mine = marks["value"][marks["place"] == place]
        return int(mine[-1]) if len(mine) else None

    @property
    def state(self):
        return self.last(MARK_STATE)

    def zeros(self):
        """Cycle of time zero of each tune played so far."""
        marks = self.marks()
        return marks["cycle"][(marks["place"] == MARK_PLACE) & (marks["value"] == MARK_START)].astype(int).tolist()

    def until(self, done, patience_s=30.0, step_s=0.01):
        """Run until something holds; whether it does."""
        end_s = self.now_s + patience_s
        while not done() and self.now_s < end_s:
            self.run(step_s)
        return done()

    def home(self):
        """Type home and wait until the board is ready."""
        assert self.say("home").startswith("yes")
        assert self.until(lambda: self.state != HOMING)
        assert self.state == READY

    def steps(self):
        """Where the board says its axes are."""
        told = re.search(r"; at((?: -?\d+)*);", self.say("status"))
        return [int(word) for word in told[1].split()]

    def carriage(self, motor):
        return next(axis for axis in self.ensemble.axes if axis.motor == motor).carriage

    def strokes(self, device, since=0):
        """(cycle on, cycle off) of a coil, off None while it is on."""
        at, levels = self.edges_of(self.pin(device))
        on = [int(cycle) for cycle, level in zip(at, levels, strict=True) if level == 1 and cycle >= since]
        off = [int(cycle) for cycle, level in zip(at, levels, strict=True) if level == 0]
        return [(start, next((end for end in off if end > start), None)) for start in on]


@cache
def words_of(reason):
    """The word of a reason code, from the table of docs/SPEC-link.md."""
    text = (ROOT / "docs" / "SPEC-link.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| ([a-z -]+) \|", text[text.index("<!-- reasons -->") :], re.MULTILINE)
    return {int(code): word for code, word in rows}[reason]
