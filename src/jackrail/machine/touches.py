"""Faults of a hammer's touches: softer blows must be softer, of shorter pulses, and such as its coil can make."""

from __future__ import annotations

from collections.abc import Iterator

from jackrail.faults import Fault

from .mechanism import Coil, Hammer, Touch


def touch_faults(hammer: Hammer, coil: Coil | None) -> Iterator[Fault]:
    """What is wrong with the touches of a hammer. coil: its coil, None when that is not valid itself."""
    if hammer.touches and coil is not None and coil.relay is not None:
        hint = "a contact takes a millisecond more or less each time: switch the coil by a transistor, or leave touches out"
        yield Fault("range", "a coil behind a relay cannot strike softly", "touches", f"relay {coil.relay!r}", "no relay", hint)
    strength, pulse_s = 1.0, hammer.pulse_s
    for index, touch in enumerate(hammer.touches):
        where = f"touches[{index}]"
        if touch.strength >= strength:
            limit, hint = f"less than {strength:g}", "the hardest touch comes first"
            yield Fault("range", "a touch must be softer than the one before it", f"{where}.strength", f"{touch.strength:g}", limit, hint)
        if touch.pulse_s >= pulse_s:
            limit, hint = f"less than {_ms(pulse_s)}", "a softer blow has a shorter pulse"
            yield Fault("range", "a softer touch must have a shorter pulse", f"{where}.pulse", _ms(touch.pulse_s), limit, hint)
        strength, pulse_s = min(strength, touch.strength), min(pulse_s, touch.pulse_s)
        if coil is not None:
            yield from (fault.within(where) for fault in _flight_faults(touch, coil))


def _flight_faults(touch: Touch, coil: Coil) -> Iterator[Fault]:
    """A hammer that is pushed for less of its way arrives no sooner, and one that is pushed all its way strikes as hard as it can."""
    pull_in = f"{_ms(coil.pull_in_s)}, pull_in of the coil {coil.id!r}"
    if touch.pulse_s >= coil.pull_in_s:
        hint = "a pulse that lasts until the hammer arrives makes the full blow"
        what = "the pulse of a touch must end before the full blow"
        yield Fault("range", what, "pulse", _ms(touch.pulse_s), f"less than {pull_in}", hint)
    if touch.pull_in_s < coil.pull_in_s:
        hint = "measure the time from switching on to the sound"
        what = "a softer blow cannot come sooner than the full one"
        yield Fault("range", what, "pull_in", _ms(touch.pull_in_s), f"at least {pull_in}", hint)


def _ms(time_s: float) -> str:
    return f"{1000 * time_s:g} ms"
