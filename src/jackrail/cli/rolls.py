"""Packed rolls where a tune is expected: told by their first letters, and fitted long ago."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any


def refuse_wishes(options: dict[str, Any]) -> None:
    """Raise BadInput for wishes about a packed roll, which was fitted when it was made."""
    from jackrail import api

    unasked = asdict(api.Wishes())
    given = [name for name, value in options.items() if value not in (None, unasked.get(name))]
    if given:
        hint = "give the tune instead of its roll"
        raise api.BadInput([api.Fault("option", "changes nothing in a packed roll", f"--{name}", hint=hint) for name in given])


def is_roll(path: Path) -> bool:
    """Whether a file is a packed block; one that cannot be read is left to the reader of tunes, which says why."""
    try:
        with path.open("rb") as file:
            return file.read(2) == b"JR"
    except OSError:
        return False
