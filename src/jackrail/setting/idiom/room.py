"""How many sounds may come close together: no more than the board has room for, nor than the supply gives current for."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence

from jackrail.motion.voice import Voice
from jackrail.setting.legs import struck_at_s
from jackrail.setting.model import Setting

_CLOSE_S, _MOST_CLOSE = 0.2, 7
"""Each sound is two or three commands of the 24 that a board has waiting (docs/SPEC-roll.md)."""


class Room:
    """The moments at which a setting sounds, and what may be changed about them.

    As many coils may be on at once as are in the setting as it comes: for those the supply is known to do, or is told not to.
    """

    def __init__(self, setting: Setting, voices: tuple[Voice, ...]) -> None:
        others = [stroke.onset_s for stroke in setting.strokes] + [beat.onset_s for beat in setting.beats]
        self._sounds = sorted([*others, *(at_s for note in setting.notes for at_s in struck_at_s(note))])
        self._limits = {_CLOSE_S: max(_MOST_CLOSE, self._together(_CLOSE_S))}
        blows = [(voice.blow.pulse_s, voice.lead_s) for voice in voices if voice.blow]
        if blows:
            leads_s = [lead_s for _, lead_s in blows]
            on_s = max(pulse_s for pulse_s, _ in blows) + max(leads_s) - min(leads_s)
            self._limits[on_s] = self._together(on_s)

    def _together(self, within_s: float) -> int:
        sounds = self._sounds
        return max((bisect_left(sounds, at_s + within_s) - place for place, at_s in enumerate(sounds)), default=1)

    def moved(self, away: Sequence[float], to: Sequence[float]) -> bool:
        """Move sounds from some moments to others, or add some, where that brings no more close together than may be; whether it did."""
        for at_s in away:
            self._sounds.pop(bisect_left(self._sounds, at_s))
        fits = all(self._fit(to, within_s, most) for within_s, most in self._limits.items())
        for at_s in to if fits else away:
            insort(self._sounds, at_s)
        return fits

    def _fit(self, added: Sequence[float], within_s: float, most: int) -> bool:
        first, last = bisect_left(self._sounds, min(added) - within_s), bisect_right(self._sounds, max(added) + within_s)
        near = sorted([*self._sounds[first:last], *added])
        return all(later - earlier >= within_s for earlier, later in zip(near, near[most:], strict=False))
