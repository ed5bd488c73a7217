"""What the name of a part or a track says about it: whether it is the melody, or goes with one. Judgements, no source."""

from __future__ import annotations

import re

_MELODY = re.compile(r"melod|lead|\btune|solo|sopran|\bright", re.IGNORECASE)
_SUNG = re.compile(r"vocal|voice|\bvoix|\bvoce|\bcant(?:o|us)\b|gesang|singstimme", re.IGNORECASE)
_LOWER = re.compile(r"\balto|contralt|tenor", re.IGNORECASE)
_BESIDE = re.compile(r"\bback|bass(?!oon)|harmon(?:y|i(?:es?)?\b)|chord|acc?omp", re.IGNORECASE)


def says_melody(name: str) -> bool:
    """Whether a name has melody, lead, tune, solo, soprano or right in it, or says that it is sung, in a few languages, and not low."""
    return _MELODY.search(name) is not None or (_SUNG.search(name) is not None and _LOWER.search(name) is None)


def says_accompaniment(name: str) -> bool:
    """Whether a name has backing, bass, harmony, chord or accompaniment in it; a bassoon and a harmonica may well have the tune."""
    return _BESIDE.search(name) is not None
