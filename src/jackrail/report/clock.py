"""The clock of a setting: moments of the tune in seconds of play, and seconds back as bar and beat."""

from __future__ import annotations

from bisect import bisect_left
from fractions import Fraction

from jackrail.setting.model import Setting
from jackrail.tune.model import Tune

_SAME_S = 1e-4


class Clock:
    """Seconds of play of a tune's moments, as its setting has them."""

    def __init__(self, tune: Tune, setting: Setting) -> None:
        self._tune, self._setting = tune, setting
        moments = {bar.onset_q for bar in tune.bars} | {chord.onset_q for chord in tune.chords} | {note.onset_q for note in tune.notes}
        self._known = sorted((self.seconds(moment), moment) for moment in moments)

    def seconds(self, onset_q: Fraction) -> float:
        """When a moment of the tune comes, in seconds from the start of play."""
        return self._setting.lead_in_s + self._tune.seconds_at(onset_q) / self._setting.tempo_factor

    def bars_s(self) -> list[float]:
        """When each bar starts, in seconds."""
        return [self.seconds(bar.onset_q) for bar in self._tune.bars]

    def place(self, at_s: float) -> str:
        """Bar and beat of a moment where a note, chord or bar starts; seconds for any other."""
        index = bisect_left(self._known, (at_s - _SAME_S, Fraction(0)))
        if index < len(self._known) and abs(self._known[index][0] - at_s) <= _SAME_S:
            return self._tune.place(self._known[index][1])
        return f"{at_s:.2f} s"
