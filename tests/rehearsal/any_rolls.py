"""Rolls of coils only, made at random or to the edges of the format, and the edges on the coils' pins that they ask for."""

from dataclasses import dataclass

from hypothesis import strategies as st

from jackrail.roll.due import commands_of, timing_of
from jackrail.roll.format import LONGEST_WAIT_US, MOST_REPEATED, ROLL_HEAD, ROLL_KIND, Op, wrap
from jackrail.roll.machine_block import machine_id
from jackrail.roll.queue import queue_of
from jackrail.roll.records import WAIT_BYTES, RollRecord, pack_record, pack_repeat, read_records

CYCLES_A_TICK = 8
SERVICE_CYCLES = 25 * 16
"""25 us: what one command may take the board."""
APART_US = 60_000
"""Between two uses of one coil: longer than its pulse."""


def block_of(body, table, machine_block, title="Any"):
    """The roll block of literal bytes, END included, with the head that belongs to them."""
    *records, end = read_records(body, table)
    timing = timing_of(machine_block)
    queue = queue_of(records, tuple(commands_of(records, timing)), timing)
    head = ROLL_HEAD.pack(
        machine_id=machine_id(machine_block),
        cues=len(records),
        length_us=end.at_us,
        horizon_ms=queue.horizon_ms,
        waits=len(table),
        title_bytes=len(title.encode()),
    )
    assert queue.most <= 24  # docs/SPEC-roll.md: what a board must be able to hold
    return wrap(ROLL_KIND, head + title.encode() + b"".join(wait.to_bytes(WAIT_BYTES, "little") for wait in table) + body)


def literal(op, argument, wait_us, table):
    return pack_record(RollRecord(0, op, argument), wait_us, {wait: place for place, wait in enumerate(table)})


def end_of(table, wait_us=500_000):
    return literal(Op.END, 0, wait_us, table)


def rows(draw, coils, table, count):
    """A row of literals. Its first wait lets every coil come to rest, so that rows may follow each other in any order."""
    row, now_us, last_us = [], 0, {}
    together = 0
    for number in range(count):
        together = 0 if together == 3 or draw.random() < 0.6 else together + 1
        usual = [wait for wait in table if wait > 15_000]
        wait_us = draw.choice(usual) if draw.random() < 0.9 else draw.randrange(15_000, 300_000)
        if number == 0:
            wait_us = draw.randrange(APART_US, 400_000)
        elif together:
            wait_us = 0
        now_us += wait_us
        free = [coil for coil in range(coils) if now_us - last_us.get(coil, -APART_US) >= APART_US]
        if not free:
            now_us += APART_US
            wait_us += APART_US
            free = list(range(coils))
        coil = draw.choice(free)
        last_us[coil] = now_us
        row.append(literal(Op.PULSE, coil, wait_us, table))
    return row


@st.composite
def bodies(draw, coils):
    """(body, wait table): rows of records, REPEATs of parts of them, rests of up to a minute, a table of up to 255 waits."""
    random = draw(st.randoms(use_true_random=False))
    size = draw(st.sampled_from([1, 7, 255]))
    table = [0, *random.sample(range(16_000, 300_000), size - 1)] if size > 1 else [20_000]
    body, starts = b"", []
    for _ in range(draw(st.integers(1, 4))):
        row = rows(random, coils, table, draw(st.sampled_from([1, 3, 40, MOST_REPEATED])))
        starts.append((len(body), len(row)))
        body += b"".join(row)
        for _ in range(draw(st.integers(0, 2))):
            body += pack_repeat(*draw(st.sampled_from(starts)))
        for _ in range(draw(st.sampled_from([0, 0, 1, 3]))):
            body += literal(Op.RELEASE, draw(st.integers(0, coils - 1)), LONGEST_WAIT_US, table)
    return body + end_of(table), tuple(table)


@dataclass(frozen=True)
class Asked:
    """An edge that a roll asks for. by_cycle: when it must have come, counted from time zero; alone: nothing is due just before."""

    cycle: int
    coil: int
    level: int
    by_cycle: int
    alone: bool


def edges_of(roll, timing):
    """Every edge that a roll of coils asks for, in time order; coils that are let go twice count once.

    Commands are carried out one behind the other, those due at one tick in the order of the roll, each within SERVICE_CYCLES:
    what waits for those before it is late by theirs.
    """
    commands = []
    for cue in (cue for due in commands_of(roll.records, timing) for cue in due):
        commands.append((cue.tick, cue.argument, int(cue.op is not Op.RELEASE)))
        if cue.op is Op.PULSE:
            commands.append((cue.tick + 2 * timing.pulse_us(cue.argument), cue.argument, 0))
    on, edges, by_cycle = set(), [], 0
    for tick, coil, level in sorted(commands, key=lambda one: one[0]):
        due = tick * CYCLES_A_TICK
        alone, by_cycle = due >= by_cycle, max(due, by_cycle) + SERVICE_CYCLES
        if (coil in on) != bool(level):
            edges.append(Asked(due, coil, level, by_cycle, alone))
            on ^= {coil}
    return edges
