"""How loud the words of dynamics are: the one table of levels for all notations.

MusicXML counts forte as 90 of MIDI's 127 steps of velocity (4.0, attribute `dynamics` of sound and note); the marks lie 15 steps apart
about it, which is common practice of players of notation (no source).
"""

from __future__ import annotations

FORTE = 90
VELOCITIES = {
    "pppp": 8,
    "ppp": 15,
    "pp": 30,
    "p": 45,
    "mp": 60,
    "mf": 75,
    "f": FORTE,
    "ff": 105,
    "fff": 120,
    "ffff": 127,
}
"""MIDI velocity of each mark, by its name."""
SOFTEST, LOUDEST = 1, 127


def velocity_of_share(percent: float) -> int:
    """The velocity of a loudness in per cent of forte, within MIDI's range."""
    return max(SOFTEST, min(LOUDEST, round(FORTE * percent / 100)))
