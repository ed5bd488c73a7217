"""Tempo words such as "Allegro" as beats a minute, for music that gives no number."""

from __future__ import annotations

import re

# Middles of the ranges printed on metronomes, beats a minute (common practice, from memory); a word in between is put in between.
_BEATS_PER_MINUTE = {
    "prestissimo": 204, "presto": 184, "vivace": 162, "allegro": 144, "allegretto": 116, "moderato": 114, "andantino": 96, "andante": 92,
    "adagio": 71, "larghetto": 63, "lento": 56, "largo": 50, "grave": 44,
}  # fmt: skip
_WORD = re.compile(rf"\b({'|'.join(_BEATS_PER_MINUTE)})\b", re.IGNORECASE)


def beats_per_minute(words: str) -> int | None:
    """Beats a minute of the first tempo word in a text ("Allegro ma non troppo" is 144), None when there is none.

    The beat is the felt one: `model.beat_length_q` has its length in quarters.
    """
    found = _WORD.search(words)
    return _BEATS_PER_MINUTE[found[1].lower()] if found else None
