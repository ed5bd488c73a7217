"""The records of a roll in bytes: operation, argument, wait; and reading them with repeats played out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from jackrail.faults import BadInput, Fault

from .format import EXPLICIT_WAIT, EXTENDED_ARGUMENT, LONGEST_WAIT_US, Op

WAIT_BYTES = 3
REPEAT_BYTES = 4


@dataclass(frozen=True, order=True)
class RollRecord:
    """A record as played: its time in microseconds from the start, what to do, number of the stop, axis or coil."""

    at_us: int
    op: Op
    argument: int


def waits_of(records: Sequence[RollRecord]) -> list[int]:
    """The wait of each record: microseconds since the one before it, since the start for the first."""
    times = [0, *(record.at_us for record in records)]
    return [after - before for before, after in pairwise(times)]


def pack_record(record: RollRecord, wait_us: int, places: dict[int, int]) -> bytes:
    """Bytes of a record. places: of each wait in the wait table. Raises ValueError for a wait that no record can hold."""
    if not 0 <= wait_us <= LONGEST_WAIT_US:
        raise ValueError(f"a wait of {wait_us} us does not fit a record")
    first = bytes([record.op << 5 | min(record.argument, EXTENDED_ARGUMENT)])
    more = bytes([record.argument]) if record.argument >= EXTENDED_ARGUMENT else b""
    if wait_us in places:
        return first + more + bytes([places[wait_us]])
    return first + more + bytes([EXPLICIT_WAIT]) + wait_us.to_bytes(WAIT_BYTES, "little")


def pack_repeat(offset: int, count: int) -> bytes:
    """Bytes of a REPEAT of `count` records, the first of them `offset` bytes behind the first record of the roll."""
    return bytes([Op.REPEAT << 5]) + offset.to_bytes(2, "little") + bytes([count])


def read_records(body: bytes, table: Sequence[int]) -> tuple[RollRecord, ...]:
    """All records as played, up to and with END, which must end the body. table: the wait table, microseconds.

    Raises BadInput for what the format does not allow.
    """
    records, now = [], 0
    for wait_us, op, argument in _played_out(body, table):
        now += wait_us
        records.append(RollRecord(now, op, argument))
    return tuple(records)


_Literal = tuple[int, Op, int]
"""Wait, operation, argument."""


def _played_out(body: bytes, table: Sequence[int]) -> Iterator[_Literal]:
    literals: list[_Literal] = []
    numbers: dict[int, int] = {}  # of the record at an offset
    runs: list[int] = []  # for each literal, how many REPEATs stand before it
    offset = repeats = 0
    op = None
    while op is not Op.END:
        if offset >= len(body):
            raise _refused("does not end with END", offset)
        start, op = offset, Op(body[offset] >> 5)
        if op is Op.REPEAT:
            offset, first, count = _read_repeat(body, offset, numbers)
            last = first + count - 1
            if last >= len(literals) or runs[first] != runs[last]:
                raise _refused("repeats what is no row of records before it", start)
            repeats += 1
            yield from literals[first : last + 1]
            continue
        offset, literal = _read_literal(body, offset, table)
        numbers[start] = len(literals)
        literals.append(literal)
        runs.append(repeats)
        yield literal
    if offset < len(body):
        raise _refused("has bytes behind END", offset)


def _read_literal(body: bytes, offset: int, table: Sequence[int]) -> tuple[int, _Literal]:
    """Offset behind a record, and the record."""
    start = offset
    try:
        op, argument = Op(body[offset] >> 5), body[offset] & EXTENDED_ARGUMENT
        offset += 1
        if argument == EXTENDED_ARGUMENT:
            argument, offset = body[offset], offset + 1
        wait_byte, offset = body[offset], offset + 1
    except IndexError:
        raise _refused("ends inside a record", start) from None
    if op is Op.END and argument:
        raise _refused("holds an END with an argument", start)
    if wait_byte == EXPLICIT_WAIT:
        if offset + WAIT_BYTES > len(body):
            raise _refused("ends inside a record", start)
        return offset + WAIT_BYTES, (int.from_bytes(body[offset : offset + WAIT_BYTES], "little"), op, argument)
    if wait_byte >= len(table):
        raise _refused("holds a wait that its table has not", start)
    return offset, (table[wait_byte], op, argument)


def _read_repeat(body: bytes, offset: int, numbers: dict[int, int]) -> tuple[int, int, int]:
    """Offset behind a REPEAT, number of its first record, how many."""
    if offset + REPEAT_BYTES > len(body):
        raise _refused("ends inside a record", offset)
    target, count = int.from_bytes(body[offset + 1 : offset + 3], "little"), body[offset + 3]
    if body[offset] != Op.REPEAT << 5 or not count or target not in numbers:
        raise _refused("holds a REPEAT of what is no record before it", offset)
    return offset + REPEAT_BYTES, numbers[target], count


def _refused(what: str, offset: int) -> BadInput:
    return BadInput(Fault("block", what, f"byte {offset} of the records"))
