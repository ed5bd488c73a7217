"""Choices judged afresh, for the tests of all that chooses: only `Event`, `Option` and `Voice` are shared with what is tested."""

import itertools
import math

from hypothesis import strategies as st

from jackrail.motion.voice import Place, Voice

LEAST_RING_S = 0.06
KEYS = st.integers(60, 66)
TIMES = st.sampled_from([0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0])


@st.composite
def some_voices(draw, most=3):
    """1 to 3 voices with 1 to 4 places and any times between them, not even alike both ways."""
    voices = []
    for v in range(draw(st.integers(1, most))):
        count = draw(st.integers(1, 4))
        move_s = tuple(tuple(0.0 if p == q else draw(TIMES) for q in range(count)) for p in range(count))
        places = tuple(Place(f"place {p}", draw(KEYS)) for p in range(count))
        voices.append(Voice(f"voice_{v}", "melody", (f"s{v}",), places, move_s, (0.0,) * count, draw(TIMES), 0.01))
    return tuple(voices)


def need_s(voice, start, end):
    """Least time between two onsets of one voice: re-arming, and when it moves, ringing and travel too."""
    return voice.rearm_s if start == end else max(voice.rearm_s, LEAST_RING_S + voice.move_s[start][end])


def cost_of(events, chosen, voices, slowdown):
    """What a choice costs, infinity when it is impossible: each voice's events one after the other, each pair looked at by itself."""
    cost = sum(event.lost if option is None else option.cost for event, option in zip(events, chosen, strict=True))
    for v, voice in enumerate(voices):
        own = [(event, option.place) for event, option in zip(events, chosen, strict=True) if option is not None and option.voice == v]
        for (early, p), (late, q) in itertools.pairwise(own):
            gap_s = (late.onset_s - early.onset_s) * slowdown
            if gap_s < need_s(voice, p, q) - 1e-9:
                return math.inf
            # the bar leaves so early that the note has not rung its share
            if p != q and gap_s - voice.move_s[p][q] < early.hold_s * slowdown - 1e-9:
                cost += early.cut
    return cost
