"""The key of a tune told from its notes."""

from __future__ import annotations

from collections.abc import Sequence

from jackrail.tune.model import KeyMark, TuneNote


def estimate_key(notes: Sequence[TuneNote]) -> KeyMark | None:  # noqa: ARG001 - being written
    """The likeliest key, None when the notes do not tell."""
    return None
