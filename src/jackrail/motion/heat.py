"""How hot a coil grows that is switched on again and again, as the board counts it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Endurance:
    """What a coil bears: max_on_s from cold, and in the long run the share max_duty of the time.

    On, it gathers heat by 1 - max_duty a second; off, it loses max_duty a second; more than max_on_s (1 - max_duty) is too much (in
    the spirit of IEC 60034-1, duty S3).
    """

    max_on_s: float
    max_duty: float

    def first_too_hot(self, spans: Iterable[tuple[float, float]], slack_s: float = 0.0) -> tuple[float, float] | None:
        """The first time on (from, to, in order) at whose end it is too hot: when that began, and how long from cold would be as much.

        None when it bears them all. slack_s: it bears so much more than max_on_s.
        """
        gathers, loses = 1 - self.max_duty, self.max_duty
        heat_s, cooled_from_s = 0.0, 0.0
        for on_s, off_s in spans:
            heat_s = max(0.0, heat_s - (on_s - cooled_from_s) * loses) + (off_s - on_s) * gathers
            cooled_from_s = off_s
            if heat_s > (self.max_on_s + slack_s) * gathers:
                return on_s, heat_s / gathers
        return None


@dataclass(frozen=True)
class Blow:
    """A coil that strikes: on for pulse_s each time."""

    pulse_s: float
    endurance: Endurance

    def bears(self, strikes_s: Iterable[float]) -> bool:
        """Whether it bears strikes at some moments, in order."""
        return self.endurance.first_too_hot((at_s, at_s + self.pulse_s) for at_s in strikes_s) is None


@dataclass(frozen=True)
class Press:
    """The coil of a press finger. lead_s: from switching it on to the finger being down; release_s: from off to the string being free."""

    coil: str
    lead_s: float
    release_s: float
    endurance: Endurance
