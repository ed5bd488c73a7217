"""The mechanism: what moves and strikes. Motors, relays, coils, switches, and the voices made of them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .quantities import (
    AccelerationMmS2,
    AngleTurn,
    ChordText,
    CurrentA,
    Id,
    InductanceH,
    OnTimeS,
    PitchText,
    PositionMm,
    PulseS,
    ResistanceOhm,
    ShortTimeS,
    SpeedMmS,
    Strict,
    SwayMm,
    TorqueNm,
    TravelPerTurnMm,
    TurnAcceleration,
    TurnSpeed,
    VoltageV,
)


class Motor(Strict):
    """A stepper with its driver.

    current_a: in each winding as set at the driver; hold: share of it kept when still; reversed: when a high direction
    line moves it towards lower positions.
    """

    id: Id
    steps_per_turn: int = Field(default=200, strict=True, ge=4, le=2000)
    microsteps: Literal[1, 2, 4, 8, 16, 32, 64, 128, 256] = 8
    current_a: CurrentA = Field(alias="current")
    resistance_ohm: ResistanceOhm = Field(alias="resistance")
    inductance_h: InductanceH = Field(alias="inductance")
    holding_torque_nm: TorqueNm = Field(alias="holding_torque")
    hold: float = Field(default=0.5, strict=True, ge=0.0, le=1.0)
    reversed: bool = Field(default=False, strict=True)
    rail: Id
    driver_minimum_v: VoltageV = Field(alias="driver_minimum")

    @property
    def microsteps_per_turn(self) -> int:
        """Step pulses for one turn of the shaft."""
        return self.steps_per_turn * self.microsteps


class Relay(Strict):
    """A relay board: every coil that names it is switched through one of its channels."""

    id: Id
    operate_s: ShortTimeS = Field(alias="operate")
    release_s: ShortTimeS = Field(alias="release")
    current_a: CurrentA = Field(alias="current")
    rail: Id


class Coil(Strict):
    """A solenoid.

    pull_in_s: current on to blow; release_s: current off to back at rest; max_on_s: longest time on from cold; max_duty:
    share of the time it may be on in the long run.
    """

    id: Id
    rail: Id
    resistance_ohm: ResistanceOhm = Field(alias="resistance")
    pull_in_s: ShortTimeS = Field(alias="pull_in")
    release_s: ShortTimeS = Field(alias="release")
    max_on_s: OnTimeS = Field(alias="max_on")
    max_duty: float = Field(default=0.99, strict=True, ge=0.01, le=0.99)
    relay: Id | None = None


class Switch(Strict):
    """A switch read by the board. closed: the level on its pin when it is pressed."""

    id: Id
    closed: Literal["low", "high"] = "low"


class Carriage(Strict):
    """A stepper that moves something along a string. Positions are millimetres from the nut.

    vibrato_mm: how far it may sway to either side of where it stands while the string rings; 0 when it may not.
    """

    motor: Id
    travel_per_turn_mm: TravelPerTurnMm = Field(alias="travel_per_turn")
    speed_mm_s: SpeedMmS = Field(alias="speed")
    acceleration_mm_s2: AccelerationMmS2 = Field(alias="acceleration")
    lowest_mm: PositionMm = Field(alias="lowest")
    highest_mm: PositionMm = Field(alias="highest")
    home_at_mm: PositionMm = Field(alias="home_at")
    settle_s: ShortTimeS = Field(alias="settle")
    home_switch: Id
    detent_switch: Id | None = None
    vibrato_mm: SwayMm = Field(alias="vibrato", default=0.0)


class TurningPick(Strict):
    """A pick turned by a small stepper, one turn a note. strike_at_turn: where in the turn it leaves the string."""

    kind: Literal["turning_pick"]
    motor: Id
    speed_turn_s: TurnSpeed = Field(alias="speed")
    acceleration_turn_s2: TurnAcceleration = Field(alias="acceleration")
    strike_at_turn: AngleTurn = Field(alias="strike_at")
    index_switch: Id | None = None


class KickedPick(Strict):
    """A pick kicked across the string by a coil; it sounds the string on the way out only."""

    kind: Literal["kicked_pick"]
    coil: Id
    pulse_s: PulseS = Field(alias="pulse")


Pluck = Annotated[TurningPick | KickedPick, Field(discriminator="kind")]


class TravellingStop(Strict):
    """A bar that slides along one string with a plucker riding along.

    stops: places with a detent, each a pitch name ("G4", placed by the scale) or a distance from the nut ("121.3 mm").
    range: instead of stops, the lowest and highest pitch of a bar that can stand anywhere.
    """

    kind: Literal["travelling_stop"]
    id: Id
    string: Id
    stops: tuple[str, ...] | None = None
    range: tuple[PitchText, PitchText] | None = None
    carriage: Carriage
    pluck: Pluck


class Finger(Strict):
    """A press finger: a coil that holds the string down behind one fret."""

    fret: int = Field(strict=True, ge=1, le=36)
    coil: Id


class FrettedString(Strict):
    """A fretted string with press fingers and a plucker that stays in place. Without a finger the open string sounds."""

    kind: Literal["fretted_string"]
    id: Id
    string: Id
    fingers: tuple[Finger, ...] = Field(min_length=1)
    settle_s: ShortTimeS = Field(alias="settle", default=0.005)
    pluck: Pluck


class Touch(Strict):
    """A softer blow of a hammer: a shorter pulse lets it fly the rest of its way.

    strength: level over that of the full blow. pull_in_s: from current on to this blow.
    """

    strength: float = Field(strict=True, ge=0.01, le=0.99)
    pulse_s: PulseS = Field(alias="pulse")
    pull_in_s: ShortTimeS = Field(alias="pull_in")


class Hammer(Strict):
    """One coil that strikes one sounding thing: a sounder or a string. touches: its softer blows, from the hardest to the softest."""

    kind: Literal["hammer"]
    id: Id
    coil: Id
    pulse_s: PulseS = Field(alias="pulse")
    sounds: Id
    touches: tuple[Touch, ...] = Field(default=(), max_length=3)


class ChordBar(Strict):
    """One coil that drops a bar on several strings at once and so sounds one fixed chord."""

    kind: Literal["chord_bar"]
    id: Id
    coil: Id
    pulse_s: PulseS = Field(alias="pulse")
    strings: tuple[Id, ...] = Field(min_length=1)
    chord: ChordText


VoicePart = Annotated[TravellingStop | FrettedString | Hammer | ChordBar, Field(discriminator="kind")]


class Mechanism(Strict):
    """All that moves."""

    motors: tuple[Motor, ...] = ()
    relays: tuple[Relay, ...] = ()
    coils: tuple[Coil, ...] = ()
    switches: tuple[Switch, ...] = ()
    voices: tuple[VoicePart, ...] = Field(min_length=1)

    def motor(self, motor_id: str) -> Motor:
        """The motor of that id."""
        return {motor.id: motor for motor in self.motors}[motor_id]

    def coil(self, coil_id: str) -> Coil:
        """The coil of that id."""
        return {coil.id: coil for coil in self.coils}[coil_id]

    def relay_of(self, coil: Coil) -> Relay | None:
        """The relay board that switches `coil`, or None when a transistor does."""
        return next((relay for relay in self.relays if relay.id == coil.relay), None)

    def pulses_s(self) -> dict[str, float]:
        """How long each coil that strikes is switched on, in seconds, by its id."""
        pulses: dict[str, float] = {}
        for voice in self.voices:
            if isinstance(voice, Hammer | ChordBar):
                pulses[voice.coil] = voice.pulse_s
            elif isinstance(voice.pluck, KickedPick):
                pulses[voice.pluck.coil] = voice.pluck.pulse_s
        return pulses
