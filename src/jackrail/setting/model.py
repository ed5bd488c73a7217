"""The setting: the tune fitted to this machine, in seconds, with what was given up and why."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Literal

from jackrail.tune.model import HarmonySource

LossKind = Literal["note-lost", "note-folded", "note-cut", "note-slid", "small-lost", "chord-lost", "chord-changed"]


@dataclass(frozen=True)
class Vibrato:
    """A bar swaying about its stop: from begins_s to ends_s, rate_hz whole waves a second, swing_steps to either side."""

    begins_s: float
    ends_s: float
    rate_hz: float
    swing_steps: int


@dataclass(frozen=True)
class SetNote:
    """A note as it will be played.

    index: of the note in the tune; onset_s: when it sounds; written_s: its written length, with that of notes left out whose time it
    takes over; voice, place: indices in the machine; leave_s: when its voice leaves for the next place, None when it
    stays; ornamental: a small note of an ornament. slid: it is not struck, its bar glides into it while the string rings from the
    note before. touch: how it is struck, index in `Voice.touches`, 0 the full blow; strength: of that touch, 0 to 1. again_s: further
    strokes of the same note, with the same touch. vibrato: how the bar sways while it rings. ahead_s: by how much it sounds before its
    beat, in a rolled chord.
    """

    index: int
    onset_s: float
    written_s: float
    midi: int
    octaves: int
    voice: int
    place: int
    leave_s: float | None = None
    ornamental: bool = False
    slid: bool = False
    touch: int = 0
    strength: float = 1.0
    again_s: tuple[float, ...] = ()
    vibrato: Vibrato | None = None
    ahead_s: float = 0.0


@dataclass(frozen=True)
class SetStroke:
    """A chord bar stroke. symbol: as written in the tune; repeated: a stroke that renews a chord still holding."""

    onset_s: float
    voice: int
    symbol: str
    repeated: bool


@dataclass(frozen=True)
class SetBeat:
    """A beat of a drum."""

    onset_s: float
    voice: int


@dataclass(frozen=True)
class Loss:
    """One thing given up. place: bar and beat; written: as in the tune, in its own key; played: what sounds instead ("" for nothing).

    index: of the note in the tune, None for a chord and for a small note that was not even written out.
    """

    kind: LossKind
    place: str
    onset_s: float
    written: str
    played: str
    reason: str
    index: int | None = None


@dataclass(frozen=True)
class Setting:
    """A fitted tune. Onsets are seconds from the start of play, the lead-in included.

    tempo_factor: 1 is the written tempo, 0.5 half as fast. notes_total counts the notes of the tune that are no small ones,
    small_total the small notes of its ornaments, with those that found no room, chords_total its chord symbols but those of
    silence. optimal: proven the least cost; cost in units of one ordinary note left out (see `Taste`); bound: no setting can cost
    less, equal to the cost when it is optimal; search_s: how long the search took; point: of the trade-off, where one was asked
    for. harmony: where the chords come from, see `Tune`. warnings, remarks: those of the tune as it is played. why: a sentence on
    the tempo and one on the key.
    """

    title: str
    machine: str
    transpose_semitones: int
    tempo_factor: float
    quarters_per_minute: float
    lead_in_s: float
    notes: tuple[SetNote, ...]
    strokes: tuple[SetStroke, ...]
    beats: tuple[SetBeat, ...]
    losses: tuple[Loss, ...]
    notes_total: int
    chords_total: int
    chords_kept: int
    optimal: bool
    cost: float
    bound: float = 0.0
    search_s: float = field(default=0.0, compare=False)
    point: int | None = None
    small_total: int = 0
    harmony: HarmonySource = ""
    warnings: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    why: tuple[str, ...] = ()

    @property
    def notes_kept(self) -> int:
        """Notes that will sound, in whatever octave, small ones not counted."""
        return len(self.notes) - self.small_kept

    @property
    def small_kept(self) -> int:
        """Small notes that will sound."""
        return sum(note.ornamental for note in self.notes)

    @property
    def notes_folded(self) -> int:
        """Notes that will sound in another octave."""
        return sum(note.octaves != 0 for note in self.notes)

    @property
    def pace(self) -> str:
        """The tempo in words: "at the written tempo", "at 55.6 % of the written tempo"."""
        if abs(self.tempo_factor - 1) < 5e-4:
            return "at the written tempo"
        return f"at {100 * self.tempo_factor:.3g} % of the written tempo"

    def to_json(self, voice_ids: tuple[str, ...], place_names: tuple[tuple[str, ...], ...]) -> dict[str, object]:
        """The stable JSON of `jackrail fit --json` and setting.json, see docs/formats.md."""
        return {
            "title": self.title,
            "machine": self.machine,
            "transpose_semitones": self.transpose_semitones,
            "tempo_factor": round(self.tempo_factor, 6),
            "quarters_per_minute": round(self.quarters_per_minute, 3),
            "notes_total": self.notes_total,
            "notes_kept": self.notes_kept,
            "notes_folded": self.notes_folded,
            "small_total": self.small_total,
            "small_kept": self.small_kept,
            "harmony": self.harmony,
            "chords_total": self.chords_total,
            "chords_kept": self.chords_kept,
            "optimal": self.optimal,
            "cost": round(self.cost, 6),
            "bound": round(self.bound, 6),
            "search_s": round(self.search_s, 3),
            "point": self.point,
            "lead_in_s": round(self.lead_in_s, 6),
            "warnings": list(self.warnings),
            "remarks": list(self.remarks),
            "why": list(self.why),
            "losses": [asdict(loss) for loss in self.losses],
            "notes": [
                {
                    "index": note.index,
                    "onset_s": round(note.onset_s, 6),
                    "written_s": round(note.written_s, 6),
                    "midi": note.midi,
                    "octaves": note.octaves,
                    "voice": voice_ids[note.voice],
                    "place": place_names[note.voice][note.place],
                    "leave_s": None if note.leave_s is None else round(note.leave_s, 6),
                    "ornamental": note.ornamental,
                    "slid": note.slid,
                    "touch": note.touch,
                    "strength": note.strength,
                    "again_s": [round(at_s, 6) for at_s in note.again_s],
                    "vibrato": None if note.vibrato is None else asdict(note.vibrato),
                    "ahead_s": round(note.ahead_s, 6),
                }
                for note in self.notes
            ],
            "strokes": [
                {
                    "onset_s": round(stroke.onset_s, 6),
                    "voice": voice_ids[stroke.voice],
                    "symbol": stroke.symbol,
                    "repeated": stroke.repeated,
                }
                for stroke in self.strokes
            ],
            "beats": [{"onset_s": round(beat.onset_s, 6), "voice": voice_ids[beat.voice]} for beat in self.beats],
        }
