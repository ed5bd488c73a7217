"""Choosing a few columns so that groups of rows get most: which chord bars, which stops serve a songbook best.

A table holds for each row (a tune in one key) what each column (a bar, a stop) would give it. Of the rows of a group (a tune) only
the best counts: the tune is played in one key. Choosing k columns to make the sum over the groups largest is solved exactly, for few
columns by going through all sets in order of promise, for many by an integer programme.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

Row = tuple[float, ...]


@dataclass(frozen=True)
class Chosen:
    """The columns chosen, what they give, and that no other k columns give more than `bound`."""

    columns: tuple[int, ...]
    value: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether nothing gives more."""
        return self.value >= self.bound - 1e-6 * max(1.0, self.bound)


def value_of(groups: Sequence[Sequence[Row]], columns: Sequence[int]) -> float:
    """What some columns give: for each group the best of its rows, added up."""
    return sum(max((sum(row[c] for c in columns) for row in rows), default=0.0) for rows in groups)


def enumerated(groups: Sequence[Sequence[Row]], k: int) -> Chosen:
    """The best k columns by depth-first search through all sets, cut where even the best that could be added would not win.

    The bound of a branch: each row with its largest columns among those not yet decided, the best row of each group.
    """
    import numpy as np  # noqa: PLC0415 - loaded when advice is asked for

    rows = [row for group in groups for row in group]
    if not rows or not k:
        return Chosen((), 0.0, 0.0)
    table = np.array(rows, dtype=float)
    order = np.argsort(-table.sum(axis=0), kind="stable")
    table, count = table[:, order], table.shape[1]
    starts = np.cumsum([0, *(len(group) for group in groups if group)])[:-1]
    k = min(k, count)
    # most[c][r]: for each row the sum of its r largest entries from column c on
    most = [np.cumsum(np.pad(-np.sort(-table[:, c:], axis=1)[:, :k], ((0, 0), (1, 0))), axis=1) for c in range(count + 1)]
    best_value = -1.0
    best: tuple[int, ...] = ()

    def best_of(sums: np.ndarray) -> float:
        return float(np.maximum.reduceat(sums, starts).sum())

    stack: list[tuple[int, tuple[int, ...], np.ndarray]] = [(0, (), np.zeros(len(rows)))]
    while stack:
        column, chosen, sums = stack.pop()
        left = k - len(chosen)
        if left == 0 or column == count:
            value = best_of(sums)
            if value > best_value + 1e-12:
                best_value, best = value, chosen
            continue
        if best_of(sums + most[column][:, min(left, count - column)]) <= best_value + 1e-12:
            continue
        stack.append((column + 1, chosen, sums))
        stack.append((column + 1, (*chosen, column), sums + table[:, column]))
    return Chosen(tuple(sorted(int(order[c]) for c in best)), best_value, best_value)


def programmed(groups: Sequence[Sequence[Row]], k: int, limit_s: float = 60.0) -> Chosen:
    """The best k columns by an integer programme (HiGHS), with its bound when the time limit is reached.

    y_c: column c is chosen; x_r: row r is the one of its group; u_rc = min(x_r, y_c) brings what row r gets from column c.
    """
    import numpy as np  # noqa: PLC0415
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415
    from scipy.sparse import csr_matrix  # noqa: PLC0415

    rows = [_Row(group, row) for group, members in enumerate(groups) for row in _undominated(members)]
    width = len(groups[0][0]) if groups and groups[0] else 0
    if not rows or not k:
        return Chosen((), 0.0, 0.0)
    pairs = [(r, c) for r, row in enumerate(rows) for c in range(width) if row.values[c] > 0]
    first_x, first_u = width, width + len(rows)
    size = first_u + len(pairs)
    gain = np.zeros(size)
    for n, (r, c) in enumerate(pairs):
        gain[first_u + n] = -rows[r].values[c]
    entries: list[tuple[int, int, float]] = [(0, c, 1.0) for c in range(width)]
    entries += [(1 + row.group, first_x + r, 1.0) for r, row in enumerate(rows)]
    first_pair = 1 + len(groups)
    for n, (r, c) in enumerate(pairs):
        entries += [(first_pair + 2 * n, first_u + n, 1.0), (first_pair + 2 * n, first_x + r, -1.0)]
        entries += [(first_pair + 2 * n + 1, first_u + n, 1.0), (first_pair + 2 * n + 1, c, -1.0)]
    down, across, what = zip(*entries, strict=True)
    matrix = csr_matrix((what, (down, across)), shape=(first_pair + 2 * len(pairs), size))
    upper = np.concatenate([[k], np.ones(len(groups)), np.zeros(2 * len(pairs))])
    whole = np.concatenate([np.ones(first_u), np.zeros(len(pairs))])
    found = milp(
        gain,
        integrality=whole,
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, ub=upper),
        options={"time_limit": limit_s, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return Chosen((), 0.0, -float(found.mip_dual_bound or 0.0))
    columns = tuple(c for c in range(width) if found.x[c] > 0.5)
    value = value_of(groups, columns)
    return Chosen(columns, value, max(value, -float(found.mip_dual_bound)))


@dataclass(frozen=True)
class _Row:
    group: int
    values: Row


def _undominated(rows: Sequence[Row]) -> Iterator[Row]:
    """Rows of a group without those that another row is nowhere behind of."""
    unique = list(dict.fromkeys(rows))
    for row in unique:
        if not any(other is not row and all(a >= b for a, b in zip(other, row, strict=True)) for other in unique):
            yield row
