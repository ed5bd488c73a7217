"""The ramp: the one motion law, a table of step intervals that a 16-bit timer runs from rest to rest.

An axis that starts at rest with constant acceleration makes its n-th step at t_n = sqrt(2 n s / a), s the step and a the
acceleration (Austin 2004; Atmel AVR446). The table holds the exact differences of those times, rounded once from the
absolute times, so that rounding never adds up. It is not the classical recurrence with its 0.676 first interval, which
arrives early; setting, cues and board all use this very table, so a plan is never milliseconds wrong.

Entries are (interval, count): `count` steps of `interval` ticks each. Braking runs the same entries backwards.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from jackrail.faults import BadInput, Fault

TICK_HZ = 2_000_000
"""Timer ticks a second: 16 MHz divided by 8, 0.5 us each."""
LONGEST_INTERVAL = 65_535
MOST_ENTRIES = 224
_STEPS_PER_ENTRY = 32
"""An entry covers at most 1/32 of the steps made so far: the speed changes by 1.6 % over it, and a move ends within one
step interval of the closed form (measured in tests/motion)."""


@dataclass(frozen=True)
class Ramp:
    """A ramp as the board runs it.

    entries: (interval_ticks, count) from rest to just below cruising; cruise_ticks: interval at full speed.
    """

    entries: tuple[tuple[int, int], ...]
    cruise_ticks: int
    tick_hz: int = TICK_HZ

    @cached_property
    def _rise(self) -> tuple[int, ...]:
        """Ticks from rest to each step of the acceleration: _rise[n] after n steps."""
        total, times = 0, [0]
        for interval, count in self.entries:
            for _ in range(count):
                total += interval
                times.append(total)
        return tuple(times)

    @property
    def rise_steps(self) -> int:
        """Steps from rest to full speed."""
        return len(self._rise) - 1

    def _ticks_rising(self, steps: int) -> int:
        """Ticks from rest to step `steps` with no braking; cruising once the table ends."""
        if steps <= self.rise_steps:
            return self._rise[steps]
        return self._rise[-1] + (steps - self.rise_steps) * self.cruise_ticks

    def step_ticks(self, step: int, steps: int) -> int:
        """Ticks from the start of a move of `steps` steps to its step number `step`, 0 <= step <= steps.

        Interval j of a move is entry min(j, steps - 1 - j): it speeds up, cruises and brakes symmetrically.
        """
        half = (steps + 1) // 2
        if step <= half:
            return self._ticks_rising(step)
        return self.ticks(steps) - self._ticks_rising(steps - step)

    def ticks(self, steps: int) -> int:
        """Ticks of a whole move of `steps` steps, from its start to its last step edge."""
        return self._ticks_rising((steps + 1) // 2) + self._ticks_rising(steps // 2)

    def duration_s(self, steps: int) -> float:
        """Seconds of a whole move of `steps` steps, 0 for no move."""
        return self.ticks(steps) / self.tick_hz

    def step_time_s(self, step: int, steps: int) -> float:
        """Seconds from the start of a move of `steps` steps to its step number `step`."""
        return self.step_ticks(step, steps) / self.tick_hz

    def steps_done(self, elapsed_s: float, steps: int) -> int:
        """Steps made `elapsed_s` seconds after the start of a move of `steps` steps."""
        elapsed = elapsed_s * self.tick_hz
        return bisect_right(range(1, steps + 1), elapsed, key=lambda step: self.step_ticks(step, steps))


def make_ramp(step: float, speed: float, acceleration: float, tick_hz: int = TICK_HZ) -> Ramp:
    """The ramp of an axis. step, speed, acceleration: in mm or in turns, alike (mm, mm/s, mm/s2).

    The interval at full speed is rounded up to a whole tick, so the axis never exceeds `speed`. Raises BadInput when the
    first or the cruising interval does not fit the timer or the table would be too long for the board.
    """
    cruise = math.ceil(tick_hz * step / speed - 1e-9)
    faults = list(_slow_faults(step, speed, acceleration, tick_hz))
    if faults:
        raise BadInput(faults)
    entries: list[tuple[int, int]] = []
    steps, ticks = 0, 0
    while True:
        count = min(255, max(1, steps // _STEPS_PER_ENTRY))
        end = tick_hz * math.sqrt(2 * (steps + count) * step / acceleration)
        interval = round((end - ticks) / count)
        if interval <= cruise:
            break
        entries.append((interval, count))
        steps += count
        ticks += interval * count
    if len(entries) > MOST_ENTRIES:
        raise BadInput(
            Fault(
                "range",
                "the ramp needs too long a table",
                "acceleration",
                f"{len(entries)} entries",
                f"{MOST_ENTRIES}",
                "use fewer microsteps or accelerate faster",
            )
        )
    return Ramp(tuple(entries), cruise, tick_hz)


def _slow_faults(step: float, speed: float, acceleration: float, tick_hz: int) -> Iterator[Fault]:
    """A speed or an acceleration whose longest interval the 16-bit timer cannot count."""
    if tick_hz * math.sqrt(2 * step / acceleration) > LONGEST_INTERVAL:
        limit = f"{2 * step * (tick_hz / LONGEST_INTERVAL) ** 2:.3g} or more"
        hint = "use more microsteps or accelerate faster"
        yield Fault("range", "this acceleration is too slow for the timer", "acceleration", f"{acceleration:g}", limit, hint)
    if tick_hz * step / speed > LONGEST_INTERVAL:
        limit = f"{step * tick_hz / LONGEST_INTERVAL:.3g} or more"
        yield Fault("range", "this speed is too slow for the timer", "speed", f"{speed:g}", limit, "use more microsteps or more speed")
