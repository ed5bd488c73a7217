"""Which release ends which note.

A key struck again while it sounds ends its first note there. The second lasts until as many releases have come as strikes, so that
where two lines meet on one key the later note lasts to the last release; where a release is missing, which shows at the next strike
or the end, the first release ends it. A release written after the strike of the same tick is the first note's. Strikes of one key at
one tick are one note, the longer. Notes of no length, and keys never released, are left out and said. All notes off (controllers
120 and 123 to 127, MIDI 1.0 channel mode messages) ends what sounds on its channel.
"""

from __future__ import annotations

from jackrail.tune.score.written import Notes

from .track import DRUMS, Track

_MOST_ODD = 12


class Sounding:
    """The keys of one track that are down, as its events come in time order; finished notes go into the track."""

    def __init__(self, track: Track, notes: Notes) -> None:
        self._track = track
        self._notes = notes
        # channel, key -> on, releases owed to notes before it, first release or -1, whether it cut one of those notes short
        self._down: dict[tuple[int, int], tuple[int, int, int, bool]] = {}
        self._odd_seen = 0

    def odd(self, sentence: str) -> None:
        """Say something odd of the track, unless there is so much of it that nobody would read on."""
        self._odd_seen += 1
        if self._odd_seen <= _MOST_ODD and self._track.number <= _MOST_ODD:
            self._notes.say(sentence)
        else:
            self._notes.count("more of the kind was left out", f"track {self._track.number}")

    def strike(self, tick: int, channel: int, key: int) -> None:
        """A key goes down."""
        before = self._down.get((channel, key))
        owed, cuts = 0, False
        if before is not None:
            on, owed, released, cuts = before
            if released >= 0:
                owed, cuts = 0, False  # a release was missing
                self._note(channel, on, released, key)
            else:
                owed += 1
                if tick > on:
                    cuts = True
                    self._note(channel, on, tick, key)
        self._down[channel, key] = (tick, owed, -1, cuts)

    def release(self, tick: int, channel: int, key: int) -> None:
        """A key comes up."""
        held = self._down.pop((channel, key), None)
        if held is None:
            self._notes.count("releases of keys that do not sound are ignored", f"track {self._track.number} tick {tick}")
            return
        on, owed, released, cuts = held
        if not owed:
            self._note(channel, on, tick, key)
        elif tick == on:
            self._down[channel, key] = (on, owed - 1, released, cuts)
        else:
            if cuts:
                self._say_cut(channel, on)
            self._down[channel, key] = (on, owed - 1, released if released >= 0 else tick, cuts)

    def all_off(self, tick: int, channel: int) -> None:
        """All keys of a channel come up."""
        for key in [key for sounding, key in self._down if sounding == channel]:
            on, _, released, _ = self._down.pop((channel, key))
            self._note(channel, on, released if released >= 0 else tick, key)

    def end(self) -> None:
        """The track ends: what still sounds has no end and is left out."""
        for (channel, key), (on, owed, released, cuts) in sorted(self._down.items(), key=lambda item: item[1][0]):
            if owed and cuts:
                self._say_cut(channel, on)
            if released >= 0:
                self._note(channel, on, released, key)
            elif channel != DRUMS:
                self.odd(f"track {self._track.number}: key {key}, struck at tick {on}, is never released and is left out")

    def _say_cut(self, channel: int, tick: int) -> None:
        if channel != DRUMS:
            self._notes.count("a key struck again while it sounds ends its first note", f"track {self._track.number} tick {tick}")

    def _note(self, channel: int, on: int, off: int, key: int) -> None:
        if on < off:
            self._track.notes.setdefault(channel, []).append((on, off, key))
        elif channel != DRUMS:
            self._notes.count("notes of no length are left out", f"track {self._track.number} tick {on}")
