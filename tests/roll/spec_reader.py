"""A reader of both blocks written from docs/SPEC-roll.md alone, on no code of the program: the judge of the packer."""

import struct


def commands(machine, roll):
    """(due in timer ticks, operation, number) of every command, in time order, and END's time in microseconds."""
    axes, coils, stops, touches = machine_of(machine)
    assert roll[:4] == b"JRR\x03"
    payload = roll[8 : 8 + struct.unpack_from("<H", roll, 4)[0]]
    machine_id, count, length_us, _, waits, title = struct.unpack_from("<IIIHBB", payload)
    assert machine_id == struct.unpack_from("<I", machine, 8)[0]
    table = [int.from_bytes(payload[16 + title + 3 * n :][:3], "little") for n in range(waits)]
    played = played_out(payload[16 + title + 3 * waits :], table)
    assert len(played) == count + 1
    now, out, at = 0, [], [0] * len(axes)
    for op, number, wait in played:
        now += wait
        if op in (1, 2):
            axis, steps = stops[number]
            travel = ramp_ticks(axes[axis], abs(steps - at[axis]))
            if op == 2:
                out.append((2 * now, 2, number))
            elif steps != at[axis]:
                out.append((2 * (now - axes[axis]["lead"]) - travel, 2, number))
            at[axis] = steps
            if op == 1:
                striker = axes[axis]["striker"]
                what, device = (4, striker - 128) if striker > 127 else (3, striker)
                lead = coils[device]["lead"] if what == 4 else axes[device]["lead"]
                out.append((2 * (now - lead), what, device))
        elif op in (3, 4, 5):
            lead = axes[number]["lead"] if op == 3 else (coils + touches)[number]["lead"]
            assert op != 5 or number < len(coils)
            out.append((2 * (now - lead), op, number))
        elif op == 6:
            out.append((2 * now, 6, number))
    assert now == length_us
    return sorted(out), now


def machine_of(block):
    assert block[:4] == b"JRM\x03"
    axes_n, coils_n, switches_n, stops_n = block[16:20]
    touches_n = block[23]
    at, axes = 8 + 16, []
    for _ in range(axes_n):
        (cruise,) = struct.unpack_from("<H", block, at + 15)
        lead, striker, entries = struct.unpack_from("<IBB", block, at + 19)
        intervals = []
        for n in range(entries):
            interval, count = struct.unpack_from("<HB", block, at + 25 + 3 * n)
            intervals += [interval] * count
        axes.append({"lead": lead, "striker": striker, "intervals": intervals, "cruise": cruise})
        at += 25 + 3 * entries
    coils = [{"lead": struct.unpack_from("<I", block, at + 14 * n + 5)[0]} for n in range(coils_n)]
    at += 14 * coils_n + 4 * switches_n
    stops = [struct.unpack_from("<Bi", block, at + 5 * n) for n in range(stops_n)]
    at += 5 * stops_n
    touches = [dict(zip(("coil", "pulse", "lead"), struct.unpack_from("<BII", block, at + 9 * n), strict=True)) for n in range(touches_n)]
    assert at + 9 * touches_n == len(block)
    assert all(touch["coil"] < coils_n for touch in touches)
    return axes, coils, stops, touches


def ramp_ticks(axis, steps):
    table = axis["intervals"]
    return sum(table[j] if (j := min(step, steps - 1 - step)) < len(table) else axis["cruise"] for step in range(steps))


def played_out(body, table):
    """(operation, argument, wait) of every record as played, END last."""
    out, literal, at = [], {}, 0  # literal: at each offset the record there and the offset behind it
    while not out or out[-1][0] != 0:
        if body[at] == 7 << 5:
            where, count = struct.unpack_from("<HB", body, at + 1)
            for _ in range(count):
                record, where = literal[where]
                out.append(record)
            at += 4
            continue
        start, op, argument = at, body[at] >> 5, body[at] & 31
        at += 1
        if argument == 31:
            argument, at = body[at], at + 1
        wait, at = body[at], at + 1
        if wait == 255:
            wait, at = int.from_bytes(body[at : at + 3], "little"), at + 3
        else:
            wait = table[wait]
        literal[start] = ((op, argument, wait), at)
        out.append((op, argument, wait))
    return out
