"""The chords of an accompaniment told from its notes: chord shapes weighed span by span, the cheapest row of them taken."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.model import Bar, ChordSymbol, KeyMark, TuneNote


def estimate_chords(notes: Sequence[TuneNote], bars: Sequence[Bar], key: KeyMark | None) -> tuple[ChordSymbol, ...]:  # noqa: ARG001 - being written
    """The chord symbols that the notes spell out, changes only."""
    return ()
