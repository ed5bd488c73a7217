"""A performance: what sounds when. A setting states the expected one; sound renders one; ears will yield others.

Times are in seconds from the start of the performance, which is the moment the machine is told to play. They are the
moments of SOUNDING, never of a motor or coil starting.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Glide:
    """While a note rings its pitch moves: at onset_s + after_s it stands `cents` away from where it was struck.

    Between points the pitch in cents runs straight; before the first point it is as struck; after the last it stays.
    """

    after_s: float
    cents: float


@dataclass(frozen=True)
class SoundedNote:
    """One struck or plucked note.

    onset_s: when it sounds. duration_s: how long it rings before it is stopped, struck again or left to die (its sound
    may decay sooner). midi: the key meant. cents: how far from that key it really sounds. voice: id of the voice in the
    machine file. source: id of the string or sounder that rings. glide: pitch movement while it rings. strength: 0-1.
    """

    onset_s: float
    duration_s: float
    midi: int
    cents: float
    voice: str
    source: str
    glide: tuple[Glide, ...] = ()
    strength: float = 1.0


@dataclass(frozen=True)
class Stroke:
    """A chord bar (or a drum beat) sounding: chord is its name ("G"; "" for a drum), sources the strings it sounds."""

    onset_s: float
    voice: str
    chord: str
    sources: tuple[str, ...]
    strength: float = 1.0


@dataclass(frozen=True)
class Performance:
    """Notes and strokes, each in time order, and when the last machine action ends."""

    notes: tuple[SoundedNote, ...]
    strokes: tuple[Stroke, ...]
    end_s: float

    def to_json(self) -> dict[str, object]:
        """The stable JSON of performance.json, see docs/formats.md."""
        return {
            "notes": [
                {
                    "onset_s": round(n.onset_s, 6),
                    "duration_s": round(n.duration_s, 6),
                    "midi": n.midi,
                    "cents": round(n.cents, 3),
                    "voice": n.voice,
                    "source": n.source,
                    "glide": [[round(g.after_s, 6), round(g.cents, 3)] for g in n.glide],
                    "strength": n.strength,
                }
                for n in self.notes
            ],
            "strokes": [
                {
                    "onset_s": round(s.onset_s, 6),
                    "voice": s.voice,
                    "chord": s.chord,
                    "sources": list(s.sources),
                    "strength": s.strength,
                }
                for s in self.strokes
            ],
            "end_s": round(self.end_s, 6),
        }
