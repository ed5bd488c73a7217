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


@dataclass(frozen=True)
class Difference:
    """One expected sound beside what was heard. late_s, sharp_cents: heard minus expected, None when nothing was heard.

    strength, heard_strength: expected and heard, 0 to 1.
    """

    onset_s: float
    voice: str
    late_s: float | None
    sharp_cents: float | None
    strength: float = 1.0
    heard_strength: float = 1.0


@dataclass(frozen=True)
class Comparison:
    """An expected performance beside a heard one. differences: one for each expected note, then for each stroke.

    extra: onsets heard that nothing expected accounts for, with their voices.
    """

    differences: tuple[Difference, ...]
    extra: tuple[tuple[float, str], ...]

    @property
    def missing(self) -> tuple[Difference, ...]:
        """What was expected and not heard."""
        return tuple(d for d in self.differences if d.late_s is None)

    @property
    def worst_late_s(self) -> float:
        """Largest onset error either way, 0 when nothing was matched."""
        return max((abs(d.late_s) for d in self.differences if d.late_s is not None), default=0.0)

    @property
    def worst_cents(self) -> float:
        """Largest pitch error either way, 0 when nothing was matched."""
        return max((abs(d.sharp_cents) for d in self.differences if d.sharp_cents is not None), default=0.0)


WINDOW_S = 0.05
"""A sound further from its moment is another sound: the +-50 ms usual in judging transcriptions (mir_eval defaults)."""


def compare(expected: Performance, heard: Performance, window_s: float = WINDOW_S) -> Comparison:
    """Match each expected sound to the nearest heard one of the same voice within `window_s`, each heard one once."""
    left: dict[str, list[tuple[float, float, float]]] = {}
    for voice, *sound in _sounds(heard):
        left.setdefault(voice, []).append((sound[0], sound[1], sound[2]))
    differences = []
    for voice, onset_s, pitch, strength in _sounds(expected):
        near = [sound for sound in left.get(voice, ()) if abs(sound[0] - onset_s) <= window_s]
        if near:
            match = min(near, key=lambda sound: abs(sound[0] - onset_s))
            left[voice].remove(match)
            differences.append(Difference(onset_s, voice, match[0] - onset_s, 100 * (match[1] - pitch), strength, match[2]))
        else:
            differences.append(Difference(onset_s, voice, None, None, strength))
    extra = sorted((onset_s, voice) for voice, sounds in left.items() for onset_s, *_ in sounds)
    return Comparison(tuple(differences), tuple(extra))


def _sounds(performance: Performance) -> list[tuple[str, float, float, float]]:
    """Voice, onset, exact pitch (0 for a stroke) and strength of all that sounds, notes first."""
    notes = [(n.voice, n.onset_s, n.midi + n.cents / 100, n.strength) for n in performance.notes]
    return notes + [(s.voice, s.onset_s, 0.0, s.strength) for s in performance.strokes]
