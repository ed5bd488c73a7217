"""The machine as motion knows it, worked out once: its axes and voices beside the subjects they come from."""

from __future__ import annotations

from dataclasses import dataclass

from jackrail.machine.instrument import Instrument
from jackrail.machine.mechanism import Mechanism

from .axis import Axis, axes_of
from .voice import Voice, voices_of


@dataclass(frozen=True)
class Ensemble:
    """All that plays. voices[i] is made of mechanism.voices[i]; axes are by motor id."""

    instrument: Instrument
    mechanism: Mechanism
    axes: dict[str, Axis]
    voices: tuple[Voice, ...]

    @property
    def voice_ids(self) -> tuple[str, ...]:
        """Ids of the voices, in order."""
        return tuple(voice.id for voice in self.voices)

    @property
    def place_names(self) -> tuple[tuple[str, ...], ...]:
        """Names of the places of each voice, in order."""
        return tuple(tuple(place.name for place in voice.places) for voice in self.voices)


def make_ensemble(instrument: Instrument, mechanism: Mechanism) -> Ensemble:
    """The ensemble of a machine. Raises BadInput with a fault for each ramp that the board cannot run."""
    axes = axes_of(mechanism)
    return Ensemble(instrument, mechanism, axes, voices_of(instrument, mechanism, axes))
