"""A finger on the score: playing order by another method than the engine's, for scores whose signs are in good order.

It knows nothing of sections and rows. It stands on one bar, looks at the signs there, scans back for the sign where a repeat begins and
ahead for the highest ending, and keeps count of the passes.
"""

from collections import Counter
from collections.abc import Sequence

from jackrail.tune.score.written import WrittenBar


def finger_order(bars: Sequence[WrittenBar]) -> list[int]:
    out: list[int] = []
    passes: Counter[int] = Counter()  # begin of a repeat -> times its sign has been obeyed
    plays: Counter[int] = Counter()
    met: set[int] = set()  # repeats that were met before the jump
    jumped: WrittenBar | None = None
    at = 0
    while at < len(bars):
        bar, begin = bars[at], _begin(bars, at)
        top = _top(bars, begin)
        again = begin in met and not _again(bars, begin)
        now = top if again else passes[begin] + 1
        if bar.ending and now not in bar.ending:
            at += 1
            continue
        if bar.to_coda_q == 0 and jumped is not None and jumped.until == "coda" and now == top:
            at = next(index for index, other in enumerate(bars) if other.coda is not None)
            continue
        out.append(at)
        plays[at] += 1
        goes_back = bar.repeat_end and now < top
        jumps = plays[at] in bar.jump_on if bar.jump_on else bar.jump and jumped is None and not goes_back
        if jumps:
            met |= {_begin(bars, index) for index in plays}
            jumped, passes = bar, Counter()
            at = 0 if bar.jump == "capo" else next(index for index in reversed(range(at)) if bars[index].segno is not None)
        elif goes_back:
            passes[begin] += 1
            at = begin
        elif jumped is not None and bar.fine_q is not None and jumped.until != "coda" and now == top:
            break
        elif jumped is not None and bar.to_coda is not None and jumped.until == "coda" and now == top:
            at = next(index for index, other in enumerate(bars) if other.coda is not None)
        else:
            at += 1
    return out


def _begin(bars: Sequence[WrittenBar], at: int) -> int:
    """Where the repeat that a bar belongs to begins, -1 for none."""
    begin = next((index for index in range(at, -1, -1) if bars[index].repeat_start), -1)
    return begin if begin >= 0 and at < _end(bars, begin) else -1


def _end(bars: Sequence[WrittenBar], begin: int) -> int:
    """The bar after a repeat and its endings."""
    at = begin
    while at < len(bars) and not (bars[at].repeat_end or bars[at].ending):
        at += 1
    if at < len(bars) and not bars[at].ending:
        return at + 1
    while at < len(bars) and bars[at].ending:
        at += 1
    return at


def _top(bars: Sequence[WrittenBar], begin: int) -> int:
    if begin < 0:
        return 1
    under = bars[begin : _end(bars, begin)]
    return max(max([0, *bar.ending]) for bar in under) or max(bar.repeat_end for bar in under)


def _again(bars: Sequence[WrittenBar], begin: int) -> bool:
    return begin >= 0 and any(bar.after_jump for bar in bars[begin : _end(bars, begin)])
