"""The instrument: strings and other sounding things, as they are before anything moves them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from jackrail.pitch import A4_HZ, parse_pitch

from .quantities import GaugeMm, Id, PitchText, ReferenceHz, RingTimeS, ScaleLengthMm, Strict

Material = Literal["plain steel", "wound steel", "phosphor bronze", "brass", "nylon", "gut"]


class String(Strict):
    """One string. scale_length_mm: nut to bridge; gauge_mm: diameter; ring_s: time to fade by 60 dB when plucked."""

    id: Id
    scale_length_mm: ScaleLengthMm = Field(alias="scale_length")
    gauge_mm: GaugeMm = Field(alias="gauge")
    material: Material
    open_pitch: PitchText
    ring_s: RingTimeS = Field(alias="ring", default=4.0)

    @property
    def midi(self) -> int:
        """MIDI key of the open string."""
        return parse_pitch(self.open_pitch)


class Sounder(Strict):
    """A bell, bar, drum or block. pitch is absent for a drum or block of no clear pitch."""

    id: Id
    kind: Literal["bell", "bar", "drum", "block"]
    pitch: PitchText | None = None
    ring_s: RingTimeS = Field(alias="ring", default=1.5)

    @property
    def midi(self) -> int | None:
        """MIDI key, or None without a pitch."""
        return None if self.pitch is None else parse_pitch(self.pitch)


class Instrument(Strict):
    """What sounds. kind: a word of the maker's own; a4_hz: the pitch it is tuned to."""

    kind: str = ""
    a4_hz: ReferenceHz = Field(alias="a4", default=A4_HZ)
    strings: tuple[String, ...] = ()
    sounders: tuple[Sounder, ...] = ()

    def string(self, string_id: str) -> String:
        """The string of that id (a KeyError means validation was skipped)."""
        return {string.id: string for string in self.strings}[string_id]

    def sounder(self, sounder_id: str) -> Sounder | None:
        """The sounder of that id, or None when it is a string."""
        return next((sounder for sounder in self.sounders if sounder.id == sounder_id), None)

    def ring_s(self, source: str) -> float:
        """Seconds in which the string or the sounder of that id fades by 60 dB."""
        sounder = self.sounder(source)
        return self.string(source).ring_s if sounder is None else sounder.ring_s
