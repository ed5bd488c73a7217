"""Single changes to a machine, each in the maker's words, and the voices that it would have after it.

A change is tried on a copy of the machine in memory: what is added needs no free pin there, and a copy of a motor stands for one like
it. What is tried is a machine like the maker's in everything else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from jackrail.faults import BadInput
from jackrail.findings import count
from jackrail.machine.geometry import stop_position_mm
from jackrail.machine.instrument import Instrument, Sounder, String
from jackrail.machine.machine import Machine
from jackrail.machine.mechanism import ChordBar, FrettedString, Hammer, Mechanism, TravellingStop, TurningPick, VoicePart
from jackrail.motion.ensemble import make_ensemble
from jackrail.motion.voice import Voice
from jackrail.pitch import parse_pitch, pitch_name

_STRAINS = "more torque is needed, see jackrail check"
_TIGHTER = "a string tuned higher is under more tension: see that it and the instrument bear it"


@dataclass(frozen=True)
class Change:
    """A change. name: what is changed, in the maker's words; caution: what it strains, "" for nothing.

    slow: a fit to the changed machine takes long, as one to several travelling bars does.
    """

    name: str
    instrument: Instrument
    mechanism: Mechanism
    caution: str = ""
    slow: bool = False

    @cached_property
    def voices(self) -> tuple[Voice, ...] | None:
        """The voices of the changed machine; None when its motors cannot run so."""
        try:
            return make_ensemble(self.instrument, self.mechanism).voices
        except BadInput:
            return None


def changes_of(machine: Machine, keys: Iterable[int] = (), chords: Iterable[str] = ()) -> list[Change]:
    """The changes that make sense for a machine. keys: MIDI keys that a place could be added for; chords: names of bars to be added."""
    maker = _Maker(machine)
    wanted = sorted(set(keys) - maker.sounded)
    found = [*maker.mechanics(), *maker.places(wanted), *maker.strings(), *maker.bars(chords)]
    return [change for change in found if change.voices is not None]


def tunings_of(machine: Machine) -> list[Change]:
    """Other tunings of the melody string, where they can make a difference."""
    return [change for change in _Maker(machine).tuned() if change.voices is not None]


def exchanges_of(machine: Machine, key: int, idle: str) -> list[Change]:
    """The exchange of a stop that stands idle, by its name, for one that gives a MIDI key."""
    return [change for change in _Maker(machine).exchanged(key, idle) if change.voices is not None]


class _Maker:
    """Makes the changes of one machine."""

    def __init__(self, machine: Machine) -> None:
        self._instrument, self._mechanism = machine.instrument, machine.mechanism

    @cached_property
    def sounded(self) -> set[int]:
        """MIDI keys that the machine has a place for."""
        voices = make_ensemble(self._instrument, self._mechanism).voices
        return {place.midi for voice in voices for place in voice.places if voice.part == "melody" and place.midi is not None}

    @property
    def _bars(self) -> list[TravellingStop]:
        return [part for part in self._mechanism.voices if isinstance(part, TravellingStop)]

    def _changed(self, name: str, voices: Iterable[VoicePart], caution: str = "", **more: object) -> Change:
        """The machine with other voices, and other devices (`more`)."""
        mechanism = self._mechanism.model_copy(update={"voices": tuple(voices), **more})
        return Change(name, self._instrument, mechanism, caution)

    def _with_bars(self, name: str, caution: str, **times: float) -> Iterator[Change]:
        """Every carriage with some of its numbers multiplied."""
        if not self._bars:
            return

        def faster(part: VoicePart) -> VoicePart:
            if not isinstance(part, TravellingStop):
                return part
            numbers = {key: getattr(part.carriage, key) * share for key, share in times.items()}
            return part.model_copy(update={"carriage": part.carriage.model_copy(update=numbers)})

        yield self._changed(name, map(faster, self._mechanism.voices), caution)

    def mechanics(self) -> Iterator[Change]:
        """Quicker motors and shorter settling."""
        if self._bars:
            carriage = self._bars[0].carriage
            a, v, settle_ms = carriage.acceleration_mm_s2, carriage.speed_mm_s, 1000 * carriage.settle_s
            for share in (1.2, 1.5):
                yield from self._with_bars(f"acceleration {a:g} to {share * a:g} mm/s^2", _STRAINS, acceleration_mm_s2=share)
            yield from self._with_bars(f"speed {v:g} to {1.2 * v:g} mm/s", _STRAINS, speed_mm_s=1.2)
            both = f"acceleration to {1.2 * a:g} mm/s^2 and speed to {1.2 * v:g} mm/s"
            yield from self._with_bars(both, _STRAINS, acceleration_mm_s2=1.2, speed_mm_s=1.2)
            yield from self._with_bars(f"settling {settle_ms:g} to {settle_ms / 2:g} ms", "a bar that still shakes buzzes", settle_s=0.5)
        yield from self._quicker_picks()

    def _quicker_picks(self) -> Iterator[Change]:
        plucks = [part.pluck for part in self._mechanism.voices if isinstance(part, TravellingStop | FrettedString)]
        picks = [pluck for pluck in plucks if isinstance(pluck, TurningPick)]
        if not picks:
            return

        def faster(part: VoicePart) -> VoicePart:
            if not isinstance(part, TravellingStop | FrettedString) or not isinstance(part.pluck, TurningPick):
                return part
            pluck = part.pluck
            quick = {"speed_turn_s": 1.5 * pluck.speed_turn_s, "acceleration_turn_s2": 1.5 * pluck.acceleration_turn_s2}
            return part.model_copy(update={"pluck": pluck.model_copy(update=quick)})

        rpm = 60 * picks[0].speed_turn_s
        yield self._changed(f"pick {rpm:g} to {1.5 * rpm:g} rpm, as much sooner at speed", map(faster, self._mechanism.voices), _STRAINS)

    def places(self, keys: Iterable[int]) -> Iterator[Change]:
        """A stop, a finger's fret or a bell more, for each key that the machine could be given a place for."""
        for key in keys:
            name = pitch_name(key)
            for number, part in enumerate(self._mechanism.voices):
                if isinstance(part, TravellingStop) and part.stops is not None and self._reaches(part, key):
                    yield self._with_voice(f"a stop {name} more", number, part.model_copy(update={"stops": (*part.stops, name)}))
                    break
                if isinstance(part, FrettedString) and self._has_fret(part, key):
                    fret = key - self._instrument.string(part.string).midi
                    finger = part.fingers[0].model_copy(update={"fret": fret})
                    fingers = tuple(sorted((*part.fingers, finger), key=lambda one: one.fret))
                    yield self._with_voice(f"a finger for {name} more", number, part.model_copy(update={"fingers": fingers}))
                    break
            else:
                yield from self._struck(key)

    def exchanged(self, key: int, idle: str) -> Iterator[Change]:
        """A stop that stands idle for one that gives a key."""
        for number, part in enumerate(self._mechanism.voices):
            if isinstance(part, TravellingStop) and part.stops is not None and idle in part.stops and self._reaches(part, key):
                stops = tuple(pitch_name(key) if stop == idle else stop for stop in part.stops)
                yield self._with_voice(f"the stop {idle} moved to {pitch_name(key)}", number, part.model_copy(update={"stops": stops}))

    def _with_voice(self, name: str, number: int, part: VoicePart) -> Change:
        voices = list(self._mechanism.voices)
        voices[number] = part
        return self._changed(name, voices)

    def _reaches(self, part: TravellingStop, key: int) -> bool:
        """Whether the carriage can stand where its string gives a key."""
        string = self._instrument.string(part.string)
        return part.carriage.lowest_mm <= stop_position_mm(string.scale_length_mm, key - string.midi) <= part.carriage.highest_mm

    def _has_fret(self, part: FrettedString, key: int) -> bool:
        fret = key - self._instrument.string(part.string).midi
        return 0 < fret <= max(finger.fret for finger in part.fingers) + 2 and fret not in {finger.fret for finger in part.fingers}

    def _struck(self, key: int) -> Iterator[Change]:
        """A bell with its hammer more, where the machine has such."""
        hammers = [part for part in self._mechanism.voices if isinstance(part, Hammer) and self._instrument.sounder(part.sounds)]
        hammer = next((part for part in hammers if self._midi_of(part) is not None), None)
        if hammer is None:
            return
        like = self._instrument.sounder(hammer.sounds)
        assert like is not None  # noqa: S101 - looked for above
        bell = Sounder(id=f"added_{key}", kind=like.kind, pitch=pitch_name(key), ring=f"{like.ring_s:g} s")
        instrument = self._instrument.model_copy(update={"sounders": (*self._instrument.sounders, bell)})
        voices = (*self._mechanism.voices, hammer.model_copy(update={"id": f"added_{key}", "sounds": bell.id}))
        name = f"a {like.kind} {pitch_name(key)} with its hammer more"
        yield Change(name, instrument, self._mechanism.model_copy(update={"voices": voices}))

    def _midi_of(self, part: Hammer) -> int | None:
        sounder = self._instrument.sounder(part.sounds)
        return sounder.midi if sounder is not None else None

    def strings(self) -> Iterator[Change]:
        """A second melody string beside the first, of several tunings."""
        for part in self._bars[:1]:
            string = self._instrument.string(part.string)
            for semitones in (0, 7):
                yield self._doubled(part, string, semitones)

    def tuned(self) -> Iterator[Change]:
        """The melody string tuned up to half an octave lower or higher, its stops where they are, for machines with chord bars.

        Without chords no tuning is better than another: the tune is moved with it.
        """
        if not self._bars or not any(isinstance(part, ChordBar) for part in self._mechanism.voices):
            return
        part, string = self._bars[0], self._instrument.string(self._bars[0].string)
        for semitones in (*range(-5, 0), *range(1, 7)):
            way = f"{count(abs(semitones), 'semitone')} {'higher' if semitones > 0 else 'lower'}"
            yield self._retuned(f"the melody string tuned to {pitch_name(string.midi + semitones)}, {way}", part, string, semitones)

    def _retuned(self, name: str, part: TravellingStop, string: String, semitones: int) -> Change:
        """The stops stay where they are on the string, so each gives another key."""
        tuned = string.model_copy(update={"open_pitch": pitch_name(string.midi + semitones)})
        strings = tuple(tuned if one.id == string.id else one for one in self._instrument.strings)
        voices = tuple(_moved(one, semitones) if one is part else one for one in self._mechanism.voices)
        instrument = self._instrument.model_copy(update={"strings": strings})
        caution = _TIGHTER if semitones > 0 else ""
        return Change(name, instrument, self._mechanism.model_copy(update={"voices": voices}), caution)

    def _doubled(self, part: TravellingStop, string: String, semitones: int) -> Change:
        """Another string with a bar and a pick of its own, tuned some semitones apart, with stops at the same places."""
        pitch = pitch_name(string.midi + semitones)
        second = string.model_copy(update={"id": "added", "open_pitch": pitch})
        instrument = self._instrument.model_copy(update={"strings": (*self._instrument.strings, second)})
        carriage = self._mechanism.motor(part.carriage.motor)
        motors = [*self._mechanism.motors, carriage.model_copy(update={"id": "added_carriage"})]
        coils, pluck = list(self._mechanism.coils), part.pluck
        if isinstance(pluck, TurningPick):
            motors.append(self._mechanism.motor(pluck.motor).model_copy(update={"id": "added_pick"}))
            pluck = pluck.model_copy(update={"motor": "added_pick"})
        else:
            coils.append(self._mechanism.coil(pluck.coil).model_copy(update={"id": "added_pick"}))
            pluck = pluck.model_copy(update={"coil": "added_pick"})
        moving = part.carriage.model_copy(update={"motor": "added_carriage"})
        like = _moved(part, semitones).model_copy(update={"id": "added", "string": "added", "carriage": moving, "pluck": pluck})
        devices = {"voices": (*self._mechanism.voices, like), "motors": tuple(motors), "coils": tuple(coils)}
        changed = self._mechanism.model_copy(update=devices)
        return Change(f"a second melody string like the first, open {pitch}", instrument, changed, slow=True)

    def bars(self, chords: Iterable[str]) -> Iterator[Change]:
        """A chord bar more, like those there are."""
        like = next((part for part in self._mechanism.voices if isinstance(part, ChordBar)), None)
        for chord in chords if like is not None else ():
            assert like is not None  # noqa: S101 - else there is nothing to go through
            added = like.model_copy(update={"id": f"added_{chord}", "chord": chord})
            yield self._changed(f"a chord bar {chord} more", (*self._mechanism.voices, added))


def _moved(part: TravellingStop, semitones: int) -> TravellingStop:
    """The same bar where its string sounds some semitones higher: stops named by their pitch are named anew."""
    if part.stops is None:
        low, high = part.range or ("", "")
        return part.model_copy(update={"range": (_higher(low, semitones), _higher(high, semitones))})
    return part.model_copy(update={"stops": tuple(_higher(stop, semitones) for stop in part.stops)})


def _higher(stop: str, semitones: int) -> str:
    return pitch_name(parse_pitch(stop) + semitones) if stop[:1].isalpha() else stop
