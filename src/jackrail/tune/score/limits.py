"""How long a tune may become when it is played out."""

from __future__ import annotations

from jackrail.faults import BadInput, Fault

MAX_BARS = 20_000
"""Most bars played out: eight hours of quick 4/4. More is a slip or an attack."""

MAX_FAULTS = 20
"""Most faults of one tune that are told at once."""


def check_length(bars: int) -> None:
    """Raise BadInput with a "range" fault when so many bars are too many."""
    if bars >= MAX_BARS:
        hint = "check the repeat counts and the order of parts"
        raise BadInput(Fault("range", "the tune is far too long once repeats are played out", limit=f"at most {MAX_BARS} bars", hint=hint))
