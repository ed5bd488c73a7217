"""Choices judged afresh, for the tests of all that chooses: only `Event`, `Option` and `Voice` are shared with what is tested."""

import itertools
import math
from dataclasses import replace

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
        slide_s = (
            tuple(tuple(math.inf if p == q else draw(TIMES) for q in range(count)) for p in range(count)) if draw(st.booleans()) else ()
        )
        made = Voice(f"voice_{v}", "melody", (f"s{v}",), places, move_s, (0.0,) * count, draw(TIMES), 0.01)
        voices.append(replace(made, slide_s=slide_s, ring_s=draw(st.sampled_from([0.5, 1.2, 3.0]))))
    return tuple(voices)


def need_s(voice, start, end):
    """Least time between two onsets of one voice: re-arming, and when it moves, ringing and travel too."""
    return voice.rearm_s if start == end else max(voice.rearm_s, LEAST_RING_S + voice.move_s[start][end])


def cost_of(events, chosen, voices, slowdown, least_tempo=1.0):
    """What a choice costs, infinity when it is impossible: each voice's events one after the other, each pair looked at by itself.

    A slide may not come later after the strike than the string takes to fade by 20 of 60 dB at the slowest tempo.
    """
    cost = sum(event.lost if option is None else option.cost for event, option in zip(events, chosen, strict=True))
    for v, voice in enumerate(voices):
        own = [(event, option) for event, option in zip(events, chosen, strict=True) if option is not None and option.voice == v]
        if own and own[0][1].slid:
            return math.inf
        struck_s = own[0][0].onset_s if own else 0.0
        for (early, a), (late, b) in itertools.pairwise(own):
            p, q, gap_s = a.place, b.place, (late.onset_s - early.onset_s) * slowdown
            travel_s = voice.slide_s[p][q] if b.slid else voice.move_s[p][q]
            if b.slid:
                rings = (late.onset_s - struck_s) / least_tempo <= voice.ring_s / 3 + 1e-9
                possible = p != q and rings and gap_s >= LEAST_RING_S + travel_s - 1e-9
            elif a.slid:
                possible = gap_s >= LEAST_RING_S + travel_s - 1e-9 and (late.onset_s - struck_s) * slowdown >= voice.rearm_s - 1e-9
            else:
                possible = gap_s >= need_s(voice, p, q) - 1e-9
            if not possible:
                return math.inf
            # the bar leaves so early that the note has not rung its share
            if p != q and gap_s - travel_s < early.hold_s * slowdown - 1e-9:
                cost += early.cut
            struck_s = struck_s if b.slid else late.onset_s
    return cost


def every_slowdown(events, voices, most):
    """1 and each slowdown at which some gap of the tune, or what is left of it after a share of ringing, grows to a time a voice needs."""
    places = [(voice, p, q) for voice in voices for p in range(len(voice.places)) for q in range(len(voice.places))]
    pairs = [(a, b.onset_s - a.onset_s) for a, b in itertools.combinations(events, 2) if b.onset_s > a.onset_s]
    needs = [(need_s(voice, p, q), gap_s) for voice, p, q in places for _, gap_s in pairs]
    needs += [(voice.move_s[p][q], gap_s - a.hold_s) for voice, p, q in places for a, gap_s in pairs if gap_s > a.hold_s]
    return [1.0, *sorted({need / gap for need, gap in needs if 1.0 < need / gap <= most})]
