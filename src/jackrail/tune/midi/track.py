"""What one track of a Standard MIDI File holds, in ticks."""

from __future__ import annotations

from dataclasses import dataclass, field

DRUMS = 9
"""Channel 10 counted from 0: the drums of General MIDI."""
RawNote = tuple[int, int, int]
"""On, off, key; times in ticks."""
TEXT, LYRIC, MARKER, CUE = 0x01, 0x05, 0x06, 0x07


@dataclass(slots=True)
class Track:
    """One track. notes: channel -> its notes; tempos in us a quarter; keys as (sharps, minor); texts as (tick, kind, bytes).

    programs: channel -> its first program, from 0. bent, pedalled, retuned: channels with pitch bends, the sustain pedal or a coarse
    tuning (registered parameter 2), none of which is followed. velocities: by channel, tick and key of each strike.
    """

    number: int
    name: str = ""
    instrument: str = ""
    notes: dict[int, list[RawNote]] = field(default_factory=dict)
    programs: dict[int, int] = field(default_factory=dict)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, tuple[int, int]]] = field(default_factory=list)
    keys: list[tuple[int, tuple[int, bool]]] = field(default_factory=list)
    texts: list[tuple[int, int, bytes]] = field(default_factory=list)
    bent: set[int] = field(default_factory=set)
    pedalled: set[int] = field(default_factory=set)
    retuned: set[int] = field(default_factory=set)
    velocities: dict[tuple[int, int, int], int] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Its name, else that of its instrument, else ""."""
        return self.name or self.instrument
