"""The names of ABC decorations (ABC 2.1 section 4.14) and the letters that stand for them (section 4.16)."""

from __future__ import annotations

from jackrail.tune.loudness import VELOCITIES

from .ornaments import KINDS

SHORTHANDS = {
    "~": "roll", "H": "fermata", "L": "accent", "M": "lowermordent", "O": "coda", "P": "uppermordent", "S": "segno", "T": "trill",
    "u": "upbow", "v": "downbow", ".": "staccato",
}  # fmt: skip
# Decorations that steer the playing order -> the words they stand for. Those with "al" are of the draft of ABC 2.2.
STEERING = {
    "segno": "segno", "coda": "coda", "fine": "fine", "D.C.": "D.C.", "D.S.": "D.S.", "dacapo": "D.C.", "dacoda": "to coda",
    "tocoda": "to coda", "D.C.alfine": "D.C. al fine", "D.C.alcoda": "D.C. al coda", "D.S.alfine": "D.S. al fine",
    "D.S.alcoda": "D.S. al coda",
}  # fmt: skip
# What sounds otherwise than written, and is not followed -> what is said.
FERMATAS = frozenset({"fermata", "invertedfermata"})
LEFT_OUT = {"fermata": "fermatas are not held", "invertedfermata": "fermatas are not held", "arpeggio": "chords are not broken (arpeggio)"}
_EXPRESSION_WORDS = (
    ". > + ^ < 0 1 2 3 4 5 sfz accent emphasis tenuto plus snap wedge staccato dot upbow downbow open"
    " thumb breath marcato crescendo( crescendo) <( <) diminuendo( diminuendo) >( >) trill) shortphrase mediumphrase longphrase nil none"
    " editorial courtesy"
)
HAIRPINS = frozenset({"crescendo(", "<(", "diminuendo(", ">("})
"""Where a gradual change of loudness begins."""
EXPRESSION = frozenset(_EXPRESSION_WORDS.split())
"""Those that change neither pitch, length nor order."""


def is_known(name: str) -> bool:
    """Whether `name` is a decoration."""
    return name in EXPRESSION or name in VELOCITIES or name in STEERING or name in KINDS or name in LEFT_OUT
