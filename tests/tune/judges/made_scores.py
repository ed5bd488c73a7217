"""Scores of empty bars with repeats, endings and jumps in good order, drawn at random, and the same for music21."""

from fractions import Fraction

from hypothesis import strategies as st

from jackrail.tune.score.written import WrittenBar

_COUNT = st.integers(1, 3)


@st.composite
def _plain(draw: st.DrawFn) -> list[WrittenBar]:
    return [WrittenBar(0) for _ in range(draw(_COUNT))]


@st.composite
def _repeated(draw: st.DrawFn) -> list[WrittenBar]:
    bars = draw(_plain())
    bars[0].repeat_start = True
    bars[-1].repeat_end = draw(st.integers(2, 4))
    return bars


@st.composite
def _with_endings(draw: st.DrawFn) -> list[WrittenBar]:
    bars = draw(_plain())
    bars[0].repeat_start = True
    passes = draw(st.sampled_from([((1,), (2,)), ((1, 2), (3,)), ((1, 3), (2,), (4,)), ((1,), (2,), (3,))]))
    for ending in passes:
        under = draw(_plain())
        under[0].ending_start = True
        for bar in under:
            bar.ending = frozenset(ending)
        under[-1].repeat_end = 0 if ending == passes[-1] else 2
        bars += under
    return bars


@st.composite
def made_scores(draw: st.DrawFn, *, jumps: bool = True, endings: bool = True, by_pass: bool = True) -> list[WrittenBar]:
    """A score. jumps: with at most one D.C. or D.S.; by_pass: with repeats taken after a jump, jumps on a given pass, and
    ways to the coda at the beginning of a bar.
    """
    kinds = st.one_of(_plain(), _repeated(), _with_endings()) if endings else st.one_of(_plain(), _repeated())
    pieces = draw(st.lists(kinds, min_size=1, max_size=5))
    bars = [bar for piece in pieces for bar in piece]
    ends = [sum(map(len, pieces[: count + 1])) - 1 for count in range(len(pieces))]
    for number, bar in enumerate(bars):
        bar.number = number + 1
        bar.length_q = Fraction(4)
        if bar.repeat_end and by_pass:
            bar.after_jump = draw(st.booleans())
    if jumps and len(pieces) > 1:
        _add_jump(draw, bars, ends, on_pass=by_pass)
    return bars


def _add_jump(draw: st.DrawFn, bars: list[WrittenBar], ends: list[int], *, on_pass: bool) -> None:
    place = draw(st.integers(1, len(ends) - 1))
    bar = bars[ends[place]]
    target = 0
    bar.jump = draw(st.sampled_from(["capo", "segno"]))
    if bar.jump == "segno":
        free = [index for index in range(ends[place]) if not bars[index].ending]
        target = draw(st.sampled_from(free))
        bars[target].segno = ""
    until = draw(st.sampled_from(["", "fine", "coda"]))
    ways = [end for end in ends[:place] if end > target]
    left = draw(st.sampled_from(ways)) if ways else ends[place]
    if until == "fine" and ways:
        bars[left].fine_q, bar.until = Fraction(4), "fine"
    elif until == "coda" and ways and place + 1 < len(ends):
        bars[left].to_coda, bar.until = "", "coda"
        if on_pass and draw(st.booleans()):
            bars[left].to_coda_q = Fraction(0)
        bars[ends[place] + 1].coda = ""
    if on_pass and draw(st.booleans()):
        bar.jump_on = frozenset({draw(st.integers(1, 2))})


def for_music21(bars: list[WrittenBar]) -> object:
    """The same score as a part of music21, each bar one note whose key counts the bar."""
    from music21 import bar as line  # noqa: PLC0415 - slow to import
    from music21 import note, repeat, spanner, stream  # noqa: PLC0415

    part = stream.Part()
    under: list[stream.Measure] = []
    for index, bar in enumerate(bars):
        measure = stream.Measure(number=index + 1)
        measure.append(note.Note(index + 24, quarterLength=4))
        if bar.repeat_start:
            measure.leftBarline = line.Repeat(direction="start")
        if bar.repeat_end:
            measure.rightBarline = line.Repeat(direction="end", times=None if bar.ending else bar.repeat_end)
        if bar.segno is not None:
            measure.insert(0, repeat.Segno())
        if bar.coda is not None:
            measure.insert(0, repeat.Coda())
        if bar.fine_q is not None:
            measure.append(repeat.Fine())
        if bar.to_coda is not None:
            measure.append(repeat.Coda())
        if bar.jump:
            words = {"capo": "DaCapo", "segno": "DalSegno"}[bar.jump]
            ending = {"": "", "fine": "AlFine", "coda": "AlCoda"}[bar.until]
            measure.append(getattr(repeat, words + ending)())
        part.append(measure)
        under = [*under, measure] if bar.ending and not bar.ending_start else [measure] if bar.ending else []
        if bar.ending and (index + 1 == len(bars) or bars[index + 1].ending_start or not bars[index + 1].ending):
            part.insert(0, spanner.RepeatBracket(under, number=",".join(map(str, sorted(bar.ending)))))
    return part
