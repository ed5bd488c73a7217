"""The tokens of ABC music (ABC 2.1 section 4): one pattern for all, and what note lengths and bracket numbers mean."""

from __future__ import annotations

import re
from fractions import Fraction

from jackrail.tune.model import Quarters

MAX_NOTE_Q = 1000
"""Longest note, in quarters; a longer one is a slip."""
MAX_PASS = 64
"""Highest number of an ending."""

_LENGTH = r"(?:\d*(?:/+\d*)?)"
TOKEN = re.compile(
    rf"""
  (?P<space>[ \t`$\\]+|\[\|\](?=[:|\[]))
| (?P<note>(?P<acc>\^\^?|__?|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)(?P<length>{_LENGTH}))
| (?P<bar>\|::\||\.?(?P<ends>:*)(?P<body>(?:\[?\|[|\]]*)+)(?P<starts>:*)|::+)
| (?P<quote>"(?P<text>[^"]*)")
| (?P<rest>[zx](?P<rest_length>{_LENGTH}))
| (?P<bar_rest>[ZX](?P<bars>\d*))
| (?P<tie>\.?-)
| (?P<broken>[<>]+)
| (?P<tuplet>\((?P<p>\d(?:\d(?=:))?)(?::(?P<q>\d*))?(?::(?P<r>\d*))?)
| (?P<slur>\.?\(|\))
| (?P<grace>\{{[^}}]*\}})
| (?P<ending>\[(?P<passes>\d[\d,\-.]*)|\["(?P<named>[^"]*)"(?=[^\]\[]*\|))
| (?P<field>\[(?P<field_name>[A-Za-z]):(?P<value>[^\]]{{0,1000}})\])
| (?P<open>\[)
| (?P<close>\](?P<chord_length>{_LENGTH}))
| (?P<decoration>!(?P<name>[^\s!|":\[\]]{{1,30}})!)
| (?P<overlay>&+)
| (?P<spacer>y\d*)
| (?P<short>[~.H-Wh-w])
| (?P<line_break>!)
""",
    re.VERBOSE,
)
PASSES = re.compile(r"(?P<blank>[ \t]+(?=[12](?![\d,\-.])))?(?P<passes>\d[\d,\-.]*)")
"""Numbers right after a bar line. After a blank, which ABC 2.1 section 4.9 forbids, only the 1 and 2 that are written that way."""


def note_length_q(text: str, unit_q: Quarters) -> Quarters | None:
    """Length of a note from what stands after it ("", "2", "/", "3/2", "//"); None when it cannot be used."""
    if not text:
        return unit_q
    above, slash, below = text.partition("/")
    halvings = below.count("/") + 1 if slash else 0
    digits = below.strip("/")
    if len(above) > 6 or len(digits) > 6 or halvings > 8 or (digits and halvings > 1):
        return None
    divisor = int(digits) if digits else 2**halvings
    multiple = int(above or 1)
    if not divisor or not multiple:
        return None
    length_q = unit_q * Fraction(multiple, divisor)
    return length_q if length_q <= MAX_NOTE_Q else None


def pass_numbers(text: str) -> frozenset[int] | None:
    """Passes of a bracket: "1", "1,3", "1-3"; None when they make no sense."""
    passes: set[int] = set()
    for part in text.strip(".,-").split(","):
        low, dash, high = (side.strip(".") for side in part.partition("-"))
        if not low.isdigit() or (dash and not high.isdigit()) or len(low) > 3 or len(high) > 3:
            return None
        passes |= set(range(int(low), int(high or low) + 1))
    return frozenset(passes) if passes and min(passes) >= 1 and max(passes) <= MAX_PASS else None
